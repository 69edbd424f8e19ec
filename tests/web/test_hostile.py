"""Whatever a log or an address says, every page of it is inert and answers."""

import json
import re
from typing import Any
from urllib.parse import quote

import flask
import pytest
from flask.testing import FlaskClient

from tests.drawing import scene
from tests.drawing.scene import MS
from tests.web.rooms.conftest import BASE, outcome, send
from tests.web.test_sessions import SIZES, Reader
from tracelens.web import create_app, ids
from tracelens.web.moves import View

NAMES = ["<script>alert(1)</script>", "<img/src=x/onerror=alert(1)>", "\u202ereversed", "%s{0}"]


@pytest.fixture(scope="module")
def server() -> flask.Flask:
    return create_app(scene.analysis()).server


@pytest.fixture
def client(server: flask.Flask) -> FlaskClient:
    return server.test_client()


def shown(server: flask.Flask, run_id: str, span: int) -> list[str]:
    """What the page of a run is answered when it opens."""
    reader = Reader(server)
    props: dict[str, Any] = {
        f"{ids.VIEW}.data": View(0, span).stored(),
        f"{ids.CHOSEN}.data": 0,
        f"{ids.RUN}.data": {"id": run_id, "span": span, "name": "x"},
        f"{ids.SCREEN}.data": {"sizes": SIZES, "scheme": "light"},
    }
    outputs = ("DRAWING.data", "JOB_WORDS.children", "STRIP.figure", "FINDINGS.children")
    names = [f"{getattr(ids, o.split('.')[0])}.{o.split('.')[1]}" for o in outputs]
    names.append(f"{ids.HEADER}.children")
    return [reader.ask("/", name, props, f"{ids.RUN}.data") for name in names]


@pytest.mark.parametrize("name", NAMES)
def test_a_name_is_shown_and_never_acts(
    server: flask.Flask, client: FlaskClient, name: str
) -> None:
    log = scene.log_text(2).replace("name=needle_select", f"name={name}").encode()
    told = outcome(client, send(client, log))
    replies = shown(server, told["run"], 20 * MS)
    # JSON of Dash: markup is escaped in it, and the page puts strings into text nodes.
    assert not [reply for reply in replies if re.search(r"<script|<img|\u202e", reply)]
    texts = [text for reply in replies for text in in_figures(json.loads(reply))]
    assert len(texts) > 20
    assert not [text for text in texts if re.search(r"<(script|img)", text)], "plotly reads tags"


def in_figures(reply: Any, inside: bool = False) -> list[str]:
    """Every string of the figures in a reply."""
    if isinstance(reply, str):
        return [reply] if inside else []
    if isinstance(reply, list):
        return [text for part in reply for text in in_figures(part, inside)]
    if not isinstance(reply, dict):
        return []
    if not inside and "layout" in reply:  # what else comes with it is for scripts, not for plotly
        return in_figures([reply["data"], reply["layout"]], inside=True)
    return [text for part in reply.values() for text in in_figures(part, inside)]


@pytest.mark.parametrize("length", [10**6, pytest.param(10**7, marks=pytest.mark.night)])
def test_a_name_of_megabytes_does_not_stand_in_the_way(
    server: flask.Flask, client: FlaskClient, length: int
) -> None:
    log = scene.log_text(2).replace("name=needle_select", f"name={'n' * length}").encode()
    told = outcome(client, send(client, log))
    if "run" in told:
        assert max(map(len, shown(server, told["run"], 20 * MS))) < 10**6
    else:
        assert len(told["problem"]) < 400


@pytest.mark.parametrize(
    "query",
    [
        {"run": "../../etc/passwd"},
        {"run": "1\x00"},
        {"run": "1", "from": "9" * 5000, "to": "-1"},
        {"run": "1", "from": "nan", "to": "inf", "job": "1e9", "top": "-99"},
        {"run": "1", "from": "0", "to": "1", "job": "9" * 30},
        {"run": "1", "from": "0", "to": "1", "top": "9" * 30},
        {"run": "1" * 100_000},
        {"run[]": "1", "from": "<script>"},
    ],
)
def test_an_absurd_address_is_answered(
    server: flask.Flask, client: FlaskClient, query: dict[str, str]
) -> None:
    assert client.get("/", query_string=query, base_url=BASE).status_code in (200, 302)
    search = "?" + "&".join(f"{quote(k)}={quote(v)}" for k, v in query.items())
    for prefix, output in (("/", f"{ids.RUN}.data"), ("/two/", "pair.data")):
        Reader(server).ask(prefix, output, {"address.search": search}, "address.search")


@pytest.mark.parametrize("path", ["/../../etc/passwd", "/assets/../../../etc/passwd", "/%2e%2e/x"])
def test_no_path_leads_to_a_file(client: FlaskClient, path: str) -> None:
    assert "root:" not in client.get(path, base_url=BASE).text


def test_a_host_beyond_this_machine_is_refused(client: FlaskClient) -> None:
    for path in ("/", "/open/", "/classroom/", "/two/", "/classroom/exercise.csv"):
        reply = client.get(path, base_url="http://192.0.2.7:8050")
        assert reply.status_code == 403
        assert "Content-Security-Policy" in reply.headers


def test_a_foreign_host_is_refused_before_it_learns_which_runs_are_here(
    client: FlaskClient,
) -> None:
    for run in ("1", "gone", "sample:knitting_healthy"):
        reply = client.get("/", query_string={"run": run}, base_url="http://elsewhere.example")
        assert reply.status_code == 403

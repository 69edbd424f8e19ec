"""Served to this machine only, with nothing from elsewhere, and inert whatever a log says."""

import json
import re
from pathlib import Path

import pytest
from dash import Dash

from tests.drawing import scene
from tests.drawing.scene import TAG
from tracelens.errors import UsageError
from tracelens.web import create_app, ids, serve
from tracelens.web.guard import is_loopback
from tracelens.web.parts.panel_content import offer


@pytest.fixture(scope="module")
def app() -> Dash:
    return create_app(scene.analysis())


@pytest.mark.parametrize("path", ["/", "/_dash-layout", "/assets/page.css"])
def test_replies_forbid_foreign_content(app: Dash, path: str) -> None:
    with app.server.test_client().get(path, base_url="http://127.0.0.1:8050") as reply:
        assert reply.status_code == 200
        headers = reply.headers
    policy = headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "'unsafe-eval'" not in policy
    assert "script-src 'self' 'unsafe-inline'" not in policy
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Referrer-Policy"] == "no-referrer"


def test_nothing_is_loaded_from_elsewhere(app: Dash) -> None:
    page = app.server.test_client().get("/", base_url="http://localhost").text
    sources = re.findall(r'(?:src|href)="([^"]+)"', page)
    assert sources
    assert not [source for source in sources if re.match(r"(https?:)?//", source)]


@pytest.mark.parametrize(
    ("host", "origin"),
    [
        ("tracelens.example", None),
        ("127.0.0.1.example", None),
        ("127.0.0.1:8050", "http://elsewhere.example"),
        ("127.0.0.1:8050", "null"),
    ],
)
def test_a_foreign_name_or_origin_is_refused(app: Dash, host: str, origin: str | None) -> None:
    """A name that someone else resolves to 127.0.0.1 does not open the page to their scripts."""
    headers = {"Origin": origin} if origin else {}
    reply = app.server.test_client().get("/", base_url=f"http://{host}", headers=headers)
    assert reply.status_code == 403


def test_a_name_with_markup_stays_text(app: Dash) -> None:
    client = app.server.test_client()
    page = client.get("/", base_url="http://127.0.0.1").text
    assert "alert(1)" not in page
    options = offer(scene.run(), "responses", None, None)[0]
    assert TAG in json.dumps(options), "as a string in JSON, which the page shows as text"


@pytest.mark.parametrize("host", ["0.0.0.0", "192.168.1.4", "tracelens.example", ""])
def test_other_interfaces_are_refused(host: str) -> None:
    with pytest.raises(UsageError, match="this machine only"):
        serve(scene.analysis(), host=host)


@pytest.mark.parametrize(
    ("host", "own"),
    [("127.0.0.1", True), ("::1", True), ("[::1]", True), ("localhost", True), (None, False)],
)
def test_loopback(host: str | None, own: bool) -> None:
    assert is_loopback(host) is own


def test_every_component_has_an_id_of_the_list(app: Dash) -> None:
    """Callbacks and components agree, since both take their ids from one module."""
    known = {value for name, value in vars(ids).items() if name.isupper()}
    used = {
        part["id"]
        for callback in app.callback_map.values()
        for part in (*callback["inputs"], *callback["state"])
        if not part["id"].startswith("{")
    }
    laid_out = set(re.findall(r'"id": "([^"]+)"', app.layout.to_plotly_json().__str__()))
    assert used <= known
    assert laid_out <= known


def test_the_script_and_the_figures_have_the_same_margins() -> None:
    from tracelens.drawing import sheet
    from tracelens.web import app, moves

    script = (Path(app.__file__).parent / "assets" / "page.js").read_text(encoding="utf-8")
    constants = dict(re.findall(r"\b([A-Z]+_(?:PX|NS)) = (\d+)", script))
    assert constants == {
        "LEFT_PX": str(sheet.LEFT_PX),
        "RIGHT_PX": str(sheet.RIGHT_PX),
        "LEAST_NS": str(moves.LEAST_WIDTH_NS),
    }
    graphs = re.search(r"GRAPHS = (\[.*?\])", script)
    assert graphs is not None
    assert json.loads(graphs[1]) == [ids.STRIP, ids.SCHEDULE, ids.JOB_FIGURE, ids.PANEL_FIGURE]

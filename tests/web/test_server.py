"""Every answer of the page: its headers, no file but its own, and plain words for a fault."""

import json
from pathlib import Path
from typing import Any
from urllib.parse import quote

import flask
import pytest
from flask.testing import FlaskClient

from tests.drawing import scene
from tests.drawing.scene import MS
from tests.history.past import put
from tests.web.real_server import asked, running
from tests.web.rooms.conftest import BASE, outcome, send
from tests.web.test_hostile import shown
from tests.web.test_sessions import Reader
from tracelens.analysis import analyse
from tracelens.reading import read
from tracelens.web import app, create_app, ids, loading, rules
from tracelens.web.app import make
from tracelens.web.faults import MOST_SAID, Faults
from tracelens.web.listening import Head
from tracelens.web.rooms.past.folder import Folder
from tracelens.web.shelf import Shelf


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> flask.Flask:
    past = put(tmp_path_factory.mktemp("past") / "nightly", 2)
    return create_app(scene.analysis(), history=past).server


@pytest.fixture
def client(server: flask.Flask) -> FlaskClient:
    return server.test_client()


def test_every_answer_has_the_headers(server: flask.Flask, client: FlaskClient) -> None:
    paths = {rule.rule.replace("<", "").replace(">", "") for rule in server.url_map.iter_rules()}
    paths |= {"/nothing", "/?run=gone", "/assets/page.css", "/assets/none.css", "/open/upload/x"}
    assert len(paths) > 40
    for path in paths:
        for ask in (client.get, client.post, client.options):
            with ask(path, base_url=BASE) as reply:
                told = reply.headers
                assert "default-src 'none'" in told["Content-Security-Policy"], path
                assert "frame-ancestors 'none'" in told["Content-Security-Policy"]
                assert told["X-Frame-Options"] == "DENY"
                assert told["X-Content-Type-Options"] == "nosniff"
                assert told["Referrer-Policy"] == "no-referrer"
                assert told["Cross-Origin-Resource-Policy"] == "same-origin"
                assert told["Cross-Origin-Opener-Policy"] == "same-origin"
                assert told["Cross-Origin-Embedder-Policy"] == "require-corp"
                if "/assets/" not in path and "_dash-component-suites" not in path:
                    assert told["Cache-Control"] == "no-store", path
                if reply.status_code >= 400 and path != "/open/upload":
                    assert reply.text.count("\n") <= 1, path
                    assert "<" not in reply.text, path


def test_the_room_without_figures_has_the_tighter_policy(client: FlaskClient) -> None:
    policy = client.get("/open/", base_url=BASE).headers["Content-Security-Policy"]
    assert "unsafe" not in policy
    assert "unsafe-inline" not in policy.partition("script-src")[2].partition(";")[0]


HOSTILE = [
    "..", "../..", "../../../../etc/passwd", "..\\..\\etc\\passwd", "....//....//etc/passwd",
    "/etc/passwd", "//etc/passwd", "C:\\windows\\win.ini", "file:///etc/passwd", "%00", "x\x00.css",
    "page.css/../../app.py", "page.css%00.py", ".", "./app.py", "../app.py", "~root/.bashrc",
    "..;/app.py", "..%c0%af..%c0%afetc/passwd", "\u2025/app.py", "．．/app.py", "..%u2215app.py",
    "link", "a" * 5000,
]  # fmt: skip
PLACES = [
    "/assets/{}", "/classroom/assets/{}", "/_dash-component-suites/dash/{}",
    "/_dash-component-suites/{}", "/open/upload/{}", "/open/{}", "/{}", "/?run={}",
    "/?run=sample:{}", "/two/?a={}&b={}", "/classroom/exercise.csv?set={}",
    "/classroom/?example={}", "/history/?where={}", "/repair/?run={}",
]  # fmt: skip


def test_no_path_leads_to_a_file(client: FlaskClient) -> None:
    """As it is, encoded and encoded twice; of words that stand in no page but in these files."""
    for place in PLACES:
        for hostile in HOSTILE:
            for word in (hostile, quote(hostile, safe=""), quote(quote(hostile, safe=""), safe="")):
                with client.get(place.format(word, word), base_url=BASE) as reply:
                    assert reply.status_code < 500, (place, word)
                    for inside in ("root:x:", "def create_app", "[fonts]", "import "):
                        assert inside not in reply.text, (place, word)


def test_no_path_leads_to_a_file_on_the_wire() -> None:
    """A client that does not tidy the path up before it sends it."""
    made = make()
    with running(made.app.server, made.rules) as listener:
        for hostile in HOSTILE:
            word = quote(hostile, safe="/.%;\\:~").replace("\\", "%5c")
            for place in PLACES[:7]:
                status, _, body = asked(listener, "GET", place.format(word))
                assert status < 500, (place, word)
                assert b"root:x:" not in body
                assert b"def create_app" not in body


def test_a_name_of_a_run_is_no_path(tmp_path: Path) -> None:
    for name in (*HOSTILE, "knitting_healthy.csv", "../knitting_healthy", str(tmp_path)):
        assert loading.find(Shelf(), f"sample:{name}") is None


def test_a_fault_is_said_in_a_line_and_once(
    monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    said: list[str] = []
    made = make(scene.analysis(), faults=Faults(said.append))
    client = made.app.server.test_client()
    bodies: list[Any] = [
        None, [], {}, "x", 7, {"output": "x"}, {"output": "view.data"}, {"output": []},
        {"output": "gone.children", "outputs": {"id": "gone", "property": "children"},
         "inputs": 3, "changedPropIds": []},
    ]  # fmt: skip
    for body in [*bodies, *bodies]:
        reply = client.post("/_dash-update-component", json=body, base_url=BASE)
        assert 400 <= reply.status_code <= 500
        assert reply.text.count("\n") == 1
        assert "Traceback" not in reply.text
    for data in (b"", b"{", b"\xff" * 100, b"[" * 100_000):
        reply = client.post("/_dash-update-component", data=data, base_url=BASE,
                            content_type="application/json")  # fmt: skip
        assert 400 <= reply.status_code <= 500
    assert len(set(said)) == len(said) < 20
    assert all(line.count("\n") == 0 and line.startswith("a fault of tracelens") for line in said)
    assert capfd.readouterr().err == ""


def test_values_of_any_kind_in_the_stores_are_answered_in_a_line(server: flask.Flask) -> None:
    """What the stores of a browser hold can be anything, if it is no browser."""
    reader = Reader(server)
    odd: list[Any] = [None, "x", -1, 1e308, [], {}, {"id": "1"}, {"start": "x", "end": None}, True]
    for output in (f"{ids.DRAWING}.data", f"{ids.PANEL_FIGURE}.figure", f"{ids.JOB_FIGURE}.figure"):
        told = next(c for c in reader.known["/"] if output in c["output"])
        for value in odd:
            body = {
                "output": told["output"],
                "outputs": [],
                "inputs": [{**one, "value": value} for one in told["inputs"]],
                "state": [{**one, "value": value} for one in told.get("state", [])],
                "changedPropIds": [],
            }
            reply = reader.client.post("/_dash-update-component", json=body, base_url=BASE)
            assert reply.status_code in (200, 204, 400, 500)
            if reply.status_code >= 400:
                assert reply.text == "This cannot be answered, by a fault of tracelens.\n"


def test_faults_do_not_fill_the_terminal() -> None:
    said: list[str] = []
    faults = Faults(said.append)
    for number in range(3 * MOST_SAID):
        faults.tell(KeyError(f"{number}\x1b[31m\n"), "testing")
    assert len(said) == MOST_SAID
    assert "\x1b" not in "".join(said)


def test_what_takes_long_is_known_by_outputs_that_there_are(server: flask.Flask) -> None:
    known = {
        room: {
            name.partition("@")[0]
            for one in server.test_client().get(f"{room}_dash-dependencies", base_url=BASE).json
            for name in one["output"].strip(".").split("...")
        }
        for room in rules._LONG
    }
    for room, outputs in rules._LONG.items():
        assert outputs <= known[room]


@pytest.mark.parametrize(
    ("method", "path", "query", "begin", "long"),
    [
        ("GET", "/", "", b"", False),
        ("GET", "/", "run=1", b"", False),
        ("GET", "/", "run=sample%3Aknitting_healthy", b"", True),
        ("GET", "/classroom/exercise.csv", "set=x", b"", True),
        ("POST", "/_dash-update-component", "", b'{"output":"..drawing.data...x.y.."', False),
        ("POST", "/_dash-update-component", "", b'{"output":"report-file.data","outp', True),
        ("POST", "/_dash-update-component", "",
         b'{"output":"..{\\"type\\":\\"csv-file\\",\\"what\\":\\"schedule\\"}.data...', True),
        ("POST", "/classroom/_dash-update-component", "", b'{"output": "results.children", ', True),
        ("POST", "/two/_dash-update-component", "", b'{"output":"..pair.data...view@0b..', True),
        ("POST", "/two/_dash-update-component", "", b'{"output":"..schedule-a.figure...s', False),
        ("POST", "/_dash-update-component", "", b"\xff\x00", False),
    ],
)  # fmt: skip
def test_what_takes_long(method: str, path: str, query: str, begin: bytes, long: bool) -> None:
    head = Head(method, path, query, {}, len(begin), "127.0.0.1")
    assert rules.is_long(Shelf(), head, begin) is long


def test_what_was_read_is_shown_whatever_becomes_of_the_file(tmp_path: Path) -> None:
    log = tmp_path / "run.csv"
    log.write_text(scene.log_text(6), encoding="utf-8")
    server = create_app(analyse(read(log))).server
    answers = shown(server, "1", 60 * MS)
    for change in ("cut", "other", "gone", "folder"):
        if change == "cut":
            log.write_bytes(log.read_bytes()[:100])
        elif change == "other":
            log.write_text("hello", encoding="utf-8")
        elif change == "gone":
            log.unlink()
        else:
            log.mkdir()
        assert shown(server, "1", 60 * MS) == answers


@pytest.mark.parametrize("how", ["gone", "file", "emptied", "noise", "cut", "folder in it", "link"])
def test_a_history_that_goes_wrong_is_said(tmp_path: Path, how: str) -> None:
    past = put(tmp_path / "nightly", 8)
    server = create_app(history=past).server
    client = server.test_client()
    reader = Reader(
        server, {"/history/": client.get("/history/_dash-dependencies", base_url=BASE).json}
    )
    files = sorted(past.glob("run-*"))
    if how in ("gone", "file", "emptied"):
        for file in files:
            file.unlink()
    if how in ("gone", "file"):
        past.rmdir()
    if how == "file":
        past.write_text("hello", encoding="utf-8")
    elif how == "noise":
        files[0].write_bytes(b"PAR1" + bytes(range(256)) * 4 + b"PAR1")
    elif how == "cut":
        files[0].write_bytes(files[0].read_bytes()[:-20])
    elif how == "folder in it":
        files[0].unlink()
        files[0].mkdir()
    elif how == "link":
        files[0].unlink()
        files[0].symlink_to("/etc/passwd")
    told = reader.ask("/history/", "missing.children", {"address.search": ""}, "address.search")
    assert "root:" not in told
    words = json.loads(told)["response"]["missing"]["children"]
    assert bool(words) is (how in ("gone", "file", "emptied"))
    if not words:
        folder = Folder(past).look().history.unreadable
        assert [line.partition(":")[0] for line in folder] == [files[0].name]


def test_a_run_that_made_room_for_others_is_said_to_be_gone_in_every_room(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """What one browser opens puts aside what another did not look at: in plain words."""
    monkeypatch.setattr(app, "Shelf", lambda: Shelf(most_uploads=2))
    server = create_app(scene.analysis()).server
    mine, theirs = server.test_client(), server.test_client()
    run = outcome(mine, send(mine, scene.log_text(3).encode()))["run"]
    answers = shown(server, run, 30 * MS)
    outcome(theirs, send(theirs, scene.log_text(4).encode()))
    assert shown(server, run, 30 * MS) == answers, "there is room for both"
    others = [outcome(theirs, send(theirs, scene.log_text(n).encode()))["run"] for n in (5, 6)]
    reader = Reader(server)
    gone = "not here any more"
    stored = {f"{ids.RUN}.data": {"id": run, "span": 30 * MS, "name": "x"}}
    assert gone in reader.ask("/", f"{ids.GONE}.children", stored, f"{ids.VIEW}.data")
    for room, words in (("two", f"?a={run}&b={others[0]}"), ("repair", f"?run={run}")):
        told = reader.ask(f"/{room}/", "missing.children", {"address.search": words}, "address")
        assert gone in told
    pair = {"pair.data": {"a": others[1], "b": run}}
    assert gone in reader.ask("/two/", "only.children", pair, "view.data")
    asked_for = {"asked.data": {"run": run, "changes": [], "window": {}}}
    assert gone in reader.ask("/repair/", "problem.children", asked_for, "asked.data")
    page = mine.get("/", query_string={"run": run}, base_url=BASE, follow_redirects=True)
    assert gone in page.text
    assert shown(server, others[1], 60 * MS), "what is there is shown"

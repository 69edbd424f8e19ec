"""What comes from a browser: addresses, times as typed, task sets in a link, uploads, state."""

import base64
import json
import logging
import zlib
from functools import cache
from typing import Any
from urllib.parse import quote_from_bytes, urlencode

import flask
import msgspec

from tests.drawing import scene
from tests.fuzz.of_logs import small_logs, tried
from tests.fuzz.target import Target
from tests.web.rooms.conftest import BASE
from tests.web.test_sessions import SIZES, Reader
from tracelens.drawing.runs import Run, load
from tracelens.engine import simulate
from tracelens.formats.taskset_toml import parse_taskset
from tracelens.reading import read_bytes
from tracelens.web import create_app, ids, moves
from tracelens.web.loading import prepared
from tracelens.web.moves import View
from tracelens.web.parts.panel_content import asked_of, listed, order_of, query
from tracelens.web.parts.panel_content import draw as draw_panel
from tracelens.web.parts.schedule import draw, jump
from tracelens.web.rooms.classroom.examples import examples
from tracelens.web.rooms.classroom.exercise import PROTOCOLS, Exercise, to_toml
from tracelens.web.rooms.classroom.link import pack, unpack
from tracelens.web.rooms.classroom.page import all_mistakes
from tracelens.web.rooms.repair.asked import changes_of, in_words, written
from tracelens.web.rooms.two.aligned import moments
from tracelens.web.rooms.two.page import alignment, view_of
from tracelens.web.screen import sheet_of

PATHS = ("/", "/classroom/", "/two/", "/repair/", "/open/", "/classroom/exercise.toml",
         "/classroom/exercise.csv", "/open/upload/x")  # fmt: skip


@cache
def server() -> flask.Flask:
    """The page on two runs."""
    logging.getLogger("tracelens").setLevel(logging.CRITICAL)
    made: flask.Flask = create_app(scene.analysis(4), scene.analysis(9)).server
    made.config["PROPAGATE_EXCEPTIONS"] = True
    return made


@cache
def run() -> Run:
    """A run of four cycles as the page holds it."""
    return load(scene.analysis(4))


def address(data: bytes) -> None:
    """What a link may say: the pages answer, and the places in it are understood or left out."""
    which, _, rest = data.partition(b"?")
    path = PATHS[int(which) % len(PATHS) if which.isdigit() else 0]
    search = "?" + quote_from_bytes(rest, safe="=&%+")
    with server().test_client() as client:
        assert client.get(path + search, base_url=BASE).status_code < 500
    view, chosen = moves.from_address(run(), search)
    sheet = sheet_of({"sizes": SIZES, "scheme": "light"}, ids.SCHEDULE)
    assert sheet is not None
    draw(run(), view, chosen, sheet)
    told = query(search)
    asked = alignment(told)
    tried(lambda: moments(run(), run(), asked))
    found = view_of(told, run(), run())
    assert found["start"] < found["end"]
    changes = written(search)
    for kind, text in changes:
        in_words(kind, text)
    tried(lambda: changes_of(changes))
    from tracelens.web.parts.panel import panel_of

    panel = panel_of(told.get("panel"))
    of = told.get("of")
    one = asked_of(run(), panel, view, chosen, of, told.get("windows"))
    draw_panel(run(), panel, one, sheet)
    listed(run(), panel, of, order_of(panel, {"panel": panel.value, "column": of, "down": True}))


def _addresses() -> list[bytes]:
    panels = ("responses", "load", "inversions", "locks", "queues", "chains", "stacks", "quality")
    known = [
        {"run": "1", "from": "0", "to": "20000000", "job": "3", "top": "2"},
        {"run": "1", "finding": "0"},
        {"run": "2", "lanes": "need", "without": "lock", "first": "link", "order": "busy"},
        {"a": "1", "b": "2", "at": "job", "task": "needle_select", "job_a": "1", "job_b": "2"},
        {"a": "1", "b": "2", "at": "mark", "mark": "x", "from": "-5", "to": "9"},
        {"run": "1", "protocol": "flash_bus=inherit", "scale": "link=0.5", "clock": "2"},
        {"run": "1", "period": "link=3ms", "section": "link/flash_bus=.5", "kind": "clock"},
        *({"run": "1", "panel": panel, "of": "needle_select", "windows": "10 ms"}
          for panel in panels),
    ]  # fmt: skip
    word = pack(next(iter(examples().values())).exercise)
    return [
        *(b"%d?" % (n % 8) + urlencode(one).encode() for n, one in enumerate(known)),
        b"1?set=" + word.encode(), b"5?set=" + word.encode(), b"1?example=edf", b"4?gone=1&side=a",
        b"6?protocol=none&set=" + word.encode(),
    ]  # fmt: skip


def typed(data: bytes) -> None:
    """A time as typed, and a place as a click brings it back."""
    text = data.decode("utf-8", "replace")
    view = View(0, run().span_ns)
    moved, note = jump(run(), view, text)
    assert "\n" not in note.replace(text, "")
    for found in (moved, (moves.to_place(run(), view, text) or [None])[0]):
        assert found is None or 0 <= found.start < found.end


def lesson(data: bytes) -> None:
    """A task set in a link: what is wrong in it, or a run of it."""
    octets = zlib.compress(data, 9)
    word = base64.urlsafe_b64encode(octets).decode().rstrip("=")
    tried(lambda: _lesson(word))
    tried(lambda: _lesson(data.decode("latin-1")))


def _lesson(word: str) -> None:
    exercise: Exercise = unpack(word)
    assert unpack(pack(exercise)) == exercise
    if all_mistakes(exercise):
        return
    for protocol in PROTOCOLS:
        made = parse_taskset(to_toml(exercise, protocol))
        tried(lambda made=made: _run(made))


def _run(made: Any) -> None:
    log = simulate(made, most_events=500).log
    prepared(read_bytes(log, "exercise.csv"))


def _lessons() -> list[bytes]:
    return [msgspec.json.encode(one.exercise) for one in examples().values()]


def state(data: bytes) -> None:
    """A request as the page's script makes it, with anything in it: answered, one way or another.

    What no page of ours sends may be a fault; it must not be told to the reader, nor take long.
    """
    try:
        body = json.loads(data)
    except (ValueError, RecursionError):
        body = data.decode("latin-1")
    prefix = PATHS[len(data) % 4]
    server().config["PROPAGATE_EXCEPTIONS"] = False
    try:
        reply = server().test_client().post(
            f"{prefix}_dash-update-component", json=body, base_url=BASE, headers={"Origin": BASE}
        )  # fmt: skip
    finally:
        server().config["PROPAGATE_EXCEPTIONS"] = True
    assert "Traceback" not in reply.text and ".py" not in reply.text
    assert len(reply.data) < 4 << 20


def _states() -> list[bytes]:
    sent: list[bytes] = []

    class Listening(Reader):
        def ask(self, prefix: str, output: str, props: dict[str, Any], changed: str) -> str:
            told = next(c for c in self.known[prefix] if output in c["output"])
            body = {
                "output": told["output"],
                "outputs": [],
                "inputs": [{**one, "value": props.get(f"{one['id']}.{one['property']}")}
                           for one in told["inputs"]],
                "state": [{**one, "value": props.get(f"{one['id']}.{one['property']}")}
                          for one in told.get("state", [])],
                "changedPropIds": [changed],
            }  # fmt: skip
            text = json.dumps(body)
            sent.append((text + " " * ((PATHS.index(prefix) - len(text)) % 4)).encode())
            return ""

    reader = Listening(server())
    props = {
        f"{ids.VIEW}.data": View(0, 10_000_000).stored(),
        f"{ids.CHOSEN}.data": 1,
        f"{ids.RUN}.data": {"id": "1", "span": 40_000_000, "name": "x"},
        f"{ids.SCREEN}.data": {"sizes": SIZES, "scheme": "light"},
        f"{ids.PANELS}.value": "load",
        f"{ids.JUMP}.value": "3 ms",
        "pair.data": {"a": "1", "b": "2", "name": "x"},
        "address.search": "?a=1&b=2&run=1",
        "screen.data": {"width": 900, "scheme": "", "sizes": SIZES},
    }
    for prefix in ("/", "/two/", "/repair/", "/classroom/"):
        for told in reader.known[prefix]:
            if not told.get("clientside_function"):
                changed = [f"{one['id']}.{one['property']}" for one in told["inputs"]]
                reader.ask(prefix, told["output"], props, changed[0])
    return [text for text in sent if len(text) < 2000]


def upload(data: bytes) -> None:
    """A file with a name, sent to the room where logs are opened; and what is read of it."""
    name, _, log = data.partition(b"\n")
    headers = {"X-Tracelens": "open", "X-Log-Name": name.decode("latin-1"), "Origin": BASE}
    client = server().test_client()
    reply = client.post("/open/upload", data=log, base_url=BASE, headers=_sendable(headers))
    assert reply.status_code in (202, 400, 403, 411, 413, 503), reply.status_code
    while reply.status_code == 202:
        told = client.get(f"/open/upload/{reply.json['ticket']}", base_url=BASE).json
        if told and ("run" in told or "problem" in told):
            assert "fault of tracelens" not in told.get("problem", ""), told
            assert "\n" not in told.get("problem", "")
            break


def _sendable(headers: dict[str, str]) -> dict[str, str]:
    return {key: "".join(c for c in text if c not in "\r\n\0") for key, text in headers.items()}


def _uploads() -> list[bytes]:
    names = (b"run.csv", b"..%2F..%2Fx", b"%E2%80%AEx", b"")
    return [names[n % 4] + b"\n" + log for n, log in enumerate(small_logs()[::20])]


_ADDRESS_WORDS = (
    b"&from=", b"&to=", b"&job=", b"&top=", b"&finding=", b"&lanes=", b"&without=task", b"&first=",
    b"&order=", b"&fold=1", b"&run=", b"&panel=queues", b"&of=", b"&windows=100 ms", b"&at=mark",
    b"&mark=", b"&protocol=flash_bus=ceiling", b"&scale=", b"&clock=1e-6", b"&offset=link=1us",
    b"&core=link=0", b"&without=link", b"&period=", b"%00", b"%ff", b"%E2%80%AE", b"&set=",
)  # fmt: skip

TARGETS = {
    "address": Target(address, _addresses, _ADDRESS_WORDS),
    "typed": Target(
        typed,
        lambda: [b"4.25 s", b"3ms", b"1000", b"5 us", b"0:10:1:needle_select", b"5:5::link"],
        (b" ns", b" \xc2\xb5s", b" ms", b"s", b".", b",", b":", b"e9", b"-", b"inf", b"\xd9\xa3"),
    ),
    "lesson": Target(lesson, _lessons, (b'"cores":"2"', b'"policy":"edf"', b'"until":"9"')),
    "state": Target(state, _states, (b'"value":null', b'"value":[]', b'"value":{"start":1e300}')),
    "upload": Target(upload, _uploads),
}

"""A person at the page, over HTTP: what their browser asks as they look about.

The payloads are those that the page's script sends: the page's own callbacks, as it lists them,
with what the stores of the browser would hold. A person does one thing after another and looks at
what came in between; so one connection is enough, and it is kept open as a browser does.
"""

import http.client
import json
import random
import re
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote, urlsplit

from tests.benchmarks.page import SCREEN
from tests.drawing import scene
from tracelens.replay import parse
from tracelens.web import ids
from tracelens.web.guard import ASKED
from tracelens.web.panels.registry import PANELS
from tracelens.web.rooms.classroom.examples import examples
from tracelens.web.rooms.classroom.link import pack
from tracelens.web.rooms.open_log import NAMED
from tracelens.web.rooms.repair.asked import link

PATIENCE_S = 60.0
_LONGEST_POLL_S = 180.0
_FILE = re.compile(r"/(\w+/)?(assets|_dash-component-suites)/")
_SAMPLES = ("knitting_inversion", "knitting_mended", "knitting_healthy", "three_tasks_none")


@dataclass(frozen=True, slots=True)
class Request:
    """One request: what it was for, how long its reply took to its last byte, and its status.

    `status` is 0 if no reply came; `asked` is when, on the monotonic clock.
    """

    kind: str
    asked: float
    seconds: float
    status: int


class UnansweredError(Exception):
    """A reply that stops what the person was about to do."""


class Person:
    """One browser; `done` is every request that it made."""

    def __init__(self, address: str, seed: int, look_s: float = 4.0) -> None:
        self.done: list[Request] = []
        self._address = urlsplit(address)
        self._chance = random.Random(seed)
        self._look_s = look_s
        self._line: http.client.HTTPConnection | None = None
        self._known: dict[str, list[dict[str, Any]]] = {}
        self._kept: set[str] = set()
        self._stores: dict[tuple[str, str], Any] = {}
        self._actions: tuple[tuple[Callable[[], None], int], ...] = (
            (self.zoom_or_pan, 50),
            (self.choose_a_job, 18),
            (self.switch_panels, 18),
            (self.take_a_table, 3),
            (self.take_the_report, 1),
            (self.go_to_two_runs, 3),
            (self.go_to_the_classroom, 3),
            (self.open_a_sample, 3),
            (self.upload, 2),
            (self.repair, 2),
        )

    def live(self, until: float) -> None:
        """Do one thing after another until that moment of the monotonic clock."""
        actions, weights = zip(*self._actions, strict=True)
        self._attempt(lambda: self.open("?run=1"))
        while time.monotonic() < until:
            time.sleep(min(self._chance.expovariate(1 / self._look_s), 5 * self._look_s))
            if (ids.VIEW, "data") not in self._stores:
                self._attempt(lambda: self.open("?run=1"))
                continue
            self._attempt(self._chance.choices(actions, weights)[0])
        self._hang_up()

    def _attempt(self, action: Callable[[], None]) -> None:
        try:
            action()
        except UnansweredError:
            self._hang_up()

    # ---- the page on one run

    def open(self, search: str) -> None:
        """The page of a run: everything that its first view needs."""
        self._load("/", search, "page")
        stored = self._ask("/", f"{ids.RUN}.data", "open a run", {(ids.ADDRESS, "search"): search})
        for store in (ids.RUN, ids.VIEW, ids.CHOSEN):
            self._stores[store, "data"] = stored[store]["data"]
        self._stores |= {
            (ids.SCREEN, "data"): SCREEN,
            (ids.PANELS, "value"): "responses",
            (ids.STEP_KIND, "value"): "miss",
            (ids.PANEL_OF, "value"): None,
        }
        for output in (
            f"{ids.HEADER}.children",
            f"{ids.FINDINGS}.children",
            f"{ids.STRIP}.figure",
            f"{ids.DRAWING}.data",
            f"{ids.JOB_FIGURE}.figure",
            f"{ids.PANEL_OF}.options",
            f"{ids.PANEL_FIGURE}.figure",
            f"{ids.PANEL_TABLE}.children",
            f"{ids.WHICH}.children",
            f"{ids.GONE}.children",
        ):
            self._ask("/", output, "first view")

    def zoom_or_pan(self) -> None:
        """A few moves in a row, as a hand makes them."""
        for _ in range(self._chance.randint(1, 4)):
            view = self._stores[ids.VIEW, "data"]
            span = self._stores[ids.RUN, "data"]["span"]
            width = view["end"] - view["start"]
            wide = int(min(max(width * 2 ** self._chance.uniform(-2.2, 2), 2_000_000), span))
            middle = view["start"] + self._chance.uniform(-0.2, 1.2) * width
            start = int(min(max(0, middle - wide / 2), span - wide))
            self._stores[ids.VIEW, "data"] = view | {"start": start, "end": start + wide}
            self._follow("zoom or pan", ids.VIEW)
            time.sleep(self._chance.uniform(0.1, 0.5))

    def choose_a_job(self) -> None:
        """On to the next late one, or to a job that was clicked."""
        if self._chance.random() < 0.5:
            self._stores[ids.NEXT, "n_clicks"] = 1
            told = self._ask(
                "/", f"{ids.VIEW}.data", "next place", changed=ids.NEXT, by=(ids.NEXT, "n_clicks")
            )
            self._stores[ids.VIEW, "data"] = told[ids.VIEW]["data"]
            self._stores[ids.CHOSEN, "data"] = told[ids.CHOSEN]["data"]
        else:
            self._stores[ids.CHOSEN, "data"] = self._chance.randrange(50)
        self._follow("another job", ids.CHOSEN)
        self._ask("/", f"{ids.JOB_FIGURE}.figure", "another job: told", changed=ids.CHOSEN)

    def switch_panels(self) -> None:
        """Another tab beneath the schedule."""
        self._stores[ids.PANELS, "value"] = self._chance.choice(PANELS).value
        for output in (
            f"{ids.PANEL_OF}.options",
            f"{ids.PANEL_FIGURE}.figure",
            f"{ids.PANEL_TABLE}.children",
        ):
            self._ask("/", output, "another panel", changed=ids.PANELS)

    def take_a_table(self) -> None:
        """The schedule's window as CSV."""
        self._ask("/", _by_what("csv-file", "schedule"), "a table", by=(_by_what("csv"), ""))

    def take_the_report(self) -> None:
        """The HTML report of the run."""
        self._ask("/", f"{ids.REPORT_FILE}.data", "HTML report")

    def _follow(self, kind: str, store: str) -> None:
        """What the page asks for when window or job are others."""
        self._ask("/", f"{ids.DRAWING}.data", f"{kind}: drawn", changed=store)
        for output in (
            f"{ids.WHICH}.children",
            f"{ids.GONE}.children",
            f"{ids.PANEL_FIGURE}.figure",
        ):
            self._ask("/", output, kind, changed=store)

    # ---- the rooms

    def open_a_sample(self) -> None:
        """The list of samples, one of them, and back to the long run."""
        self._get("/open/", "open a log")
        self.open(f"?run=sample:{self._chance.choice(_SAMPLES)}")
        self._look()
        self.zoom_or_pan()
        self.open("?run=1")

    def go_to_two_runs(self) -> None:
        """Two samples, or the long run beside one."""
        a, b = self._chance.choice((("sample:knitting_inversion", "sample:knitting_mended"),
                                    ("1", "sample:knitting_healthy")))  # fmt: skip
        search = f"?a={quote(a)}&b={quote(b)}"
        self._load("/two/", search, "two runs")
        told = self._ask("/two/", "pair.data", "two runs", {("address", "search"): search})
        screen = {"width": 1400, "scheme": "light"}
        at = {"a": 0, "b": 0}
        span = 10 ** self._chance.randint(7, 9)
        values = {("pair", "data"): told["pair"]["data"], ("screen", "data"): screen,
                  ("moments", "data"): at, ("view", "data"): {"start": 0, "end": span}}  # fmt: skip
        self._ask("/two/", "schedule-a.figure", "two runs", values)
        self._ask("/two/", "verdict.children", "two runs: verdict", values)

    def go_to_the_classroom(self) -> None:
        """An example of the classroom, run under all protocols."""
        self._load("/classroom/", "", "classroom")
        word = pack(self._chance.choice(list(examples().values())).exercise)
        values = {("set", "data"): {"word": word},
                  ("screen", "data"): {"width": 1400, "scheme": "light"}}  # fmt: skip
        self._ask("/classroom/", "results.children", "classroom: run", values)

    def upload(self) -> None:
        """A log of one's own, read and looked at, then back to the long run."""
        text = scene.log_text(self._chance.randrange(200, 1000)).encode()
        headers = {ASKED: "open", NAMED: "mine.csv", "Content-Type": "application/octet-stream"}
        told = self._send("POST", "/open/upload", "upload", text, headers)
        run = self._poll(lambda: self._get(f"/open/upload/{told['ticket']}", "upload: ask"))
        self.open(f"?run={run}")
        self._look()
        self.zoom_or_pan()
        self.open("?run=1")

    def repair(self) -> None:
        """A protocol tried on a sample; now and then the work of a task, on the long run."""
        if self._chance.random() < 0.9:
            change = parse("scale", f"archive={self._chance.choice((0.6, 0.7, 0.8, 0.9))}")
            run = "sample:knitting_inversion"
        else:
            change, run = parse("scale", f"archive={self._chance.choice((0.7, 0.8))}"), "1"
        search = "?" + link(run, None, (change,)).partition("?")[2]
        self._load("/repair/", search, "repair")
        told = self._ask("/repair/", "asked.data", "repair", {("address", "search"): search})
        values = {("asked", "data"): told["asked"]["data"]}
        begun = self._ask("/repair/", "ticket.data", "repair", values)
        values["ticket", "data"] = begun.get("ticket", {}).get("data")
        pair: dict[str, Any] = {}

        def asked() -> dict[str, Any]:
            said = self._ask("/repair/", "step.children", "repair: ask", values)
            pair.update(said.get("pair", {}).get("data", {}))
            problem = said.get("problem", {}).get("children")
            return {"problem": problem} if problem else {"run": pair["b"]} if pair else {}

        if not values["ticket", "data"]:
            raise UnansweredError("refused in a line")
        self._poll(asked)
        values["pair", "data"] = pair
        self._ask("/repair/", "believed.children", "repair: answer", values)

    def _poll(self, ask: Callable[[], dict[str, Any]]) -> str:
        until = time.monotonic() + _LONGEST_POLL_S
        while time.monotonic() < until:
            told = ask()
            if told.get("run"):
                return str(told["run"])
            if told.get("problem"):
                break
            time.sleep(0.5)
        raise UnansweredError("no run came of it")

    def _look(self) -> None:
        time.sleep(min(self._chance.expovariate(1 / self._look_s), 2 * self._look_s))

    # ---- HTTP

    def _load(self, path: str, search: str, kind: str) -> None:
        """A page with what it loads; what the browser keeps is loaded once."""
        page = self._send("GET", path + search, kind, raw=True).decode()
        for source in re.findall(r'(?:src|href)="(/[^"]+)"', page):
            if _FILE.match(source) and source not in self._kept:
                self._kept.add(source)
                self._send("GET", source, "file of the page", raw=True)
        self._get(f"{path}_dash-layout", kind)
        self._known[path] = self._get(f"{path}_dash-dependencies", kind)

    def _ask(
        self,
        prefix: str,
        output: str,
        kind: str,
        values: dict[tuple[str, str], Any] | None = None,
        changed: str | None = None,
        by: tuple[str, str] | None = None,
    ) -> dict[str, Any]:
        """The reply of a callback with that output, and, where several have it, that input."""
        stores = self._stores if values is None else self._stores | values
        told = next(
            one for one in self._known[prefix]
            if "clientside_function" not in one or one["clientside_function"] is None
            if any(name.partition("@")[0] == output for name in _names(one["output"]))
            and (by is None or any(part["id"].startswith(by[0]) for part in one["inputs"]))
        )  # fmt: skip
        parts = [_output(name) for name in _names(told["output"])]
        triggers = [
            f"{part['id']}.{part['property']}"
            for part in told["inputs"]
            if changed is None or part["id"] == changed
        ]
        body = {
            "output": told["output"],
            "outputs": parts if told["output"].startswith("..") else parts[0],
            "inputs": [_filled(part, stores) for part in told["inputs"]],
            "changedPropIds": triggers,
            "parsedChangedPropsIds": triggers,
            "state": [_filled(part, stores) for part in told.get("state", [])],
        }
        reply = self._send(
            "POST", f"{prefix}_dash-update-component", kind, json.dumps(body).encode(),
            {"Content-Type": "application/json"},
        )  # fmt: skip
        return {key.partition("@")[0]: v for key, v in reply.get("response", {}).items()}

    def _get(self, path: str, kind: str) -> Any:
        return self._send("GET", path, kind)

    def _send(
        self,
        method: str,
        path: str,
        kind: str,
        body: bytes | None = None,
        headers: dict[str, str] | None = None,
        raw: bool = False,
    ) -> Any:
        own = {"Origin": f"http://{self._address.netloc}", "Sec-Fetch-Site": "same-origin"}
        with self._timed(kind) as status:
            if self._line is None:
                place = self._address.hostname or "", self._address.port
                self._line = http.client.HTTPConnection(*place, timeout=PATIENCE_S)
            self._line.request(method, path, body, own | (headers or {}))
            reply = self._line.getresponse()
            data = reply.read()
            status[0] = reply.status
        if reply.status >= 300:
            raise UnansweredError(f"{kind}: {reply.status}")
        return data if raw else json.loads(data) if data[:1] in (b"{", b"[") else {}

    @contextmanager
    def _timed(self, kind: str) -> Iterator[list[int]]:
        status, start = [0], time.monotonic()
        try:
            yield status
        except (OSError, http.client.HTTPException) as error:
            raise UnansweredError(f"{kind}: {error!r}") from error
        finally:
            self.done.append(Request(kind, start, time.monotonic() - start, status[0]))

    def _hang_up(self) -> None:
        if self._line is not None:
            self._line.close()
        self._line = None


def _names(output: str) -> list[str]:
    return output.strip(".").split("...")


def _output(name: str) -> dict[str, Any]:
    part, _, prop = name.rpartition(".")
    return {"id": json.loads(part) if part.startswith("{") else part, "property": prop}


def _filled(part: dict[str, Any], stores: dict[tuple[str, str], Any]) -> Any:
    if part["id"].startswith("{") and "ALL" in part["id"]:
        return []
    one = part | {"value": stores.get((part["id"], part["property"]))}
    return one | {"id": json.loads(part["id"])} if part["id"].startswith("{") else one


def _by_what(kind: str, what: str | None = None) -> str:
    """Id of a part that is one of several, as the page writes it."""
    if what is None:
        return f'{{"type":"{kind}"'
    return json.dumps({"type": kind, "what": what}, separators=(",", ":")) + ".data"

"""How fast the page answers on a long log. By hand:

    python -m tests.benchmarks.page [MILLIONS OF EVENTS, default 10]

The callbacks of the page are asked as a browser asks them, over the WSGI interface, for a screen of
1440 × 900: first all that the first view needs, then a walk of zooms and pans from the whole run to
milliseconds and back. Times are of the server, until the last byte of the reply; beside each stands
the processor's own time, which a machine that is busy with something else does not change much.
Nothing is asserted, for the same reason.
"""

import json
import random
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from dash import Dash

from tests.benchmarks.large_log import write_large_log
from tracelens.analysis import analyse
from tracelens.drawing.runs import load
from tracelens.reading import read
from tracelens.web import ids
from tracelens.web.app import create_app
from tracelens.web.moves import View

SCREEN = {
    "sizes": {
        ids.STRIP: [1412, 82], ids.SCHEDULE: [1106, 330], ids.JOB_FIGURE: [610, 150],
        ids.PANEL_FIGURE: [680, 150],
    },
    "scheme": "light",
}  # fmt: skip
MOVES = 300


Spent = np.ndarray
"""Seconds on the clock, and of the processor."""


def now() -> Spent:
    return np.array([time.perf_counter(), time.process_time()])


def shown(spent: Spent, unit: str = "s") -> str:
    wall, processor = spent * (1 if unit == "s" else 1000)
    digits = 2 if unit == "s" else 0
    return f"{wall:7.{digits}f} {unit}  (processor {processor:.{digits}f} {unit})"


class Reader:
    """Asks the callbacks of a page, with what the stores of a browser would hold."""

    def __init__(self, app: Dash) -> None:
        self.app = app
        self.client = app.server.test_client()
        self.values: dict[tuple[str, str], Any] = {(ids.SCREEN, "data"): SCREEN}

    def ask(self, output: str) -> tuple[Spent, int, Any]:
        """(time, bytes, reply) of the first callback with an output 'component.property'."""
        key = next(key for key in self.app.callback_map if output in key.strip(".").split("..."))
        asked = self.app.callback_map[key]
        outputs = [dict(zip(("id", "property"), part.rsplit(".", 1), strict=True))
                   for part in key.strip(".").split("...")]  # fmt: skip
        body = {
            "output": key,
            "outputs": outputs if key.startswith("..") else outputs[0],
            "inputs": [self._with_value(part) for part in asked["inputs"]],
            "state": [self._with_value(part) for part in asked["state"]],
            "changedPropIds": [f"{part['id']}.{part['property']}" for part in asked["inputs"]],
        }
        start = now()
        reply = self.client.post(
            "/_dash-update-component", json=body, base_url="http://127.0.0.1:8050"
        )
        data = reply.data
        taken = now() - start
        assert reply.status_code == 200, reply.status
        return taken, len(data), json.loads(data)

    def _with_value(self, part: dict[str, Any]) -> dict[str, Any]:
        return {**part, "value": self.values.get((part["id"], part["property"]))}


def first_view(reader: Reader) -> tuple[Spent, int]:
    """Everything that the first view needs, one after another; (time, bytes)."""
    reader.values[ids.ADDRESS, "search"] = ""
    total, size, reply = reader.ask(f"{ids.RUN}.data")
    for store in (ids.RUN, ids.VIEW, ids.CHOSEN):
        told = next(v for k, v in reply["response"].items() if k.split("@")[0] == store)
        reader.values[store, "data"] = told["data"]
    reader.values[ids.PANELS, "value"] = "responses"
    reader.values[ids.STEP_KIND, "value"] = "miss"
    for output in (
        f"{ids.HEADER}.children",
        f"{ids.FINDINGS}.children",
        f"{ids.STRIP}.figure",
        f"{ids.DRAWING}.data",
        f"{ids.JOB_FIGURE}.figure",
        f"{ids.PANEL_FIGURE}.figure",
    ):
        taken, length, _ = reader.ask(output)
        total, size = total + taken, size + length
    return total, size


def walk(span: int, view: View, seed: int) -> Iterator[View]:
    """Zooms at the pointer and pans, as a hand makes them, from the whole run to 2 ms."""
    chance = random.Random(seed)
    for _ in range(MOVES):
        width = view.end - view.start
        if chance.random() < 0.5:
            wide = min(max(width * 2 ** chance.uniform(-2.5, 2.2), 2_000_000), span)
            at = view.start + chance.random() * width
            start = at - chance.random() * wide
        else:
            wide, start = width, view.start + width * chance.uniform(-1, 1)
        start = min(max(0, start), span - wide)
        view = View(round(start), round(start + wide), view.top)
        yield view


def figures(folder: Path, events: int) -> Iterator[str]:
    """One line a figure, as they are measured."""
    log = folder / "large.csv"
    count = write_large_log(log, events)
    start = now()
    analysis = analyse(read(log))
    size = f"{count:,} events, {log.stat().st_size / 1e6:.0f} MB"
    yield f"{size}; read and analysed in   {shown(now() - start)}"
    start = now()
    load(analysis)
    prepared = now() - start
    reader = Reader(create_app(analysis))
    first, length = first_view(reader)
    yield f"first view after that   {shown(prepared + first)}, {length / 1e3:.0f} kB"
    yield f"  of which preparing    {shown(prepared)}"
    yield f"  for the next reader   {shown(first_view(reader)[0])}"
    span = reader.values[ids.RUN, "data"]["span"]
    taken, sizes = [], []
    for view in walk(span, View(0, span), seed=1):
        reader.values[ids.VIEW, "data"] = view.stored()
        spent, length, _ = reader.ask(f"{ids.DRAWING}.data")
        taken.append(spent)
        sizes.append(length / 1e3)
    for what, share in (("median", 50), ("p99", 99), ("most", 100)):
        times = np.percentile(np.array(taken), share, axis=0, method="inverted_cdf")
        yield f"zoom or pan, {what:6}     {shown(times, 'ms')}"
    yield f"  reply                 median {np.median(sizes):.0f} kB, most {max(sizes):.0f} kB"
    jobs = analysis.timeline.jobs["job_id"].sample(3, seed=1).to_list()
    for job in jobs:
        reader.values |= {(ids.CHOSEN, "data"): job}
        drawn, _, _ = reader.ask(f"{ids.DRAWING}.data")
        told, length, _ = reader.ask(f"{ids.JOB_FIGURE}.figure")
        yield f"another job: its chain  {shown(drawn, 'ms')}"
        yield f"  its telling           {shown(told, 'ms')}, {length / 1e3:.0f} kB"


def main() -> None:
    millions = float(sys.argv[1]) if len(sys.argv) > 1 else 10
    with tempfile.TemporaryDirectory() as folder:
        for line in figures(Path(folder), round(millions * 1e6)):
            sys.stdout.write(line + "\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main()

"""Where the reader looks, and where a finding, a miss or a typed time takes them."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any, Final
from urllib.parse import parse_qs

import numpy as np
import polars as pl

from tracelens.drawing.choice import ORDERS, Choice, choose
from tracelens.drawing.lanes import DRAWN
from tracelens.drawing.runs import Run
from tracelens.errors import UsageError
from tracelens.measures.contract import of_name
from tracelens.model.results import Finding
from tracelens.units import NS_PER_MS, NS_PER_US, time_ns
from tracelens.web.panels import places

LEAST_WIDTH_NS: Final = 2 * NS_PER_US
"""The narrowest window: below it the clocks of real targets have nothing to tell."""


@dataclass(frozen=True, slots=True)
class View:
    """What the schedule shows: the window [start, end) in ns, and which lanes.

    `top` is the number of the topmost lane among those that the other fields, which are those of
    `drawing.choice.Choice`, leave.
    """

    start: int
    end: int
    top: int = 0
    find: str = ""
    without: Sequence[str] = ()
    first: Sequence[str] = ()
    order: str = ORDERS[0]
    fold: bool = False

    def stored(self) -> dict[str, Any]:
        """As the page stores it."""
        return asdict(self)

    @property
    def choice(self) -> Choice:
        """Which lanes."""
        return Choice(self.find, self.without, self.first, self.order, self.fold)


Chosen = int | None
"""The job that the reader looks at."""


def fit(run: Run, view: View) -> View:
    """The view moved and, if need be, narrowed or widened to lie within the run."""
    span = max(run.span_ns, LEAST_WIDTH_NS)
    width = min(max(view.end - view.start, LEAST_WIDTH_NS), span)
    start = min(max(view.start, 0), span - width)
    top = max(0, min(view.top, len(run.lanes.lanes) - 1))
    return replace(view, start=start, end=start + width, top=top)


def opening(run: Run, view: View | None = None) -> tuple[View, Chosen]:
    """What the page opens on: the place of the first finding that has one, else the whole run."""
    view = fit(run, replace(view or View(0, 0), start=0, end=run.span_ns))
    first = next((f for f in run.analysis.findings if f.at_ns is not None), None)
    return to_finding(run, view, first) if first else (view, None)


def run_of(search: str) -> str | None:
    """Id of the run that the query of the page's address names."""
    return parse_qs(search.removeprefix("?")).get("run", [None])[0]


def from_address(run: Run, search: str) -> tuple[View, Chosen]:
    """The view that the query of the page's address names.

    A job or a finding without a window is shown whole; an address that names none of them shows
    the opening.
    """
    query = parse_qs(search.removeprefix("?"))
    lanes = _lanes_of(run, query)
    job = _number(query, "job")
    start, end = _number(query, "from"), _number(query, "to")
    known = job is not None and run.job(job) is not None
    if start is None or end is None:
        view = replace(lanes, end=run.span_ns)
        if known and job is not None:
            return to_job(run, view, job)
        finding = _number(query, "finding")
        if finding is not None and finding < len(run.analysis.findings):
            return to_finding(run, fit(run, view), run.analysis.findings[finding])
        return opening(run, view)
    view = replace(lanes, start=start, end=end, top=_number(query, "top") or 0)
    return fit(run, view), job if known else None


def number_in(search: str, key: str) -> int | None:
    """A number that the query of the page's address gives a key; None for what is none."""
    return _number(parse_qs(search.removeprefix("?")), key)


def names_a_place(search: str) -> bool:
    """Whether the address names a window or a job."""
    return any(number_in(search, key) is not None for key in ("from", "job"))


def _number(query: dict[str, list[str]], key: str) -> int | None:
    text = query.get(key, [""])[0]
    return int(text) if text.isdecimal() and len(text) <= 18 else None


def _lanes_of(run: Run, query: dict[str, list[str]]) -> View:
    names = {lane.name for lane in run.lanes.lanes}
    order = query.get("order", [""])[0]
    return View(
        0,
        0,
        find=query.get("lanes", [""])[0],
        without=[kind for kind in query.get("without", []) if kind in DRAWN],
        first=[name for name in query.get("first", []) if name in names],
        order=order if order in ORDERS else ORDERS[0],
        fold=query.get("fold") == ["1"],
    )


def to_job(run: Run, view: View, job_id: int) -> tuple[View, Chosen]:
    """One job, from release to completion or deadline, with a margin on each side."""
    job: dict[str, Any] | None = run.job(job_id)
    if job is None:
        return view, None
    start, end = run.window_of(job)
    return _showing(run, fit(run, replace(view, start=start, end=end)), job["task"]), job_id


def to_span(run: Run, view: View, start_ns: int, end_ns: int, lane: str) -> View:
    """A time [start_ns, end_ns) with a margin on each side, and the lane named `lane` in sight."""
    start, width = frame(run, np.int64(start_ns), np.int64(end_ns))
    moved = fit(run, replace(view, start=int(start), end=int(start + width)))
    return _showing(run, moved, lane)


def frame(run: Run, start_ns: Any, end_ns: Any) -> tuple[Any, Any]:
    """Start and width of the windows that show times [start_ns, end_ns) with a margin; of numpy."""
    span = max(run.span_ns, LEAST_WIDTH_NS)
    margin = np.maximum((end_ns - start_ns) // 5, 20 * NS_PER_US)
    width = np.minimum(end_ns - start_ns + 2 * margin, span)
    return np.clip(start_ns - margin, 0, span - width), width


def to_finding(run: Run, view: View, finding: Finding) -> tuple[View, Chosen]:
    """The place of a finding: its job, else a job of its task there, else the moment."""
    if finding.at_ns is None:
        return view, None
    if "job_id" in finding.numbers:
        return to_job(run, view, int(finding.numbers["job_id"]))
    there = (
        of_name(run.analysis.timeline.jobs, "task", finding.subject)
        .filter((pl.col("release_ns") <= finding.at_ns) & (pl.col("end_ns") >= finding.at_ns))
        .sort("late", "release_ns", descending=True, maintain_order=True)
    )
    if there.height:
        return to_job(run, view, there["job_id"][0])
    width = max(run.span_ns // 500, 10 * NS_PER_MS)
    start = finding.at_ns - width // 2
    moved = fit(run, replace(view, start=start, end=start + width))
    return _showing(run, moved, finding.subject), None


def to_place(run: Run, view: View, text: str) -> tuple[View, Chosen] | None:
    """The place that a number of a table comes from (`panels.places`); None for what is none."""
    place = places.read(text)
    if place is None:
        return None
    length = place.end_ns - place.start_ns
    margin = max(length // 3, 20 * NS_PER_US) if length else max(run.span_ns // 1000, 5 * NS_PER_MS)
    moved = fit(run, replace(view, start=place.start_ns - margin, end=place.end_ns + margin))
    job = place.job_id
    return _showing(run, moved, place.lane or ""), job if job is not None and run.job(job) else None


def typed(text: str) -> int:
    """The time that a person typed, in ns: '8.12 s', '250us', a bare number in seconds.

    Raises `UsageError` for anything else.
    """
    told = text.strip().replace(",", ".")
    ns = time_ns(f"{told}s" if told[-1:].isdigit() else told)
    if ns is None:
        raise UsageError(f"found {text.strip()[:40]!r}, expected a time such as 8.12 s or 250 us")
    return int(ns)


def to_instant(run: Run, view: View, at_ns: int) -> View:
    """The window as wide as before, with `at_ns` in its middle."""
    half = (view.end - view.start) // 2
    return fit(run, replace(view, start=at_ns - half, end=at_ns - half + view.end - view.start))


def _showing(run: Run, view: View, name: str) -> View:
    """The topmost lane kept, unless the wanted one is above it or far below."""
    lanes = choose(run.lanes, view.choice, view.start, view.end).lanes
    lane = next((i for i, lane in enumerate(lanes) if lane.name == name), None)
    if lane is None or view.top <= lane < view.top + 12:
        return view
    return replace(view, top=max(0, lane - 3))

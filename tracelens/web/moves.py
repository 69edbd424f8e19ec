"""Where the reader looks, and where a finding, a miss or a typed time takes them."""

from dataclasses import asdict, dataclass, replace
from typing import Any, Final
from urllib.parse import parse_qs

import polars as pl

from tracelens.drawing.runs import Run
from tracelens.model.results import Finding
from tracelens.units import NS_PER_MS, NS_PER_US
from tracelens.web.panels import places

LEAST_WIDTH_NS: Final = 2 * NS_PER_US
"""The narrowest window: below it the clocks of real targets have nothing to tell."""


@dataclass(frozen=True, slots=True)
class View:
    """The visible window [start, end) in ns, and the number of the topmost lane."""

    start: int
    end: int
    top: int = 0

    def stored(self) -> dict[str, int]:
        """As the page stores it."""
        return asdict(self)


Chosen = int | None
"""The job that the reader looks at."""


def fit(run: Run, view: View) -> View:
    """The view moved and, if need be, narrowed or widened to lie within the run."""
    span = max(run.span_ns, LEAST_WIDTH_NS)
    width = min(max(view.end - view.start, LEAST_WIDTH_NS), span)
    start = min(max(view.start, 0), span - width)
    return View(start, start + width, max(0, min(view.top, len(run.lanes.lanes) - 1)))


def opening(run: Run) -> tuple[View, Chosen]:
    """What the page opens on: the place of the first finding that has one, else the whole run."""
    view = fit(run, View(0, run.span_ns))
    first = next((f for f in run.analysis.findings if f.at_ns is not None), None)
    return to_finding(run, view, first) if first else (view, None)


def run_of(search: str) -> str | None:
    """Id of the run that the query of the page's address names."""
    return parse_qs(search.removeprefix("?")).get("run", [None])[0]


def from_address(run: Run, search: str) -> tuple[View, Chosen]:
    """The view that the query of the page's address names; where it names none, the opening."""
    query = {key: values[0] for key, values in parse_qs(search.removeprefix("?")).items()}
    try:
        view = View(int(query["from"]), int(query["to"]), int(query.get("top", "0")))
        job = int(query["job"]) if "job" in query else None
    except (KeyError, ValueError):
        return opening(run)
    return fit(run, view), job if job is not None and run.job(job) else None


def to_job(run: Run, view: View, job_id: int) -> tuple[View, Chosen]:
    """One job, from release to completion or deadline, with a margin on each side."""
    job: dict[str, Any] | None = run.job(job_id)
    if job is None:
        return view, None
    lane = _lane_of(run, job["task"])
    moved = View(*run.window_of(job), _showing(view.top, lane))
    return fit(run, moved), job_id


def to_finding(run: Run, view: View, finding: Finding) -> tuple[View, Chosen]:
    """The place of a finding: its job, else a job of its task there, else the moment."""
    if finding.at_ns is None:
        return view, None
    if "job_id" in finding.numbers:
        return to_job(run, view, int(finding.numbers["job_id"]))
    there = run.analysis.timeline.jobs.filter(
        (pl.col("task").cast(pl.String) == finding.subject)
        & (pl.col("release_ns") <= finding.at_ns)
        & (pl.col("end_ns") >= finding.at_ns)
    ).sort("late", "release_ns", descending=True)
    if there.height:
        return to_job(run, view, there["job_id"][0])
    width = max(run.span_ns // 500, 10 * NS_PER_MS)
    lane = _lane_of(run, finding.subject)
    moved = View(finding.at_ns - width // 2, finding.at_ns + width // 2, _showing(view.top, lane))
    return fit(run, moved), None


def to_place(run: Run, view: View, text: str) -> tuple[View, Chosen] | None:
    """The place that a number of a table comes from (`panels.places`); None for what is none."""
    place = places.read(text)
    if place is None:
        return None
    lane = _lane_of(run, place.lane) if place.lane else None
    length = place.end_ns - place.start_ns
    margin = max(length // 3, 20 * NS_PER_US) if length else max(run.span_ns // 1000, 5 * NS_PER_MS)
    moved = View(place.start_ns - margin, place.end_ns + margin, _showing(view.top, lane))
    job = place.job_id
    return fit(run, moved), job if job is not None and run.job(job) else None


def to_miss(run: Run, view: View, chosen: Chosen, step: int) -> tuple[View, Chosen]:
    """The next late job (`step` 1) or the one before (−1), after the chosen one or the window."""
    late = run.late
    if late.is_empty():
        return view, chosen
    ids = late["job_id"].to_list()
    if chosen in ids:
        target = ids.index(chosen) + step
    else:
        before = int(late["end_ns"].search_sorted((view.start + view.end) // 2))
        target = before if step > 0 else before - 1
    return to_job(run, view, ids[min(max(target, 0), len(ids) - 1)])


def to_instant(run: Run, view: View, at_ns: int) -> View:
    """The window as wide as before, with `at_ns` in its middle."""
    half = (view.end - view.start) // 2
    return fit(run, replace(view, start=at_ns - half, end=at_ns - half + view.end - view.start))


def which_miss(run: Run, chosen: Chosen) -> str:
    """'miss 3 of 126', or how many there are."""
    ids = run.late["job_id"].to_list()
    if chosen in ids:
        return f"miss {ids.index(chosen) + 1} of {len(ids)}"
    return "no misses" if not ids else f"{len(ids)} miss{'es' if len(ids) > 1 else ''}"


def _lane_of(run: Run, name: str) -> int | None:
    return next((i for i, lane in enumerate(run.lanes.lanes) if lane.name == name), None)


def _showing(top: int, lane: int | None) -> int:
    """The topmost lane kept, unless the wanted one is above it or far below."""
    if lane is None or top <= lane < top + 12:
        return top
    return max(0, lane - 3)

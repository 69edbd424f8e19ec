"""The figures of the page, drawn once for both colour schemes."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from markupsafe import Markup

from tracelens.drawing.figures import Shown
from tracelens.drawing.lanes import DRAWN, Lane, Lanes
from tracelens.drawing.panels.load import load_over_time
from tracelens.drawing.panels.responses import response_times
from tracelens.drawing.runs import Run
from tracelens.drawing.sheet import BOTTOM_PX, CAPTION_PX, TOP_PX, Sheet
from tracelens.drawing.svg.figure import svg
from tracelens.drawing.swimlanes import schedule, whole_run
from tracelens.drawing.this_job import this_job
from tracelens.model.results import Analysis
from tracelens.report.particulars import with_jobs
from tracelens.report.rows import most_telling, names_of

WIDTH: Final = 940
"""Of every figure: on a screen of 800 pixels, and on paper, its words can still be read."""

LANE_PX: Final = 34
MOST_LANES: Final = 28
MOST_PLOTS: Final = 12

NO_TIME: Final = "No time passes between the first event of this log and the last."


@dataclass(frozen=True, slots=True)
class Picture:
    """A figure or, where there is nothing to draw, the sentence that says why; and a caption."""

    svg: Markup | None
    caption: str = ""
    missing: str = ""


def run_strip(run: Run) -> Picture:
    """The whole run: how busy each core was, and a tick for each late job."""
    cores = len(run.lanes.of("core"))
    sheet = Sheet(WIDTH, TOP_PX + BOTTOM_PX + 12 + 30 * max(1, cores), "css")
    drawn = svg(whole_run(run, sheet), sheet.width, sheet.height, "load of the whole run")
    caption = "The whole run: height is the share of time in tasks, interrupts and switching"
    late = "; a tick is a late job." if run.late.height else ". No job was late."
    return Picture(Markup(drawn), f"{caption}{late}")


def job_schedule(run: Run, job: dict[str, Any]) -> Picture:
    """The schedule from before the release of a job to after its end."""
    start, end = run.window_of(job)
    if start >= end:
        return Picture(None, missing=NO_TIME)
    lanes, quiet, too_many = _lanes(run.lanes, job["task"], start, end)
    groups = len({lane.group for lane in lanes})
    height = TOP_PX + BOTTOM_PX + groups * CAPTION_PX + len(lanes) * LANE_PX
    sheet = Sheet(WIDTH, height, "css")
    only = replace(run, lanes=replace(run.lanes, lanes=tuple(lanes)))
    figure, _ = schedule(only, start, end, sheet, job_id=job["job_id"])
    label = f"schedule around job {job['job']} of {job['task']}"
    told = f"Not shown, since nothing happens in them here: {names_of(quiet)}." if quiet else ""
    told += f" Not shown, since there are so many: {names_of(too_many)}." if too_many else ""
    return Picture(Markup(svg(figure, sheet.width, sheet.height, label)), told.strip())


def _lanes(
    lanes: Lanes, task: str, start: int, end: int
) -> tuple[list[Lane], list[str], list[str]]:
    """The lanes to draw, the names of those in which nothing happens, and of those too many.

    The task's own lane and the cores are always drawn; of the others at most the first, so that
    there are `MOST_LANES`.
    """

    def busy(lane: Lane) -> bool:
        tracks = (lanes.track(lane, state) for state in DRAWN[lane.kind])
        return any(track.count(lane.key, start, end) for track in tracks if track)

    always = {lane for lane in lanes.lanes if lane.kind == "core" or lane.name == task}
    other = [lane for lane in lanes.lanes if lane not in always and busy(lane)]
    room = max(0, MOST_LANES - len(always))
    shown = always | set(other[:room])
    quiet = [lane.name for lane in lanes.lanes if lane not in shown and lane not in other]
    return [lane for lane in lanes.lanes if lane in shown], quiet, [x.name for x in other[room:]]


def job_ledger(run: Run, job: dict[str, Any]) -> Picture:
    """Where the response of a job went, as bars against the deadline."""
    sheet = Sheet(WIDTH, 132, "css")
    label = f"where the time of job {job['job']} of {job['task']} went"
    return _shown(this_job(run, job["job_id"], sheet), sheet, label)


def load_curve(run: Run, window: tuple[int, int]) -> Picture:
    """Load of each core over time."""
    if window[0] >= window[1]:
        return Picture(None, missing=NO_TIME)
    sheet = Sheet(WIDTH, 170, "css")
    return _shown(load_over_time(run, *window, sheet), sheet, "load over time")


def response_plots(run: Run, analysis: Analysis) -> Iterator[tuple[str, Picture]]:
    """Response over release, a task a figure, with the distribution beside it."""
    measured = replace(run, analysis=analysis)
    sheet = Sheet(WIDTH, 150, "css")
    for task in plotted_tasks(analysis):
        label = f"response times of {task}"
        yield task, _shown(response_times(measured, task, sheet), sheet, label)


def plotted_tasks(analysis: Analysis) -> Sequence[str]:
    """The tasks whose response times are drawn, most urgent first."""
    tasks = with_jobs(analysis)
    return most_telling(tasks, MOST_PLOTS)["task"].to_list()


def _shown(shown: Shown, sheet: Sheet, label: str) -> Picture:
    figure, missing = shown
    if figure is None:
        return Picture(None, missing=missing)
    return Picture(Markup(svg(figure, sheet.width, sheet.height, label)))

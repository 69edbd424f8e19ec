"""What is drawn over the blocks: releases, deadlines, completions, and misses.

The signs are those of the scheduling literature: ↑ at a release, ↓ at an absolute deadline, a
ring at a completion (common practice; for example G. Buttazzo, 'Hard Real-Time Computing Systems').
"""

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
import polars as pl

from tracelens.drawing.blocks import Drawing
from tracelens.drawing.packing import inert, packed
from tracelens.drawing.palette import Palette
from tracelens.drawing.runs import Run
from tracelens.drawing.sheet import Place
from tracelens.numbers import duration, moment

SPARSE_PX: Final = 48
"""Jobs that stand closer than this on average are not marked one by one, only the late ones."""

Points = list[tuple[float, float, str, str, str]]
"""x, y, plotly symbol, colour, hover text."""


def job_marks(
    drawing: Drawing,
    run: Run,
    places: Sequence[Place],
    exact: Sequence[Place],
    palette: Palette,
    width_px: int,
) -> list[dict[str, Any]]:
    """Arrows, rings and crosses of the jobs in the window; edges of what ran too late.

    `exact` are the lanes that are drawn as blocks: overruns are added to `drawing` for these. The
    other marks are returned as traces.
    """
    stems: list[tuple[float, float, float]] = []
    points: Points = []
    for place in places:
        of_task = run.jobs.visible(place.lane.key, drawing.start_ns, drawing.end_ns + 1)
        if of_task.height * SPARSE_PX <= width_px:
            _every_job(of_task, place, palette, drawing, stems, points)
            if place in exact:
                _overruns(drawing, run, of_task.filter("late"), place)
        else:
            _late_only(of_task.filter("late"), place, palette, drawing, points)
    return _traces(stems, points, palette)


def _every_job(
    jobs: pl.DataFrame,
    place: Place,
    palette: Palette,
    drawing: Drawing,
    stems: list[tuple[float, float, float]],
    points: Points,
) -> None:
    on_blocks, edges = drawing.marks[place.baseline], drawing.edges
    top = place.baseline - place.pitch + 3.0
    late = palette.states["late"].edge
    for job in jobs.iter_rows(named=True):  # few rows: jobs that stand SPARSE_PX apart
        name = f"<b>{inert(place.lane.name)}</b> job {job['job']}<br>"
        release, deadline = job["release_ns"], job["deadline_ns"]
        stems.append((release, place.baseline, top))
        said = f"{name}released at {moment(release)}"
        edges.mark(place, release, f"release of job {job['job']}")
        on_blocks.append(release)
        points.append((release, top + 3, "triangle-up", palette.text, said))
        if deadline is not None:
            due = release + deadline
            said = f"{name}deadline at {moment(due)}, {duration(deadline)} after release"
            stems.append((due, place.baseline, top))
            edges.mark(place, due, f"deadline of job {job['job']}")
            on_blocks.append(due)
            colour = late if job["late"] else palette.text
            points.append((due, place.baseline - 3, "triangle-down", colour, said))
            if job["late"]:
                said = f"{name}late: {duration(job['response_ns'])} of {duration(deadline)}"
                points.append((due, (place.baseline + top) / 2, "x-thin", late, said))
        if job["status"] == "complete":
            edges.mark(place, job["done_ns"], f"completion of job {job['job']}")
            said = f"{name}complete at {moment(job['done_ns'])}"
            if job["response_ns"] is not None:
                said += f", {duration(job['response_ns'])} after release"
            points.append((job["done_ns"], place.baseline, "circle-open", palette.text, said))


def _overruns(drawing: Drawing, run: Run, late: pl.DataFrame, place: Place) -> None:
    running = run.lanes.tracks["task"]["running"]
    for job in late.iter_rows(named=True):  # few rows: jobs that stand SPARSE_PX apart
        due = job["release_ns"] + job["deadline_ns"]
        low, high = max(due, drawing.start_ns), min(job["done_ns"], drawing.end_ns)
        pieces = running.visible(place.lane.key, low, high).select("start_ns", "end_ns")
        for a, b in pieces.iter_rows():  # few rows: a lane of more is drawn as columns
            a, b = max(a, due), min(b, job["done_ns"])
            said = f"<b>{inert(place.lane.name)}</b> job {job['job']}<br>runs after its deadline"
            drawing.add("overrun", place, a, b, f"{said}<br>{duration(b - a)} from {moment(a)}")


def _late_only(
    late: pl.DataFrame, place: Place, palette: Palette, drawing: Drawing, points: Points
) -> None:
    """A cross above the lane for each late job; those in one place of the screen as one."""
    cell = 6 / drawing.px_per_ns
    due = pl.col("release_ns") + pl.col("deadline_ns")
    crosses = (
        late.with_columns(due=due)
        .filter(pl.col("due").is_between(drawing.start_ns, drawing.end_ns))
        .group_by((pl.col("due") / cell).floor().alias("cell"))
        .agg(pl.col("due").first(), pl.len(), (pl.col("response_ns")).max())
        .sort("cell")
    )
    for _, at, count, response in crosses.iter_rows():  # few rows: one a place on the screen
        said = f"<b>{inert(place.lane.name)}</b><br>{count} late here, response up to "
        colour = palette.states["late"].edge
        y = place.baseline - place.pitch + 5.0
        points.append((at, y, "x-thin", colour, said + duration(response)))


def _traces(
    stems: list[tuple[float, float, float]], points: Points, palette: Palette
) -> list[dict[str, Any]]:
    made: list[dict[str, Any]] = []
    if stems:
        at, low, high = (np.array(part, np.float64) for part in zip(*stems, strict=True))
        gap = np.full(len(at), np.nan)
        made.append(
            {
                "type": "scatter",
                "mode": "lines",
                "x": packed(np.stack([at, at, gap], axis=1).ravel()),
                "y": packed(np.stack([low, high, gap], axis=1).ravel().astype(np.float32)),
                "line": {"width": 1, "color": palette.text},
                "hoverinfo": "skip",
            }
        )
    if points:
        x, y, symbols, colours, said = zip(*points, strict=True)
        made.append(
            {
                "type": "scatter",
                "mode": "markers",
                "x": packed(np.array(x, np.float64)),
                "y": packed(np.array(y, np.float32)),
                "marker": {
                    "symbol": symbols,
                    "color": colours,
                    "size": [9 if symbol == "x-thin" else 7 for symbol in symbols],
                    "line": {
                        "width": [2 if symbol == "x-thin" else 1 for symbol in symbols],
                        "color": colours,
                    },
                },
                "hovertext": said,
                "hoverinfo": "text",
            }
        )
    return made

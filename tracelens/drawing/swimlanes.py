"""The schedule: a window of the run, drawn as scheduling papers draw schedules.

A lane whose intervals in the window are few enough to be told apart is drawn as exact blocks;
any other as pixel columns, each of which carries the exact share of every state. Tables in, a
plotly figure as a dict out.
"""

from collections.abc import Iterable, Sequence
from itertools import accumulate, takewhile
from typing import Any, Final

import polars as pl

from tracelens.drawing.blocks import Drawing, lane_blocks, level_blocks, notches
from tracelens.drawing.chain import chain_lines
from tracelens.drawing.choice import Choice, choose
from tracelens.drawing.columns import picture, readings
from tracelens.drawing.labels import CHARACTER_PX
from tracelens.drawing.lanes import DRAWN, Lane, Lanes
from tracelens.drawing.marks import job_marks
from tracelens.drawing.packing import inert
from tracelens.drawing.runs import Run
from tracelens.drawing.sheet import (
    CAPTION_PX,
    Arrangement,
    Place,
    Sheet,
    arrange,
    lane_label,
    layout,
    remark,
)
from tracelens.numbers import count, listing

ALL_LANES: Final = Choice()

PX_PER_BLOCK: Final = 5
"""A lane with more intervals than one in so many pixels is drawn as columns."""

MOST_BLOCKS: Final = 600
"""Blocks in one drawing; the fullest lanes give way to columns first."""


def schedule(
    run: Run,
    start_ns: int,
    end_ns: int,
    sheet: Sheet,
    top: int = 0,
    job_id: int | None = None,
    choice: Choice = ALL_LANES,
) -> tuple[dict[str, Any], Arrangement]:
    """The window [start_ns, end_ns) from the lane numbered `top` on; and which lanes those are.

    Beside data and layout the figure has `edges`, the moments to which a measurement snaps
    (`drawing.edges`). `top` counts in the lanes that `choice` leaves. `job_id` is the job that the
    reader looks at; its time is shaded in its lane.
    """
    shown = choose(run.lanes, choice, start_ns, end_ns)
    arrangement = arrange(shown.lanes, top, sheet.rows, shown.folded)
    blocks, columns = _divide(run.lanes, arrangement.places, start_ns, end_ns, sheet.columns)
    drawing = Drawing(start_ns, end_ns, sheet.columns / (end_ns - start_ns))
    for place in blocks:
        lane_blocks(drawing, run, place)
        if place.lane.kind == "queue":
            level_blocks(drawing, run, place)
    notches(drawing, run, [place for place in blocks if place.lane.kind == "task"])
    tasks = [place for place in arrangement.places if place.lane.kind == "task"]
    marks = job_marks(drawing, run, tasks, blocks, sheet.palette, sheet.columns)
    data = [
        *(readings(run.lanes, place, start_ns, end_ns, sheet.columns) for place in columns),
        *drawing.traces(sheet.palette),
        *chain_lines(drawing, run, arrangement.places, job_id, sheet.palette),
        *marks,
    ]
    made = layout(sheet, start_ns, end_ns)
    made["barmode"] = "overlay"
    made["dragmode"] = "pan"
    made["images"] = (
        [picture(run.lanes, columns, start_ns, end_ns, sheet, sheet.rows)] if columns else []
    )
    made["yaxis"] |= {
        "range": [sheet.rows, 0],
        "tickmode": "array",
        "tickvals": [place.baseline - place.block / 2 for place in arrangement.places],
        "ticktext": [lane_label(place.lane) for place in arrangement.places],
    }
    made["shapes"] = [
        *_baselines(arrangement.places, sheet),
        *_depths(run.lanes, arrangement.places, sheet),
        *_chosen(run, tasks, job_id, sheet),
    ]
    made["annotations"] += [
        remark(text, sheet.palette, x=0, xshift=-8, y=y, yref="y")
        for text, y in arrangement.captions
    ]
    made["annotations"] += _in_words(arrangement, sheet)
    edges = drawing.edges.listed(arrangement.places, start_ns, end_ns)
    return {"data": data, "layout": made, "edges": edges}, arrangement


def _in_words(arrangement: Arrangement, sheet: Sheet) -> list[dict[str, Any]]:
    """The line that stands for the folded lanes; or that there is none to draw."""
    folded = arrangement.folded
    if folded:
        said = f"{count(len(folded), 'lane')} with nothing in this window: "
        room = sheet.columns / CHARACTER_PX - len(said)
        fitting = sum(1 for _ in takewhile(lambda length: length <= room, _lengths(folded)))
        said += inert(listing([lane.name for lane in folded], max(fitting, 2)))
        return [
            remark(said, sheet.palette, x=0, xshift=6, xanchor="left", y=arrangement.folded_at,
                   yref="y")
        ]  # fmt: skip
    if not arrangement.places:
        said = "No lane is left: take a word out of the filter, or choose another kind."
        return [remark(said, sheet.palette, x=0, xshift=6, xanchor="left", y=0.8)]
    return []


def _lengths(lanes: Sequence[Lane]) -> Iterable[int]:
    """How many characters the first 1, 2, … names take in a list that goes on."""
    return accumulate((len(lane.name) + 2 for lane in lanes), initial=len(" and 99 more"))


def whole_run(run: Run, sheet: Sheet) -> dict[str, Any]:
    """The strip over the schedule: how busy each core was from end to end, a tick per late job."""
    cores = run.lanes.of("core")
    ticks_px = 9
    pitch = max(4, (sheet.rows - ticks_px) // max(1, len(cores)))
    places = [
        Place(core, baseline=ticks_px + pitch * (i + 1), block=max(2, pitch - 3), pitch=pitch)
        for i, core in enumerate(cores)
    ]
    named = places[:: -(-CAPTION_PX // pitch)]  # where lanes are low not every one has room
    span = max(1, run.span_ns)
    palette = sheet.palette
    made = layout(sheet, 0, span)
    made["xaxis"] |= {"fixedrange": True, "showgrid": False}
    made["yaxis"] |= {
        "range": [sheet.rows, 0],
        "tickmode": "array",
        "tickvals": [place.baseline - place.block / 2 for place in named],
        "ticktext": [lane_label(place.lane) for place in named],
    }
    made["dragmode"] = False
    made["shapes"] = _baselines(places, sheet)
    made["images"] = [picture(run.lanes, places, 0, span, sheet, sheet.rows)]
    cell = span / sheet.columns
    late = (
        run.late.group_by((pl.col("end_ns") / cell).floor().alias("cell"))
        .agg(pl.col("end_ns").first())
        .sort("end_ns")
    )
    data = [
        {
            "type": "scatter",
            "mode": "markers",
            "x": late["end_ns"].to_list(),
            "y": [ticks_px / 2] * late.height,
            "marker": {
                "symbol": "line-ns",
                "size": ticks_px - 2,
                "line": {"width": 2, "color": palette.states["late"].edge},
            },
            "hoverinfo": "skip",
        }
    ]
    return {"data": data, "layout": made}


def _divide(
    lanes: Lanes, places: Sequence[Place], start_ns: int, end_ns: int, columns: int
) -> tuple[list[Place], list[Place]]:
    """Lanes to draw as blocks and lanes to draw as columns, each in their order on the sheet."""
    counted = []
    for place in places:
        tracks = (lanes.track(place.lane, state) for state in DRAWN[place.lane.kind])
        counted.append((sum(t.count(place.lane.key, start_ns, end_ns) for t in tracks if t), place))
    exact: set[str] = set()
    left = MOST_BLOCKS
    for number, place in sorted(counted, key=lambda pair: pair[0]):
        if number * PX_PER_BLOCK > columns or number > left:
            break
        left -= number
        exact.add(place.lane.kind + place.lane.label)
    is_exact = [place.lane.kind + place.lane.label in exact for place in places]
    return (
        [place for place, yes in zip(places, is_exact, strict=True) if yes],
        [place for place, yes in zip(places, is_exact, strict=True) if not yes],
    )


def _baselines(places: Sequence[Place], sheet: Sheet) -> list[dict[str, Any]]:
    return [_level(place.baseline, sheet) for place in places]


def _depths(lanes: Lanes, places: Sequence[Place], sheet: Sheet) -> list[dict[str, Any]]:
    """Where a queue is full."""
    return [
        _level(place.baseline - place.block, sheet, "dot")
        for place in places
        if place.lane.kind == "queue" and place.lane.key in lanes.levels.depth
    ]


def _level(y: int, sheet: Sheet, dash: str = "solid") -> dict[str, Any]:
    return {
        "type": "line",
        "xref": "paper",
        "x0": 0,
        "x1": 1,
        "y0": y,
        "y1": y,
        "line": {"width": 1, "color": sheet.palette.rule, "dash": dash},
        "layer": "below",
    }


def _chosen(
    run: Run, tasks: Sequence[Place], job_id: int | None, sheet: Sheet
) -> list[dict[str, Any]]:
    """The shading of the job that the reader looks at, from release to completion."""
    job = None if job_id is None else run.job(job_id)
    return [
        {
            "type": "rect",
            "x0": job["release_ns"],
            "x1": job["end_ns"],
            "y0": place.baseline + 2,
            "y1": place.baseline - place.pitch + 2,
            "fillcolor": sheet.palette.states["late"].fill,
            "opacity": 0.14,
            "line": {"width": 0},
            "layer": "below",
        }
        for place in tasks
        if job is not None and place.lane.name == job["task"]
    ]

"""One queue: its items over time against its depth, and how long they waited."""

from typing import Final

import polars as pl

from tracelens.drawing.figures import (
    DOT_PX,
    Figure,
    Shown,
    banded,
    caption,
    columns,
    dots,
    largest,
    line,
    outline,
    over_time,
    rows,
    ruled,
    thinned,
    time_axis,
)
from tracelens.drawing.runs import Run
from tracelens.drawing.sheet import Sheet
from tracelens.drawing.window import column_edges
from tracelens.measures.contract import of_name
from tracelens.numbers import duration
from tracelens.units import NS_PER_S

ITEMS: Final = 0.48
WAITS: Final = 0.58
"""Where the left half ends and the right one begins."""


def levels(run: Run, queue: str) -> pl.DataFrame:
    """The levels of one queue, in order of time: columns of `QUEUE_LEVELS`."""
    return of_name(run.analysis.timeline.queue_levels, "queue", queue).sort(
        "at_ns", maintain_order=True
    )


def items(run: Run, queue: str, start_ns: int, end_ns: int) -> pl.DataFrame:
    """The items taken out of a queue in [start, end). Columns send_ns, receive_ns, wait_ns."""
    return (
        of_name(run.analysis.timeline.queue_items, "queue", queue)
        .filter(pl.col("receive_ns").is_between(start_ns, end_ns, closed="left"))
        .select("send_ns", "receive_ns", wait_ns=pl.col("receive_ns") - pl.col("send_ns"))
        .sort("receive_ns", maintain_order=True)
    )


def queue_over_time(run: Run, queue: str, start_ns: int, end_ns: int, sheet: Sheet) -> Shown:
    """Items over [start_ns, end_ns) at the left, waiting times over the same at the right."""
    palette = sheet.palette
    told = run.analysis.queues.filter(pl.col("queue") == queue)
    depth, most = told.select("depth", "most_items").row(0) if told.height else (None, None)
    held = levels(run, queue)
    at, high, low = outline(
        held["at_ns"].to_numpy(),
        held["items"].cast(pl.Float64).to_numpy(),
        column_edges(start_ns, end_ns, columns(sheet, ITEMS)),
    )
    made = over_time(sheet, start_ns, end_ns, ITEMS)
    top = max(depth or 0, most or 0, 1)
    made["yaxis"] |= {
        **ruled(palette),
        "range": [0, 1.15 * top],
        "tickmode": "auto",
        "nticks": max(2, min(top + 1, rows(sheet) // 22)),
        "tickformat": "d",
    }
    made["annotations"].append(caption("items", palette))
    if depth is not None:
        made["shapes"] = [line(depth, "late", palette, x1=ITEMS)]
        made["annotations"].append(
            caption(f"depth {depth}", palette, x=0, xshift=4, y=depth, yref="y", yshift=0)
        )
    taken = items(run, queue, start_ns, end_ns)
    made["xaxis2"] = made["xaxis"] | {"domain": [WAITS, 1], "anchor": "y2"}
    longest = largest(taken, "wait_ns")
    axis, unit = time_axis(round(1.1 * max(longest, 1)), sheet)
    made["yaxis2"] = made["yaxis"] | axis | {"anchor": "x2", "tickformat": ""}
    made["annotations"].append(caption(f"item waited, {unit}", palette, x=WAITS))
    if taken.is_empty():
        made["annotations"][-1]["text"] = "no item was taken in this window"
        made["yaxis2"] |= {"tickvals": [], "ticktext": []}
    return {
        "data": [*banded(at, high, low, "items", palette), _waits(taken, end_ns - start_ns, sheet)],
        "layout": made,
    }, ""


def _waits(taken: pl.DataFrame, span_ns: int, sheet: Sheet) -> Figure:
    top = largest(taken, "wait_ns")
    drawn = thinned(
        taken,
        "receive_ns",
        "wait_ns",
        DOT_PX * span_ns // columns(sheet, 1 - WAITS),
        DOT_PX * top / rows(sheet),
    )
    made = dots(
        drawn["receive_ns"].to_numpy(),
        drawn["wait_ns"].to_numpy() / NS_PER_S,
        drawn.select(pl.format("{}:{}::", "send_ns", "receive_ns")).to_series().to_list(),
        "circle",
        "execution",
        sheet.palette,
    )
    said = [f"waited {duration(ns)}" for ns in drawn["wait_ns"]]
    return made | {"xaxis": "x2", "yaxis": "y2", "hovertext": said}

"""One stack: its mark, the least free bytes, over the run."""

import polars as pl

from tracelens.drawing.figures import (
    DOT_PX,
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
)
from tracelens.drawing.runs import Run
from tracelens.drawing.sheet import Sheet
from tracelens.drawing.window import column_edges
from tracelens.measures.stack import last_third, stack_marks
from tracelens.numbers import count
from tracelens.spans import union


def marks_of(run: Run, task: str | None) -> pl.DataFrame:
    """The marks of one task. Columns task, at_ns, free_bytes, lowest_bytes (the least so far)."""
    windows = union([run.analysis.window])
    marks = stack_marks(run.analysis.timeline, windows).filter(pl.col("task") == task)
    return marks.sort("at_ns", maintain_order=True).with_columns(
        lowest_bytes=pl.col("free_bytes").cum_min()
    )


def stack_over_time(run: Run, task: str | None, sheet: Sheet) -> Shown:
    """A dot per report and a line at the least so far; the last third of the run is shaded.

    If the line still falls there, the least value seen is no bound.
    """
    marks = marks_of(run, task)
    if marks.is_empty():
        return None, "No `stack` event tells how much of this task's stack is free."
    palette = sheet.palette
    size = largest(run.analysis.tasks.filter(pl.col("task") == task), "stack_size_bytes")
    top = max(size, largest(marks, "free_bytes"), 1)
    made = over_time(sheet, 0, max(1, run.span_ns))
    made["yaxis"] |= {
        **ruled(palette),
        "range": [0, 1.12 * top],
        "tickmode": "auto",
        "nticks": max(3, rows(sheet) // 26),
    }
    made["annotations"].append(caption("free, bytes", palette))
    since = last_third(union([run.analysis.window]))
    made["shapes"] = [
        {
            "type": "rect", "yref": "paper", "x0": since, "x1": run.span_ns, "y0": 0, "y1": 1,
            "line": {"width": 0}, "fillcolor": palette.states["held"].fill, "opacity": 0.45,
            "layer": "below",
        }
    ]  # fmt: skip
    made["annotations"].append(
        caption("last third", palette, xref="x", x=since, xshift=4, y=1, yshift=3)
    )
    if size:
        made["shapes"].append(line(size, "suspended", palette))
        made["annotations"].append(
            caption(f"size {size}", palette, x=0, xshift=4, y=size, yref="y", yshift=0)
        )
    at, high, low = outline(
        marks["at_ns"].to_numpy(),
        marks["lowest_bytes"].cast(pl.Float64).to_numpy(),
        column_edges(0, max(1, run.span_ns), columns(sheet)),
    )
    cell = DOT_PX * run.span_ns // columns(sheet)
    drawn = thinned(marks, "at_ns", "free_bytes", cell, DOT_PX * top / rows(sheet))
    points = dots(
        drawn["at_ns"].to_numpy(),
        drawn["free_bytes"].to_numpy(),
        drawn.select(pl.format("{}:{}::", "at_ns", "at_ns")).to_series().to_list(),
        "circle",
        "execution",
        palette,
    ) | {"hovertext": [f"{count(free, 'byte')} free" for free in drawn["free_bytes"]]}
    return {"data": [*banded(at, high, low, "least so far", palette), points], "layout": made}, ""

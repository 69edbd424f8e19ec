"""One declared chain: the latency of each instance against the deadline."""

import polars as pl

from tracelens.drawing.figures import (
    DOT_PX,
    Figure,
    Shown,
    caption,
    columns,
    dots,
    largest,
    over_time,
    rows,
    thinned,
    time_axis,
    with_deadline,
)
from tracelens.drawing.runs import Run
from tracelens.drawing.sheet import Sheet
from tracelens.numbers import duration
from tracelens.units import NS_PER_S


def instances(run: Run, chain: str | None) -> pl.DataFrame:
    """The instances of one chain: columns of `CHAIN_INSTANCES`."""
    return run.analysis.chain_instances.filter(pl.col("chain") == chain)


def latencies(run: Run, chain: str | None, sheet: Sheet) -> Shown:
    """A dot per instance: latency over its end; one that was late is a cross."""
    found = instances(run, chain)
    if found.is_empty():
        return None, "This chain has no complete instance in this run."
    palette = sheet.palette
    declared = run.analysis.chains.filter(pl.col("chain") == chain)
    deadline = declared.select(pl.col("deadline_ns").max()).item()
    top = round(1.1 * max(largest(found, "latency_ns"), deadline or 0, 1))
    axis, unit = time_axis(top, sheet)
    made = over_time(sheet, 0, max(1, run.span_ns))
    made["yaxis"] |= axis
    made["annotations"].append(caption(f"latency, {unit}", palette))
    if deadline is not None:
        with_deadline(made, deadline, palette)
    late = pl.col("late").fill_null(False)
    drawn = thinned(
        found.with_columns(late=late),
        "end_ns",
        "latency_ns",
        DOT_PX * run.span_ns // columns(sheet),
        DOT_PX * top / rows(sheet),
        "late",
    )
    return {
        "data": [
            _dots(drawn.filter(~pl.col("late")), "circle", "execution", sheet),
            _dots(drawn.filter("late"), "x", "late", sheet),
        ],
        "layout": made,
    }, ""


def _dots(some: pl.DataFrame, symbol: str, state: str, sheet: Sheet) -> Figure:
    return dots(
        some["end_ns"].to_numpy(),
        some["latency_ns"].to_numpy() / NS_PER_S,
        some.select(pl.format("{}:{}::", "start_ns", "end_ns")).to_series().to_list(),
        symbol,
        state,
        sheet.palette,
    ) | {
        "hovertext": [
            f"instance {number}: {duration(ns)}"
            for number, ns in zip(some["instance"], some["latency_ns"], strict=True)
        ]
    }

"""Where a log is damaged: unknown time of each core over the run, and each sign of damage."""

from typing import Final

import numpy as np
import polars as pl

from tracelens.drawing.axis import round_step
from tracelens.drawing.figures import Figure, Shown, dots
from tracelens.drawing.panels.load import STEP_PX, Curve, Curves, traces
from tracelens.drawing.panels.rows import stacked, width
from tracelens.drawing.runs import Run
from tracelens.drawing.sheet import Sheet
from tracelens.drawing.window import time_in
from tracelens.numbers import duration, moment

MOST_SIGNS: Final = 1000
MOST_CORES: Final = 4
SYMBOLS: Final = {
    "events lost": "triangle-down",
    "contradiction": "x",
    "repair": "circle-open",
    "restart": "diamond",
}
NAMES: Final = {
    "events lost": "events lost",
    "contradiction": "contradictions",
    "repair": "repairs",
    "restart": "restarts",
}


def signs(run: Run) -> pl.DataFrame:
    """Every sign of damage that has a time, in order of time. Columns what, at_ns, end_ns, line.

    `line` is the line of the log; null where the sign is no line. A repair is at the event of its
    line, or else at the last event above it.
    """
    timeline = run.analysis.timeline
    events = timeline.log.events
    lost = events.lazy().filter(pl.col("event") == "lost")
    lost_at = lost.select(what=pl.lit("events lost"), at_ns="time_ns", line="line").collect()
    contradictions = timeline.contradictions.select(
        what=pl.lit("contradiction"), at_ns="start_ns", end_ns="end_ns", line="line"
    )
    repairs = times_of(run, timeline.repairs).select(
        what=pl.lit("repair"), at_ns="at_ns", line="line"
    )
    restarts = pl.DataFrame({"at_ns": list(timeline.log.restarts)}, schema={"at_ns": pl.Int64})
    together = pl.concat(
        [lost_at, contradictions, repairs, restarts.select(what=pl.lit("restart"), at_ns="at_ns")],
        how="diagonal",
    )
    return (
        together.with_columns(end_ns=pl.coalesce("end_ns", "at_ns"))
        .drop_nulls("at_ns")
        .sort("at_ns", maintain_order=True)
    )


def times_of(run: Run, places: pl.DataFrame) -> pl.DataFrame:
    """Rows with columns part and line, with `at_ns`: the time of the nearest event not below."""
    if places.is_empty():
        return places.with_columns(at_ns=pl.lit(None, pl.Int64))
    key = pl.col("part").cast(pl.Int64) * 2**32 + pl.col("line").cast(pl.Int64)
    asked = places.with_row_index("_row").with_columns(_key=key).sort("_key")
    known = run.analysis.timeline.log.events.select(_key=key, at_ns="time_ns").sort("_key")
    return asked.join_asof(known, on="_key").sort("_row").drop("_row", "_key")


def damage_over_time(run: Run, sheet: Sheet) -> Shown:
    """A row for each kind of damage, and the unknown share of each core's time, over the run."""
    span = max(1, run.span_ns)
    length = round_step(span * STEP_PX / width(sheet))
    edges = np.unique(np.clip(np.arange(0, span + length, length, dtype=np.int64), 0, span))
    unknown = run.lanes.tracks["core"]["unknown"]
    cores = [
        Curve(core.label, time_in(unknown, core.key, edges) / np.diff(edges))
        for core in run.lanes.of("core")[:MOST_CORES]
    ]
    found = signs(run)
    kinds = [what for what in SYMBOLS if what in found["what"]]
    names = [*(NAMES[what] for what in kinds), *(core.name for core in cores)]
    said = f"unknown time of each core, % in windows of {duration(length)}"
    made, axes = stacked(sheet, 0, span, names, "", said)
    data = []
    for axis, what in zip(axes, kinds, strict=False):
        made[f"yaxis{axis[1:]}"] |= {"tickvals": [], "showgrid": False}
        data.append(_signs(found.filter(pl.col("what") == what), what, axis, sheet))
    drawn = Curves(length, edges, tuple(cores))
    for axis, core in zip(axes[len(kinds) :], cores, strict=True):
        data += traces(drawn, core, axis, width(sheet), sheet)
    return {"data": data, "layout": made}, ""


def _signs(found: pl.DataFrame, what: str, axis: str, sheet: Sheet) -> Figure:
    shown = found.head(MOST_SIGNS)
    made = dots(
        shown["at_ns"].to_numpy(),
        np.full(shown.height, 50.0),
        shown.select(pl.format("{}:{}::", "at_ns", "end_ns")).to_series().to_list(),
        SYMBOLS[what],
        "late",
        sheet.palette,
    )
    made["marker"] |= {"size": 8, "opacity": 1}
    said = [
        f"{what} at {moment(at)}" + (f", line {line}" if line is not None else "")
        for at, line in zip(shown["at_ns"], shown["line"], strict=True)
    ]
    return made | {"yaxis": axis, "hovertext": said}

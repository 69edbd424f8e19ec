"""What the lanes show in a window, as a table: one row an interval."""

from collections.abc import Sequence
from typing import Final

import polars as pl

from tracelens.drawing.lanes import Lane
from tracelens.drawing.runs import Run
from tracelens.units import NS_PER_US

MOST_ROWS: Final = 200_000
"""A longer table is a matter for `tracelens report --tables`."""

COLUMNS: Final = {
    "lane": pl.String,
    "kind": pl.String,
    "state": pl.String,
    "start_us": pl.Float64,
    "end_us": pl.Float64,
    "length_us": pl.Float64,
    "who": pl.String,
    "waits_for": pl.String,
    "items": pl.Int64,
}
"""Times in µs from the first event; an interval is whole even if the window shows a part of it."""

_WHO: Final = {"isr": "core", "task": "core", "core": "who", "lock": "task", "queue": ""}
_STATES: Final = {"execution": "executes", "blocked": "waits for lock", "task": "executes"}
_LEFT_OUT: Final = {"task": {"running"}}
"""Tracks that say again what others say: running is execution and interrupts in it."""


def count(run: Run, lanes: Sequence[Lane], start_ns: int, end_ns: int) -> int:
    """How many rows `intervals` would give."""
    return sum(
        track.count(lane.key, start_ns, end_ns)
        for lane in lanes
        for state, track in run.lanes.tracks[lane.kind].items()
        if state not in _LEFT_OUT.get(lane.kind, ())
    )


def intervals(run: Run, lanes: Sequence[Lane], start_ns: int, end_ns: int) -> pl.DataFrame:
    """Every interval of `lanes` that shares time with [start_ns, end_ns): columns `COLUMNS`.

    `who` is the core that a task or handler ran on, who had a core, or who held or wanted a lock.
    """
    parts = [
        _rows(lane, state, track.visible(lane.key, start_ns, end_ns))
        for lane in lanes
        for state, track in run.lanes.tracks[lane.kind].items()
        if state not in _LEFT_OUT.get(lane.kind, ())
    ]
    return pl.concat([pl.DataFrame(schema=COLUMNS), *parts]).sort("start_us", maintain_order=True)


def _rows(lane: Lane, state: str, spans: pl.DataFrame) -> pl.DataFrame:
    def told(column: str) -> pl.Expr:
        known = column in spans.columns
        return (pl.col(column) if known else pl.lit(None)).cast(pl.String)

    start, end = pl.col("start_ns"), pl.col("end_ns")
    return spans.select(
        lane=pl.lit(lane.name),
        kind=pl.lit(lane.kind),
        state=pl.lit(_STATES.get(state, state)),
        start_us=start / NS_PER_US,
        end_us=end / NS_PER_US,
        length_us=(end - start) / NS_PER_US,
        who=told(_WHO[lane.kind]),
        waits_for=told("waits_for" if state in ("blocked", "suspended") else "lock")
        if lane.kind == "task"
        else pl.lit(None, pl.String),
        items=(pl.col("items") if lane.kind == "queue" else pl.lit(None)).cast(pl.Int64),
    )

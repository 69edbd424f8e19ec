"""What happened in a run as a value change dump (IEEE 1364), for any waveform viewer.

A bit each: a task runs, is ready; a handler runs; a lock is held; a job is late; and the items of a
queue as a number. What the log does not tell is `x`. Times are in nanoseconds.
"""

import io
import re
from typing import Final

import polars as pl

from tracelens.model.results import Timeline

_NO_NAME: Final = re.compile(r"[^!-~]|[\[\]$.]")

CHANGES: Final = pl.Schema({"at_ns": pl.Int64, "signal": pl.String, "value": pl.Int64})


def write_vcd(run: Timeline) -> bytes:
    """The dump of a run."""
    from vcd import VCDWriter

    changes = _changes(run)
    out = io.StringIO()
    with VCDWriter(
        out, timescale="1 ns", date="", comment="made by tracelens", check_values=False
    ) as dump:
        made = {}
        for signal in changes["signal"].unique(maintain_order=True):
            scope, name = signal.split("\t")
            size = 32 if scope == "queues" else 1
            made[signal] = dump.register_var(
                scope, _NO_NAME.sub("_", name), "wire" if size == 1 else "integer", size=size,
                init="x",
            )  # fmt: skip
        rows = changes.sort("at_ns", maintain_order=True).rows()  # one pass: the library's own way
        for at, signal, value in rows:
            dump.change(made[signal], at, "x" if value is None else value)
        dump.close(run.span_ns)
    return out.getvalue().encode()


def _changes(run: Timeline) -> pl.DataFrame:
    """All changes, signal by signal: 'SCOPE<tab>NAME'. A later change at one time stands for it."""
    parts = [
        *_states(run),
        _intervals(run.isr_runs, "interrupts", "isr"),
        _intervals(run.holds, "locks", "lock"),
    ]
    late = run.jobs.filter("late").select("task", start_ns="release_ns", end_ns="end_ns")
    parts.append(_intervals(late, "late", "task"))
    parts.append(
        run.queue_levels.select(
            "at_ns", signal=pl.lit("queues\t") + pl.col("queue").cast(pl.String), value="items"
        )
    )
    made = pl.concat([part.select(CHANGES.names()).cast(CHANGES) for part in parts])
    return (
        made.with_row_index()
        .sort("signal", "at_ns", "index")
        .group_by("signal", "at_ns", maintain_order=True)
        .agg(pl.col("value").last(), pl.col("index").last())
        .filter(
            (pl.col("value").ne_missing(pl.col("value").shift()))
            | (pl.col("signal") != pl.col("signal").shift()).fill_null(True)
        )
        .select(CHANGES.names())
    )


def _states(run: Timeline) -> list[pl.DataFrame]:
    """Runs and ready of each task: its states tile the span, so every change is a begin."""
    states = run.task_states
    name = pl.col("task").cast(pl.String)
    told = pl.col("state") != "unknown"
    return [
        states.select(
            at_ns="start_ns",
            signal=pl.lit(f"{scope}\t") + name,
            value=pl.when(told).then((pl.col("state") == state).cast(pl.Int64)),
        )
        for scope, state in (("runs", "running"), ("ready", "ready"))
    ]


def _intervals(spans: pl.DataFrame, scope: str, column: str) -> pl.DataFrame:
    """0 from the begin of the run, 1 in each interval. Overlapping ones count as one."""
    named = spans.drop_nulls(column).select(
        "start_ns", "end_ns", signal=pl.lit(f"{scope}\t") + pl.col(column).cast(pl.String)
    )
    begin = named.select("signal").unique(maintain_order=True)
    edges = pl.concat(
        [
            begin.with_columns(at_ns=pl.lit(0, pl.Int64), step=pl.lit(0, pl.Int64)),
            named.select("signal", at_ns="start_ns", step=pl.lit(1, pl.Int64)),
            named.select("signal", at_ns="end_ns", step=pl.lit(-1, pl.Int64)),
        ]
    )
    return (
        edges.group_by("signal", "at_ns")
        .agg(pl.col("step").sum())
        .sort("signal", "at_ns")
        .with_columns(value=(pl.col("step").cum_sum().over("signal") > 0).cast(pl.Int64))
    )

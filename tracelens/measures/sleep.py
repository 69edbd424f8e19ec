"""How long the cores slept, how often they woke, and for whom."""

import polars as pl

from tracelens.measures.contract import conform, empty
from tracelens.measures.load import by_core, known_time
from tracelens.model.measured import SLEEP
from tracelens.model.results import Timeline
from tracelens.spans import Windows

FOR_NOBODY = "idle"
"""Stands in `woken_by` for a core that woke and went on idling."""


def sleep(run: Timeline, spent: pl.DataFrame, windows: Windows) -> pl.DataFrame:
    """Time asleep and wake-ups of each core that slept: a table of `SLEEP`, by core.

    `run` is cut to `windows`; `spent` are the `totals` of its occupancy. A core woke where a time
    asleep ended before its window did and it is known what came next. Whoever occupied the core
    next woke it; the kernel's switching between the wake-up and a task's start is passed over.
    Equally frequent ones are in order of name.
    """
    woken = [wakes(rows, windows) for rows in by_core(run.occupancy).values()]
    if not woken:
        return empty(SLEEP)
    counted = (
        pl.concat(woken)
        .group_by("core", "who")
        .agg(count=pl.len().cast(pl.Int64))
        .sort("core", "count", "who", descending=[False, True, False])
        .group_by("core", maintain_order=True)
        .agg(wakeups=pl.col("count").sum(), woken_by="who", woken_count="count")
    )
    slept = (
        spent.filter(pl.col("occupant") == "asleep")
        .group_by("core")
        .agg(asleep_ns=pl.col("ns").sum())
    )
    return conform(
        slept.join(known_time(spent), on="core")
        .join(counted, on="core", how="left")
        .sort("core")
        .with_columns(
            pl.col("wakeups").fill_null(0),
            pl.col("woken_by", "woken_count").fill_null([]),
            wakeups_per_s=pl.col("wakeups").fill_null(0) * 1e9 / pl.col("known_ns"),
        ),
        SLEEP,
    )


def wakes(rows: pl.DataFrame, windows: Windows) -> pl.DataFrame:
    """Every wake-up of one core, of its occupancy in order of time. Columns core, at_ns, who."""
    next_ = pl.col("occupant").shift(-1)
    after_switching = next_ == "switching"
    return (
        rows.lazy()
        .with_columns(
            next=next_,
            woken=pl.when(after_switching).then(pl.col("occupant").shift(-2)).otherwise(next_),
            name=pl.when(after_switching)
            .then(pl.col("who").shift(-2))
            .otherwise(pl.col("who").shift(-1)),
        )
        .filter(
            pl.col("occupant") == "asleep",
            pl.col("next") != "unknown",
            ~pl.col("end_ns").is_in([end for _, end in windows]),
        )
        .select(
            "core",
            at_ns="end_ns",
            who=pl.when(pl.col("woken").is_in(["isr", "task"]))
            .then(pl.col("name").cast(pl.String))
            .otherwise(pl.lit(FOR_NOBODY)),
        )
        .collect()
    )

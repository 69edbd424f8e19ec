"""Locks: how often and how long they were held, and who had to wait for them."""

import polars as pl

from tracelens.measures.contract import conform, statistics
from tracelens.model.measured import LOCK_SUMMARY
from tracelens.model.results import Timeline


def locks(run: Timeline) -> pl.DataFrame:
    """The summary of every lock: a table of `LOCK_SUMMARY`, in order of declaration.

    `run` is cut to the windows. Hold times are of holds that were seen whole; a wait counts however
    it ended, and one for a lock in the way (original ceiling protocol) counts for that lock.
    """
    holds = (
        run.holds.lazy()
        .with_columns(
            hold=pl.when("complete").then(pl.col("end_ns") - pl.col("start_ns")),
            own=pl.when("complete").then("own_ns"),
        )
        .group_by("lock")
        .agg(
            *statistics("hold", "hold", ("max", "mean")),
            *statistics("own", "own", ("max",)),
            holds=pl.len().cast(pl.Int64),
        )
        .with_columns(pl.col("lock").cast(pl.String))
        .collect()
    )
    waits = (
        run.lock_waits.lazy()
        .with_columns(wait=pl.col("end_ns") - pl.col("start_ns"))
        .group_by("lock")
        .agg(
            *statistics("wait", "wait", ("max",)),
            wait_total_ns=pl.col("wait").sum(),
            contentions=pl.len().cast(pl.Int64),
        )
        .with_columns(pl.col("lock").cast(pl.String))
        .collect()
    )
    declared = run.system.locks
    listed = pl.DataFrame(
        {
            "lock": [lock.name for lock in declared],
            "protocol": [lock.protocol for lock in declared],
        },
        schema={"lock": pl.String, "protocol": pl.String},
    )
    return conform(
        listed.join(holds, on="lock", how="left", maintain_order="left")
        .join(waits, on="lock", how="left", maintain_order="left")
        .with_columns(pl.col("holds", "contentions", "wait_total_ns").fill_null(0)),
        LOCK_SUMMARY,
    )

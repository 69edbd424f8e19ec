"""Interrupt handlers: how often, how long, how late; and how long interrupts were masked."""

import polars as pl

from tracelens.measures.contract import FIVE, conform, statistics
from tracelens.measures.load import load_by_name
from tracelens.model.measured import ISR_SUMMARY, MASKED
from tracelens.model.results import Timeline


def isrs(run: Timeline, spent: pl.DataFrame) -> pl.DataFrame:
    """The summary of every handler: a table of `ISR_SUMMARY`, in order of declaration.

    `run` is cut to the windows and `spent` are the `totals` of its occupancy. `execution_ns` is the
    time in which it was the innermost handler, and the load rests on it; the times of a run are of
    runs that were seen whole; latency is `pend` to `enter`, of runs whose `pend` is recorded.
    """
    runs = (
        run.isr_runs.lazy()
        .with_columns(
            whole=pl.when("complete").then("own_ns"),
            latency=pl.col("start_ns") - pl.col("pend_ns"),
        )
        .group_by("isr")
        .agg(
            *statistics("whole", "run", ("min", "mean", "max")),
            *statistics("latency", "latency", FIVE),
            count=pl.len().cast(pl.Int64),
        )
        .with_columns(pl.col("isr").cast(pl.String))
        .collect()
    )
    listed = pl.DataFrame({"isr": [isr.name for isr in run.system.isrs]}, schema={"isr": pl.String})
    return conform(
        listed.join(runs, on="isr", how="left", maintain_order="left")
        .join(
            load_by_name(spent), left_on="isr", right_on="name", how="left", maintain_order="left"
        )
        .with_columns(
            pl.col("count", "load").fill_null(0), execution_ns=pl.col("occupied_ns").fill_null(0)
        ),
        ISR_SUMMARY,
    )


def masked(masks: pl.DataFrame) -> pl.DataFrame:
    """Masking by core and kind, of a table of `MASKS`: a table of `MASKED`, by core and kind.

    `total_ns` counts time in which several mask at once only once.
    """
    return conform(
        masks.with_columns(ns=pl.col("end_ns") - pl.col("start_ns"))
        .sort("core", "what", "start_ns", maintain_order=True)
        .with_columns(seen_ns=pl.col("end_ns").cum_max().shift().over("core", "what").fill_null(-1))
        .group_by("core", "what", maintain_order=True)
        .agg(
            count=pl.len(),
            longest_ns=pl.col("ns").max(),
            total_ns=(pl.col("end_ns") - pl.max_horizontal("start_ns", "seen_ns"))
            .clip(lower_bound=0)
            .sum(),
            longest_who=pl.col("who").get(pl.col("ns").arg_max()).cast(pl.String),
            longest_at_ns=pl.col("start_ns").get(pl.col("ns").arg_max()),
        ),
        MASKED,
    )

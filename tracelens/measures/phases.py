"""Phases that the application marks: `mark X begin`, `mark X end`."""

import polars as pl

from tracelens.measures.contract import conform
from tracelens.model.log import Log
from tracelens.model.measured import PHASES


def phases(log: Log, span_ns: int) -> pl.DataFrame:
    """Every occurrence of every phase: a table of `PHASES`, in order of its begin.

    A phase lasts from a `begin` to the next `end` of the same word. A `begin` before that `end`
    ends the occurrence and begins another. One that is still open lasts to the end of the
    log, and an `end` with which a word appears first closes a phase that began before the log.
    """
    edge = pl.col("value").cast(pl.String)
    marks = (
        log.events.lazy()
        .filter(pl.col("event") == "mark")
        .select(pl.col("subject").cast(pl.String), "time_ns", edge=edge)
        .filter(pl.col("edge").is_in(["begin", "end"]))
        .collect()
    )
    before = pl.col("edge").shift().over("subject")
    until = pl.col("time_ns").shift(-1).over("subject").fill_null(span_ns)
    began_before = marks.filter(before.is_null() & (pl.col("edge") == "end"))
    return conform(
        pl.concat(
            [
                began_before.select(
                    phase="subject", start_ns=pl.lit(0, pl.Int64), end_ns="time_ns"
                ),
                marks.with_columns(end_ns=until)
                .filter(pl.col("edge") == "begin")
                .select(phase="subject", start_ns="time_ns", end_ns="end_ns"),
            ]
        ).sort("start_ns", maintain_order=True),
        PHASES,
    )

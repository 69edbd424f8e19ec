"""Where the response of each late job went."""

import numpy as np
import polars as pl

from tracelens.measures.contract import conform
from tracelens.model.measured import LEDGERS
from tracelens.model.results import Timeline


def ledgers(jobs: pl.DataFrame, episodes: pl.DataFrame) -> pl.DataFrame:
    """The ledgers of the late jobs, of tables of `JOBS` and `EPISODES`: a table of `LEDGERS`.

    Episodes of one (entry, by, via) are summed. Rows: by job, then the largest entry first. The
    entries of a job add up to its response.
    """
    late = jobs.lazy().filter("late").select("job_id").collect()["job_id"].to_numpy()
    ids = episodes["job_id"].to_numpy()
    # Looking up a flag for each episode is twice as fast as joining.
    is_late = np.zeros(max(ids.max(initial=0), late.max(initial=0)) + 1, np.bool_)
    is_late[late] = True
    return conform(
        episodes.lazy()
        .filter(pl.Series(is_late[ids]))
        .group_by("job_id", "entry", "by", "via")
        .agg(ns=(pl.col("end_ns") - pl.col("start_ns")).sum())
        .filter(pl.col("ns") > 0)
        .with_columns(pl.col("by", "via").cast(pl.String))
        .sort("job_id", "ns", "entry", "by", "via", descending=[False, True, False, False, False])
        .collect(),
        LEDGERS,
    )


def late_ledgers(run: Timeline) -> pl.DataFrame:
    """The ledgers of the late jobs of a run; its episodes are not looked at if there are none."""
    if not run.jobs["late"].any():
        return pl.DataFrame(schema=LEDGERS.schema())
    return ledgers(run.jobs, run.episodes)


def ledger(job_id: int, episodes: pl.DataFrame) -> pl.DataFrame:
    """The ledger of one job, late or not, in the same form."""
    one = pl.DataFrame({"job_id": [job_id], "late": [True]}, schema_overrides={"job_id": pl.Int64})
    return ledgers(one, episodes)

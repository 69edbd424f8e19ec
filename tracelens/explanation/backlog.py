"""Jobs of one task that ran into each other: where the chain began, and what each spent."""

import numpy as np
import numpy.typing as npt
import polars as pl

from tracelens.explanation import jobs
from tracelens.explanation.records import Backlog, Job, Predecessor
from tracelens.measures.ledgers import ledgers

MOST_LAST = 9
"""So many jobs just before the explained one are told one by one."""


def began(table: pl.DataFrame) -> npt.NDArray[np.int64]:
    """For each job of a task the row of the job that its backlog began with, itself if it had none.

    `table` holds all jobs of the task in order of release. A job is in the backlog of an earlier
    one that was not complete when it was released; the chain goes back to a job that was not.
    """
    release = table["release_ns"].to_numpy()
    ended = np.maximum.accumulate(table["end_ns"].to_numpy()) if table.height else release
    alone = np.ones(table.height, np.bool_)
    alone[1:] = ended[:-1] <= release[1:]
    return np.maximum.accumulate(np.where(alone, np.arange(table.height), 0))


def backlog(job: Job, table: pl.DataFrame, episodes: pl.DataFrame) -> Backlog | None:
    """The chain of backlog that ends at the job; None if it found its task free.

    `table` holds all jobs of its task in order of release.
    """
    last = job.number - 1
    first = int(began(table)[last])
    if first == last:
        return None
    nearest = range(max(first + 1, last - MOST_LAST), last)
    told = table[[first, *nearest]]
    accounts = jobs.rows_by_job(ledgers(told.with_columns(late=pl.lit(True)), episodes))
    chain = [
        Predecessor(jobs.record(row), accounts.get(row["job_id"], ())) for row in told.to_dicts()
    ]
    return Backlog(first=chain[0], between=nearest.start - first - 1, last=tuple(chain[1:]))

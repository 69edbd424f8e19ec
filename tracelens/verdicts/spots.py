"""Where in the log a value stands."""

from typing import Final

import polars as pl

from tracelens.measures.ledgers import ledger
from tracelens.model.results import Timeline
from tracelens.model.verdicts import Entry, Spot

MOST_ENTRIES: Final = 3
"""So many of the largest ledger entries of a job are told."""


def of_job(run: Timeline, job_id: int) -> Spot:
    """A job: its release, its number, the log's line and the largest entries of its ledger.

    `run` is the whole run, of which the job's number is a row: one cut to a window lacks a job that
    only ends in it.
    """
    found = run.jobs.row(job_id, named=True)
    rows = ledger(job_id, run.episodes).head(MOST_ENTRIES)
    entries = zip(rows["entry"].cast(pl.String), rows["by"], rows["via"], rows["ns"], strict=True)
    line = found["release_line"]
    return Spot(
        at_ns=found["release_ns"],
        task=found["task"],
        job=found["job"],
        file=None if line is None else run.log.sources[found["release_part"]],
        line=line,
        ledger=tuple(Entry(*entry) for entry in entries),
    )


def of_moment(run: Timeline, at_ns: int, task: str | None = None) -> Spot:
    """A moment: the first line of the log that was written at that time, if there is one."""
    events = run.log.events
    times = events["time_ns"]
    row = int(times.search_sorted(at_ns, side="left"))
    if row == len(times) or times[row] != at_ns:
        return Spot(at_ns, task)
    return Spot(at_ns, task, None, run.log.sources[events["part"][row]], events["line"][row])

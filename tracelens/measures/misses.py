"""How the deadline misses of a task lie among its jobs."""

import numpy as np
import polars as pl

from tracelens.spans import Integers

NEIGHBOURS = 10
"""Length of the runs of consecutive jobs in which `worst_10` counts the misses."""


def miss_patterns(jobs: pl.DataFrame) -> pl.DataFrame:
    """Misses by task, of a table of `JOBS` in its order. Only tasks with misses have a row.

    Columns: task (String), deadline_misses, longest_miss_run (most consecutive), worst_10 (most
    in any 10 consecutive jobs). Consecutive are jobs whose numbers follow each other, whatever
    became of them: an excluded or aborted job between two misses ends a run, for nobody knows
    whether it was late. So both figures are lower bounds where jobs are excluded.
    """
    late = jobs.lazy().filter("late").select("task", "job").collect()
    if late.is_empty():
        return pl.DataFrame(
            schema={"task": pl.String}
            | dict.fromkeys(("deadline_misses", "longest_miss_run", "worst_10"), pl.Int64)
        )
    # Numbers that go on from task to task, with a gap between two tasks too wide for any run.
    task = late["task"].rle_id().to_numpy().astype(np.int64)
    job = late["job"].to_numpy()
    number = job + task * (int(job.max()) + NEIGHBOURS)
    return (
        late.select(pl.col("task"))
        .with_columns(
            run=pl.Series(_run_lengths(number)), near=pl.Series(_within(number, NEIGHBOURS))
        )
        .group_by("task", maintain_order=True)
        .agg(
            deadline_misses=pl.len().cast(pl.Int64),
            longest_miss_run=pl.col("run").max(),
            worst_10=pl.col("near").max(),
        )
        .with_columns(pl.col("task").cast(pl.String))
    )


def _run_lengths(number: Integers) -> Integers:
    """At each of the ascending numbers, how long the run of consecutive ones up to it is."""
    place = np.arange(len(number))
    begins = np.concatenate(([True], np.diff(number) != 1))
    return np.asarray(place - np.maximum.accumulate(np.where(begins, place, 0)) + 1)


def most_misses(late: Integers, neighbours: int) -> int:
    """Most misses in any `neighbours` consecutive jobs; `late` are the late ones' numbers.

    They are ascending. It is the m of a weakly hard constraint 'at most m misses in any k
    consecutive jobs' (Bernat, Burns and Llamosí, "Weakly Hard Real-Time Systems", IEEE
    Transactions on Computers 50(4), 2001).
    """
    return int(_within(late, neighbours).max(initial=0))


def _within(number: Integers, neighbours: int) -> Integers:
    """At each of the ascending numbers, how many lie in the `neighbours` that begin with it."""
    after = np.searchsorted(number, number + neighbours, side="left")
    return np.asarray(after - np.arange(len(number)))

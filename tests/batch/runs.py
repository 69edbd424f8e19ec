"""Logs for a batch: samples under names of their own, some that cannot be read; and odd workers."""

import os
import signal
import sys
import time
from pathlib import Path

import polars as pl

from tracelens.batch.inputs import find
from tracelens.batch.work import Job, Outcome, work

ROOT = Path(__file__).parents[2]
GOOD = ("classroom/three_tasks_none", "classroom/rate_order", "classroom/lander_none")
BAD = ("empty.csv", "clock_missing.csv", "torn_last_line.csv")


def logs(folder: Path, copies: int = 1, good: tuple[str, ...] = GOOD) -> Path:
    """A directory with `copies` of each good sample, and three bad logs."""
    folder.mkdir()
    for name in good:
        text = (ROOT / "sample_traces" / f"{name}.csv").read_bytes()
        for copy in range(copies):
            (folder / f"{name.replace('/', '_')}_{copy}.csv").write_bytes(text)
    for name in BAD:
        (folder / name).write_bytes((ROOT / "tests" / "bad_logs" / name).read_bytes())
    return folder


def jobs(folder: Path, results: Path) -> list[Job]:
    """One job for each log of a directory."""
    return [Job(n, one.run, one.path, results) for n, one in enumerate(find([str(folder)]))]


def same(one: dict[str, pl.DataFrame], other: dict[str, pl.DataFrame]) -> bool:
    """Whether two results are equal, table for table, row for row, types included."""
    return one.keys() == other.keys() and all(
        one[name].schema == other[name].schema and one[name].equals(other[name]) for name in one
    )


def dies_of_the_empty_log(job: Job) -> Outcome:
    """A worker that the kernel kills over one log, as it does for want of memory."""
    if job.run == "empty.csv":
        os.kill(os.getpid(), signal.SIGKILL)
    return work(job)


def threads(job: Job) -> Outcome:
    """A worker whose status is how many threads the table library has in its process."""
    return Outcome(job.number, job.run, pl.thread_pool_size(), {})


def sleeps(job: Job) -> Outcome:
    """A worker that is under way when the user has had enough."""
    sys.stdout.write("under way\n")
    sys.stdout.flush()
    time.sleep(60)
    return work(job)

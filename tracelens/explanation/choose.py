"""Which job to explain."""

import difflib

import polars as pl

from tracelens.errors import UsageError
from tracelens.explanation import jobs
from tracelens.model.results import Timeline

_LATENESS = pl.col("response_ns") - pl.col("deadline_ns")


def find_job(
    run: Timeline, *, task: str | None = None, number: int | None = None, miss: int | None = None
) -> int:
    """The `job_id` of the job asked for, of `task` if one is given.

    With `number`, the job of that number within its task; with `miss`, the late job of that number
    in order of release, 1 for the first; with neither, the job that was late by most, or if none
    was late the one with the longest response. The earlier job wins a tie.

    Raises `UsageError` for a task or a job that the run does not have.
    """
    table = run.jobs if task is None else _jobs_of(run, task)
    if table.is_empty():
        raise UsageError(
            f"nothing to explain: found no job{f' of {task}' if task else ''}, expected at least "
            "one release with its completion or the log's end",
            hint="`tracelens report` says what the log shows",
        )
    if number is not None:
        return _numbered(table, task, number)
    late = table.filter("late")
    if miss is not None:
        return _missed(late, task, miss)
    if late.height:
        return _first(late.with_columns(worst=_LATENESS))
    judged = table.filter(pl.col("response_ns").is_not_null())
    if judged.height:
        return _first(judged.with_columns(worst="response_ns"))
    return _first(table.with_columns(worst=pl.col("end_ns") - pl.col("release_ns")))


def _first(table: pl.DataFrame) -> int:
    ranked = table.filter(pl.col("worst") == pl.col("worst").max()).sort("release_ns", "job_id")
    return int(ranked["job_id"][0])


def _jobs_of(run: Timeline, task: str) -> pl.DataFrame:
    names = [known.name for known in run.system.tasks if not known.idle]
    if task not in names:
        near = difflib.get_close_matches(task, names, 1)
        raise UsageError(
            f"no such task: found {task!r}, expected one of the log's tasks",
            hint=f"did you mean {near[0]}?" if near else f"its tasks are {', '.join(names)}",
        )
    return jobs.of_task(run.jobs, task)


def _numbered(table: pl.DataFrame, task: str | None, number: int) -> int:
    names = table["task"].unique(maintain_order=True).cast(pl.String).to_list()
    if len(names) > 1:
        raise UsageError(
            f"whose job: found --job {number} and {len(names)} tasks with jobs, expected --task "
            "with it",
            hint="a job's number counts within its task",
        )
    last = int(table["job"].max())  # type: ignore[arg-type]  # an integer column
    if not 1 <= number <= last:
        raise UsageError(
            f"no such job: found job {number} of {names[0]}, expected 1 to {last}",
            hint="jobs count from 1 in order of release",
        )
    return int(table.filter(pl.col("job") == number)["job_id"][0])


def _missed(late: pl.DataFrame, task: str | None, miss: int) -> int:
    if not 1 <= miss <= late.height:
        whose = f" of {task}" if task else ""
        there = f"1 to {late.height}" if late.height else "none, for no job was late"
        raise UsageError(
            f"no such late job{whose}: found --miss {miss}, expected {there}",
            hint="late jobs count in order of release; without --miss it is the worst",
        )
    return int(late.sort("release_ns", "job_id")["job_id"][miss - 1])

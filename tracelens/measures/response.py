"""Response times, start latencies and release jitter of the jobs, by task."""

import numpy as np
import polars as pl

from tracelens.measures.contract import FIVE, names_of, statistics
from tracelens.model.system import System

COMPLETE = pl.col("status") == "complete"
"""Jobs that are complete and judged."""


_COUNTED = {
    "jobs": "complete",
    "jobs_open": "open",
    "jobs_excluded": "excluded",
    "jobs_aborted": "aborted",
}


def job_statistics(jobs: pl.DataFrame) -> pl.DataFrame:
    """Counts and times of the jobs of each task, of a table of `JOBS`.

    Columns: task (String) and, named as in `TASK_SUMMARY`, every column from `job_execution_…` to
    `start_latency_…`, and `worst_job_id`: the first job with the longest response. Times are
    of complete jobs only. Rows: tasks with jobs, in the order of `jobs`.
    """
    counts = jobs.group_by("task", maintain_order=True).agg(
        (pl.col("status") == status).sum().cast(pl.Int64).alias(column)
        for column, status in _COUNTED.items()
    )
    times = (
        jobs.lazy()
        .filter(COMPLETE)
        .select(
            *("task", "job_id", "response_ns", "execution_ns", "inferred", "hidden"),
            latency=pl.col("start_ns") - pl.col("release_ns"),
        )
        .group_by("task")
        .agg(
            *statistics("execution_ns", "job_execution", ("min", "mean", "max")),
            *statistics("response_ns", "response", FIVE),
            *statistics("latency", "start_latency", FIVE),
            jobs_inferred=pl.col("inferred").sum().cast(pl.Int64),
            hidden=pl.col("hidden").sum(),
            worst_job_id=pl.col("job_id").get(pl.col("response_ns").arg_max()),
        )
        .collect()
    )
    return counts.join(times, on="task", how="left", maintain_order="left").with_columns(
        pl.col("task").cast(pl.String), pl.col("jobs_inferred", "hidden").fill_null(0)
    )


def release_jitter(
    jobs: pl.DataFrame, system: System, restarts: tuple[int, ...] = ()
) -> pl.DataFrame:
    """Largest − smallest distance of releases from the period grid, by task.

    Columns: task (String), release_jitter_ns. Of periodic tasks, and of the releases of complete
    jobs that are not inferred: an inferred release lies on the grid by construction. From one
    release to the next the distance grows by Δr − round(Δr / T)·T, so a release that is missing
    moves nothing, and a task whose clock drifts off its grid shows the whole drift. A restart
    begins a new grid; the figure is then the largest of any boot. `jobs` are in the order of the
    table `JOBS`.
    """
    names = names_of(jobs["task"])
    periods = {task.name: task.period_ns for task in system.tasks if task.period_ns}
    period_of = np.array([periods.get(name, 0) for name in names], np.int64)
    counted = (
        jobs.lazy().filter(COMPLETE & ~pl.col("inferred")).select("task", "release_ns").collect()
    )
    task = counted["task"].to_physical().to_numpy()
    release = counted["release_ns"].to_numpy()
    boot = np.searchsorted(np.array(restarts, np.int64), release, side="right")
    first = np.flatnonzero(
        np.concatenate(([True], (np.diff(task) != 0) | (np.diff(boot) != 0)))[: len(task)]
    )
    if not len(first):
        return pl.DataFrame(schema={"task": pl.String, "release_jitter_ns": pl.Int64})
    period = np.maximum(period_of[task], 1)
    since_last = np.diff(release, prepend=0)
    step = since_last - (2 * since_last + period) // (2 * period) * period
    step[first] = 0
    distance = np.cumsum(step)  # over all tasks: only differences within one grid are used
    spread = np.maximum.reduceat(distance, first) - np.minimum.reduceat(distance, first)
    return (
        pl.DataFrame({"task": [names[code] for code in task[first]], "release_jitter_ns": spread})
        .filter(pl.col("task").is_in(periods.keys()))
        .group_by("task", maintain_order=True)
        .agg(pl.col("release_jitter_ns").max())
    )

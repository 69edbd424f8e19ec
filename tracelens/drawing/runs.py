"""A run as the page holds it: the analysis, and what is prepared once to answer any window fast."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl

from tracelens.drawing.lanes import Lanes, prepare
from tracelens.drawing.window import Track
from tracelens.model.results import Analysis
from tracelens.spans import Integers
from tracelens.units import NS_PER_US


@dataclass(frozen=True, slots=True, eq=False, weakref_slot=True)
class Run:
    """One analysed run, prepared.

    `late` are the late jobs in order of completion. `jobs` finds the jobs of a task by time: its
    `start_ns` is the release, its `end_ns` no earlier than completion and deadline; the completion
    itself is `done_ns`. `waits` are the waits for locks, by task. `episodes` finds those of a job.
    """

    analysis: Analysis
    lanes: Lanes
    late: pl.DataFrame
    jobs: Track
    waits: Track
    episodes: "Episodes"

    @property
    def span_ns(self) -> int:
        """The observed span is [0, span_ns)."""
        return self.analysis.timeline.span_ns

    @property
    def name(self) -> str:
        """The name of the run's first file."""
        return next(iter(self.analysis.timeline.log.sources), "run").rsplit("/", 1)[-1]

    def job(self, job_id: int) -> dict[str, Any] | None:
        """The row of one job; None for a number that no job has."""
        jobs = self.analysis.timeline.jobs  # `job_id` is the row's own number
        return jobs.row(job_id, named=True) if 0 <= job_id < jobs.height else None

    def window_of(self, job: dict[str, Any]) -> tuple[int, int]:
        """[start, end) that shows a job from release to completion or deadline, with a margin."""
        release = job["release_ns"]
        end = max(job["end_ns"], release + (job["deadline_ns"] or 0))
        margin = max((end - release) // 5, 20 * NS_PER_US)
        return max(0, release - margin), min(self.span_ns, end + margin)

    def episodes_of(self, first_job: int, last_job: int) -> pl.DataFrame:
        """The episodes of the jobs from `first_job` to `last_job`, both included."""
        return self.episodes.of_jobs(first_job, last_job)


@dataclass(frozen=True, slots=True, eq=False)
class Episodes:
    """A run's episodes by job: `rows` of the table in order of job and time, and their `jobs`.

    The table itself stays as it is: of a long run it is the largest of all.
    """

    table: pl.DataFrame
    rows: Integers
    jobs: Integers

    @classmethod
    def of(cls, table: pl.DataFrame) -> "Episodes":
        """Index a table of `EPISODES`."""
        jobs, starts = table["job_id"].to_numpy(), table["start_ns"].to_numpy()
        rows = np.argsort(jobs, kind="stable")  # fast where the order is nearly right
        ordered, at = jobs[rows], starts[rows]
        if np.any((ordered[1:] == ordered[:-1]) & (at[1:] < at[:-1])):
            rows = np.lexsort((starts, jobs))
        return cls(table, rows, ordered)

    def of_jobs(self, first_job: int, last_job: int) -> pl.DataFrame:
        """The episodes of the jobs from `first_job` to `last_job`, both included, in that order."""
        first = int(np.searchsorted(self.jobs, first_job, side="left"))
        last = int(np.searchsorted(self.jobs, last_job, side="right"))
        return self.table[self.rows[first:last]]


def load(analysis: Analysis) -> Run:
    """Prepare an analysis for the page: some seconds for tens of millions of events."""
    timeline = analysis.timeline
    return Run(
        analysis=analysis,
        lanes=prepare(analysis),
        late=timeline.jobs.filter(pl.col("late")).sort("end_ns", "job_id"),
        jobs=_by_time(timeline.jobs, timeline.task_states.schema["task"]),
        waits=Track.of(
            timeline.lock_waits.with_columns(
                pl.col("task").cast(timeline.task_states.schema["task"])
            ),
            "task",
        ),
        episodes=Episodes.of(timeline.episodes),
    )


def _by_time(jobs: pl.DataFrame, tasks: pl.DataType) -> Track:
    """`jobs` are in order of task, then release, as the table of jobs always is."""
    due = pl.col("release_ns") + pl.col("deadline_ns").fill_null(0)
    reach = pl.max_horizontal("end_ns", due)
    return Track.of(
        jobs.with_columns(
            pl.col("task").cast(tasks),
            start_ns=pl.col("release_ns"),
            end_ns=reach.cum_max().over("task"),
            done_ns=pl.col("end_ns"),
        ),
        "task",
    )

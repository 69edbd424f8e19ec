"""A run as the page holds it: the analysis, and what is prepared once to answer any window fast."""

from collections.abc import Mapping
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
    itself is `done_ns`. `waits` are the waits for locks, by task. `episodes` are the run's, in
    order of job, `episode_job` their job ids.
    """

    analysis: Analysis
    lanes: Lanes
    late: pl.DataFrame
    jobs: Track
    waits: Track
    episodes: pl.DataFrame
    episode_job: Integers

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
        first = int(np.searchsorted(self.episode_job, first_job, side="left"))
        last = int(np.searchsorted(self.episode_job, last_job, side="right"))
        return self.episodes.slice(first, last - first)


Runs = Mapping[str, Run]
"""Run id, as it stands in the address of the page, → run."""


def load(analysis: Analysis) -> Run:
    """Prepare an analysis for the page: some seconds for tens of millions of events."""
    timeline = analysis.timeline
    episodes = timeline.episodes
    if not episodes["job_id"].is_sorted():
        episodes = episodes.sort("job_id", "start_ns")
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
        episodes=episodes,
        episode_job=episodes["job_id"].to_numpy(),
    )


def _by_time(jobs: pl.DataFrame, tasks: pl.DataType) -> Track:
    due = pl.col("release_ns") + pl.col("deadline_ns").fill_null(0)
    reach = pl.max_horizontal("end_ns", due)
    return Track.of(
        jobs.sort(pl.col("task").to_physical(), "release_ns").with_columns(
            pl.col("task").cast(tasks),
            start_ns=pl.col("release_ns"),
            end_ns=reach.cum_max().over("task"),
            done_ns=pl.col("end_ns"),
        ),
        "task",
    )

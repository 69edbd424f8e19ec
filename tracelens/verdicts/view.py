"""One analysis as the observers see it: its tables by name, and how much of it is missing."""

from functools import cached_property
from typing import Any, Final

import numpy as np
import polars as pl

from tracelens.measures.load import totals
from tracelens.model.results import Analysis, Timeline
from tracelens.spans import Integers

Row = dict[str, Any]
Gaps = Integers
"""Lengths in ns."""

NO_GAPS: Final = np.empty(0, np.int64)

NAMED: Final = {
    "tasks": "task",
    "cores": "name",
    "isrs": "isr",
    "locks": "lock",
    "queues": "queue",
    "chains": "chain",
}
"""Group → the column of its measured table that names its things."""


class View:
    """An analysis, and the run that it was cut from.

    What is unknown before a core's or a task's first event is the edge of the log, not a loss.
    A loss of at most `tolerated` (a share) counts as none.
    """

    def __init__(self, analysis: Analysis, whole: Timeline, tolerated: float) -> None:
        self.analysis = analysis
        self.run = analysis.timeline
        self.whole = whole
        self.tolerated = tolerated

    @cached_property
    def rows(self) -> dict[str, dict[str, Row]]:
        """Group → name → its row of the measured table."""
        found = {}
        for group, column in NAMED.items():
            frame = getattr(self.analysis, group)
            named = frame.iter_rows(named=True)  # few rows: one a thing of the system
            found[group] = {str(row[column]): row for row in named}
        return found

    @cached_property
    def spent(self) -> pl.DataFrame:
        """Time by core, occupant and who, as `measures.load.totals` gives it."""
        return totals(self.run.occupancy)

    @cached_property
    def occupied(self) -> dict[int, tuple[int, int]]:
        """Core → (time measured, time unknown), of cores that were seen, in ns."""
        summed = self.spent.group_by("core").agg(
            all=pl.col("ns").sum(),
            unknown=pl.col("ns").filter(pl.col("occupant") == "unknown").sum(),
        )
        return {
            core: (every, unknown)
            for core, every, unknown in zip(
                summed["core"], summed["all"], summed["unknown"], strict=True
            )
        }

    @cached_property
    def gaps(self) -> tuple[Gaps, int]:
        """Lengths of the gaps in what the cores did, and core time that is known, in ns."""
        gaps = _after_edge(self.run.occupancy, self.whole.occupancy, "core", "occupant")
        known = sum(every - unknown for every, unknown in self.occupied.values())
        return np.concatenate([NO_GAPS, *gaps.values()]), known

    @cached_property
    def task_gaps(self) -> dict[str, tuple[Gaps, int]]:
        """Task → (lengths of the gaps in its states, time in which they are known), in ns."""
        if not (self.whole.lost_events or self.whole.log.restarts) and (
            self.whole.contradictions.is_empty()
        ):
            return {}
        states = self.run.task_states
        gaps = _after_edge(states, self.whole.task_states, "task", "state")
        known = (
            states.filter(pl.col("state") != "unknown", pl.col("task").cast(pl.String).is_in(gaps))
            .group_by(pl.col("task").cast(pl.String))
            .agg(ns=(pl.col("end_ns") - pl.col("start_ns")).sum())
        )
        of_task = dict(zip(known["task"], known["ns"], strict=True))
        return {task: (lengths, of_task.get(task, 0)) for task, lengths in gaps.items()}

    @cached_property
    def last_gap_ns(self) -> int:
        """Where the last gap in what a core did ends; −1 without one."""
        if not len(self.gaps[0]):
            return -1
        unknown = self.run.occupancy.filter(pl.col("occupant") == "unknown")
        return int(unknown["end_ns"].to_numpy().max())

    def loses(self) -> bool:
        """Whether more of the core time is lost than is put up with."""
        gaps, known = self.gaps
        return bool(gaps.sum() > self.tolerated * (gaps.sum() + known))

    def missing(self, group: str, name: str, count: int) -> int:
        """How many more there may be than the `count` that were seen; 0 if the loss is put up with.

        In each gap as many as there were in as much known time, rounded up; of jobs those excluded
        too, but not the one that was under way when the log began.
        """
        if group != "tasks":
            return _expected(count, *self.gaps) if self.loses() else 0
        gaps, known = self.task_gaps.get(name, (NO_GAPS, 0))
        excluded = self._excluded(name)
        most, lost = self.tolerated, gaps.sum()
        if lost <= most * (lost + known) and excluded <= most * (count + excluded):
            return 0
        return _expected(count, gaps, known) + excluded

    def _excluded(self, task: str) -> int:
        if not self.rows["tasks"][task]["jobs_excluded"]:
            return 0
        jobs = self.run.jobs.lazy().filter(
            pl.col("status") == "excluded", pl.col("task") == task, pl.col("job") > 1
        )
        return int(jobs.select(pl.len()).collect().item())


def _expected(count: int, gaps: Gaps, known_ns: int) -> int:
    """So many things a `known_ns`, in each gap: rounded up, for one may lie in the shortest."""
    if not known_ns:
        return len(gaps)
    return int(np.maximum(np.ceil(count / known_ns * gaps), 1).sum())


def _after_edge(rows: pl.DataFrame, whole: pl.DataFrame, of: str, what: str) -> dict[str, Gaps]:
    """Lengths of the unknown intervals of `rows` by `of`, of those after the first known moment.

    That is looked up in `whole`, of which `rows` are a part.
    """
    unknown = pl.col(what) == "unknown"
    key = pl.col(of).cast(pl.String)
    edge = whole.filter(unknown & (pl.col("start_ns") == 0)).select(key, edge_ns="end_ns")
    lost = (
        rows.filter(unknown)
        .with_columns(key)
        .join(edge, on=of, how="left")
        .filter(pl.col("end_ns") > pl.col("edge_ns").fill_null(0))
        .group_by(of)
        .agg(ns=pl.col("end_ns") - pl.col("start_ns"))
    )
    return {name: lengths.to_numpy() for name, lengths in zip(lost[of], lost["ns"], strict=True)}

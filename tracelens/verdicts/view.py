"""One analysis as the observers see it: its tables by name, and how much of it is missing."""

from functools import cached_property
from math import ceil
from typing import Any, Final

import polars as pl

from tracelens.measures.load import totals
from tracelens.model.results import Analysis, Timeline

Row = dict[str, Any]

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
    def occupied(self) -> dict[int, tuple[int, int]]:
        """Core → (time measured, time unknown), of cores that were seen, in ns."""
        spent = totals(self.run.occupancy)
        summed = spent.group_by("core").agg(
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
    def lost(self) -> tuple[int, int]:
        """Core time that was lost, and core time that is known, in ns."""
        lost = _after_edge(self.run.occupancy, self.whole.occupancy, "core", "occupant")
        known = sum(every - unknown for every, unknown in self.occupied.values())
        return sum(lost.values()), known

    @cached_property
    def task_lost(self) -> dict[str, tuple[int, int]]:
        """Task → (time in which its state was lost, time in which it is known), in ns."""
        if not (self.whole.lost_events or self.whole.log.restarts) and (
            self.whole.contradictions.is_empty()
        ):
            return {}
        states = self.run.task_states
        lost = _after_edge(states, self.whole.task_states, "task", "state")
        known = (
            states.filter(pl.col("state") != "unknown", pl.col("task").cast(pl.String).is_in(lost))
            .group_by(pl.col("task").cast(pl.String))
            .agg(ns=(pl.col("end_ns") - pl.col("start_ns")).sum())
        )
        of_task = dict(zip(known["task"], known["ns"], strict=True))
        return {task: (ns, of_task.get(task, 0)) for task, ns in lost.items()}

    def loses(self) -> bool:
        """Whether more of the core time is lost than is put up with."""
        lost, known = self.lost
        return lost > self.tolerated * (lost + known)

    def missing(self, group: str, name: str, count: int) -> int:
        """How many more there may be than the `count` that were seen; 0 if the loss is put up with.

        As many as there were in as much known time, rounded up; of jobs at least those excluded,
        but not the one that was under way when the log began.
        """
        if group != "tasks":
            return _expected(count, *self.lost) if self.loses() else 0
        lost, known = self.task_lost.get(name, (0, 0))
        excluded = self._excluded(name)
        most = self.tolerated
        if lost <= most * (lost + known) and excluded <= most * (count + excluded):
            return 0
        return max(_expected(count, lost, known), excluded)

    def _excluded(self, task: str) -> int:
        if not self.rows["tasks"][task]["jobs_excluded"]:
            return 0
        jobs = self.run.jobs.lazy().filter(
            pl.col("status") == "excluded", pl.col("task") == task, pl.col("job") > 1
        )
        return int(jobs.select(pl.len()).collect().item())


def _expected(count: int, lost_ns: int, known_ns: int) -> int:
    if not lost_ns:
        return 0
    return max(ceil(count * lost_ns / known_ns), 1) if known_ns else 1


def _after_edge(rows: pl.DataFrame, whole: pl.DataFrame, of: str, what: str) -> dict[str, int]:
    """Unknown time by `of` in `rows`, less what lies before its first known moment in `whole`."""
    unknown = pl.col(what) == "unknown"
    key = pl.col(of).cast(pl.String)
    length = (pl.col("end_ns") - pl.col("start_ns")).sum()
    edge = whole.filter(unknown & (pl.col("start_ns") == 0)).select(key, edge_ns="end_ns")
    lost = (
        rows.filter(unknown)
        .with_columns(key)
        .join(edge, on=of, how="left")
        .filter(pl.col("end_ns") > pl.col("edge_ns").fill_null(0))
        .group_by(of)
        .agg(ns=length)
    )
    return dict(zip(lost[of], lost["ns"], strict=True))

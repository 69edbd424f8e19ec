"""A run as the detectors see it: its analysis, the thresholds, and what several of them ask."""

from dataclasses import dataclass
from functools import cached_property

import polars as pl

from tracelens.findings import growth
from tracelens.findings.blame import Blame, blame
from tracelens.findings.thresholds import Limits
from tracelens.measures.parts import by_name
from tracelens.model.results import Analysis


@dataclass(frozen=True)
class Evidence:
    """What is computed here is computed once, and only if a detector asks."""

    analysis: Analysis
    limits: Limits

    @cached_property
    def jobs(self) -> dict[str, pl.DataFrame]:
        """The judged jobs of each task, in order of release."""
        judged = self.analysis.timeline.jobs.lazy().filter(pl.col("status") == "complete")
        columns = ("task", "release_ns", "execution_ns", "response_ns", "inferred")
        return by_name(judged.select(columns).collect(), "task")

    @cached_property
    def executions(self) -> list[growth.Growth]:
        """Tasks whose jobs execute longer for a while."""
        return growth.executions(self.jobs, self.analysis, self.limits)

    @cached_property
    def sections(self) -> list[growth.Growth]:
        """Critical sections that take longer for a while."""
        return growth.sections(self.analysis, self.limits)

    @cached_property
    def interrupts(self) -> list[growth.Growth]:
        """Handlers that take far more for a while."""
        return growth.interrupts(self.analysis, self.limits)

    @cached_property
    def blame(self) -> Blame:
        """What is behind the late jobs."""
        if not self.analysis.timeline.jobs["late"].any():
            return Blame({}, {}, {})
        grown = (*self.executions, *self.sections, *self.interrupts)
        return blame(self.analysis, self.limits, frozenset(one.who for one in grown))

    @cached_property
    def deadlines(self) -> dict[str, int]:
        """Deadline (ns) of each task that has one."""
        declared = self.analysis.tasks.drop_nulls("deadline_ns")
        return dict(zip(declared["task"], declared["deadline_ns"], strict=True))

    @cached_property
    def more_urgent(self) -> dict[str, int]:
        """Priority of each task that has one, turned so that the greater is the more urgent."""
        sign = -1 if self.analysis.timeline.system.order == "lower_first" else 1
        tasks = self.analysis.tasks.drop_nulls("priority")
        return {
            task: sign * priority
            for task, priority in zip(tasks["task"], tasks["priority"], strict=True)
        }

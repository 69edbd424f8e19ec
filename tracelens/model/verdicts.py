"""What judging a run against budgets gives: one verdict a limit and thing, with its evidence."""

from dataclasses import dataclass
from datetime import date
from typing import Final, Literal

from tracelens.model.budgets import Budget, Budgets
from tracelens.model.results import Analysis

Outcome = Literal["pass", "fail", "unknown"]

OUTCOMES: Final[tuple[Outcome, ...]] = ("fail", "unknown", "pass")


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry of a job's ledger."""

    entry: str
    by: str | None
    via: str | None
    ns: int


@dataclass(frozen=True, slots=True)
class Spot:
    """Where in the log the value that decides stands.

    `at_ns` is when it began (of a job its release), `job` the job's number within `task`. `file`
    and `line` are those of the log. `ledger` are the largest entries of the job.
    """

    at_ns: int
    task: str | None = None
    job: int | None = None
    file: str | None = None
    line: int | None = None
    ledger: tuple[Entry, ...] = ()


@dataclass(frozen=True, slots=True)
class Verdict:
    """One limit on one thing. Quantities are in ns where the measure's unit is µs.

    `measured` is what the log shows, None if it shows nothing; [`low`, `high`] is where the value
    of this run lies whatever the unknown part of the log holds, None where nothing bounds it.
    Pass: all of it meets the limit; fail: none of it does; else unknown. `why` says why the
    interval is no point, whatever the outcome.
    `count` is how many of `counted` (jobs, runs, holds, …) the value rests on.
    """

    budget: Budget
    name: str
    outcome: Outcome
    measured: float | None
    low: float | None
    high: float | None
    count: int | None
    counted: str
    why: str
    spot: Spot | None
    waived: bool

    @property
    def margin(self) -> float | None:
        """What is left to the limit, negative beyond it; None if nothing was measured."""
        if self.measured is None:
            return None
        room = self.budget.limit - self.measured
        return -room if self.budget.measure.least else room

    @property
    def counts(self) -> bool:
        """Whether it decides on the run: an error that is not waived, and not passed."""
        return self.outcome != "pass" and not self.waived and self.budget.severity == "error"


@dataclass(frozen=True, slots=True)
class PassedOver:
    """A thing that a glob meets and a limit of it says nothing about: misses without a deadline."""

    table: str
    measure: str
    name: str
    why: str


@dataclass(frozen=True, slots=True)
class Verdicts:
    """All verdicts on one run, in the order of the file, names in the order of the tables.

    `met` tells for each glob (its table in the file) which names it met.
    """

    analysis: Analysis
    budgets: Budgets
    verdicts: tuple[Verdict, ...]
    met: tuple[tuple[str, tuple[str, ...]], ...]
    passed_over: tuple[PassedOver, ...]
    today: date

    def count(self, outcome: Outcome) -> int:
        """How many verdicts have this outcome."""
        return sum(verdict.outcome == outcome for verdict in self.verdicts)

    @property
    def outcome(self) -> Outcome:
        """Of the run: fail if a counting verdict failed, else unknown if one is open, else pass."""
        counting = [verdict.outcome for verdict in self.verdicts if verdict.counts]
        return next((outcome for outcome in OUTCOMES if outcome in counting), "pass")

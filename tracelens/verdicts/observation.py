"""What is known of one measure of one thing: a value, its interval, and where it stands."""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

from tracelens.model.budgets import Budget, Measure
from tracelens.model.verdicts import Outcome, Spot
from tracelens.verdicts.view import View


def _nowhere() -> Spot | None:
    return None


@dataclass(frozen=True, slots=True)
class Observation:
    """A value and [low, high], the interval in which it lies (`high` may be infinite).

    `count` and `counted` say what it rests on: 400 'jobs'. `why` says why the interval is no
    point; `undeclared` that the measure makes no sense here: misses without a deadline. `spot`
    finds the place of the value in the log; it is asked only when it is told.
    """

    value: float | None
    low: float
    high: float
    count: int | None = None
    counted: str = ""
    why: str = ""
    undeclared: bool = False
    spot: Callable[[], Spot | None] = _nowhere

    def of(self, count: int, counted: str) -> "Observation":
        """The same, resting on so many."""
        return replace(self, count=count, counted=counted)

    def at(self, spot: Callable[[], Spot | None]) -> "Observation":
        """The same, with its place."""
        return replace(self, spot=spot)


Observer = Callable[[View, str, Budget], Observation]
"""Observes what a budget limits, of one thing by its name."""


def exact(value: float) -> Observation:
    """A value of which nothing is in doubt."""
    return Observation(value, value, value)


def between(value: float, low: float, high: float, why: str) -> Observation:
    """A value in doubt; `why` is left out if it is not."""
    return Observation(value, low, high, why="" if low == high else why)


def so_far(value: float, missing: int, counted: str) -> Observation:
    """A greatest value, or a count: a lower bound if `missing` more were not seen."""
    why = not_judged(missing, counted)
    return between(value, value, math.inf if missing else value, why)


def not_judged(missing: int, counted: str) -> str:
    """Why a value may not be the last word: so many may lie in what is unknown."""
    about = f"about {missing} more {counted}" if missing > 1 else f"one more of its {counted}"
    return f"part of the log is unknown, and {about} may lie in it"


def so_many(count: int, counted: str) -> str:
    """'12 jobs', '1 job'."""
    return f"1 {counted.removesuffix('s')}" if count == 1 else f"{count} {counted}"


def lost(view: View) -> str:
    """Why what rests on all of the time is in doubt."""
    unknown = sum(ns for _, ns in view.occupied.values())
    every = sum(ns for ns, _ in view.occupied.values())
    return f"{100 * unknown / every:.3g} % of the core time is unknown" if every else ""


def nothing(why: str) -> Observation:
    """Nothing was observed."""
    return Observation(None, -math.inf, math.inf, why=why)


def undeclared(why: str) -> Observation:
    """What the measure rests on is not declared."""
    return replace(nothing(why), undeclared=True)


def outcome(observed: Observation, measure: Measure, limit: float) -> Outcome:
    """The verdict; a value equal to the limit meets it."""
    if measure.least:
        meets, breaks = observed.low >= limit, observed.high < limit
    else:
        meets, breaks = observed.high <= limit, observed.low > limit
    return "pass" if meets else "fail" if breaks else "unknown"

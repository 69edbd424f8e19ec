"""What an analysis says: one frozen record, whose tables the faces show."""

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from tracelens.theory.blocking import Blocking
from tracelens.theory.windows import Window
from tracelens.theory.workload import Contender

Verdict = Literal["schedulable", "unschedulable", "inconclusive"]
"""'unschedulable' is said only where the load exceeds a core, or a test that is exact fails."""


OrderKind = Literal["as declared", "rate-monotonic", "deadline-monotonic", "optimal"]


@dataclass(frozen=True, slots=True)
class Point:
    """Work that may have to be done by a time after a synchronous release."""

    t_ns: int
    demand_ns: int


@dataclass(frozen=True, slots=True)
class Part:
    """What one other contributes to the longest window: so many arrivals, so much time."""

    name: str
    arrivals: int
    ns: int


@dataclass(frozen=True, slots=True)
class TaskResult:
    """One task or handler.

    response_ns  worst case, from the due time; None if there is no bound. `why` then says why,
                 or how the bound was come by if not by the usual recurrence
    exact        the bound is reached by some run of the declared system
    windows      every job of the longest busy period (those after `MOST_WINDOWS` left out), the
                 worst one always in it
    parts        what the others contribute to the worst of them
    points       the scheduling points up to the deadline
    bound_ns     the bound that ignores offsets, where `response_ns` does not
    blocking_ns  what it may lose to lower tasks; under earliest deadline first to later deadlines
    """

    contender: Contender
    blocking: Blocking | None
    response_ns: int | None
    verdict: Verdict
    exact: bool
    why: str | None = None
    windows: tuple[Window, ...] = ()
    worst_job: int | None = None
    parts: tuple[Part, ...] = ()
    points: tuple[Point, ...] = ()
    bound_ns: int | None = None
    blocking_ns: int | None = None

    @property
    def name(self) -> str:
        """The contender's."""
        return self.contender.name

    @property
    def ok(self) -> bool:
        """Whether it is shown to meet its deadline; without one, whether it has a bound."""
        return self.verdict == "schedulable"

    @property
    def worst(self) -> Window | None:
        """The window of the worst job."""
        return next((w for w in self.windows if w.job == self.worst_job), None)


@dataclass(frozen=True, slots=True)
class Bound:
    """A test by load alone: `value` against `limit`. One that fails is inconclusive.

    Both are None where the load of some contender is not one of a period.
    """

    name: str
    value: Fraction | None
    limit: float | None
    verdict: Verdict
    applies: bool
    why: str
    source: str


@dataclass(frozen=True, slots=True)
class Demand:
    """Processor demand of one core.

    points       at each deadline up to `horizon_ns`
    busy_ns      the longest busy period from a synchronous release; None without end
    limit_ns     L*, beyond which nothing new can happen; None at full load
    visited      the times at which the quick test (QPA) looked, first to last
    passes       whether the demand fits everywhere; None if that was not found out
    """

    points: tuple[Point, ...]
    busy_ns: int | None
    limit_ns: Fraction | None
    visited: tuple[int, ...]
    passes: bool | None
    exact: bool


@dataclass(frozen=True, slots=True)
class CoreResult:
    """One core: its load, the tests by load, its demand."""

    core: int
    name: str
    utilisation: Fraction
    bounds: tuple[Bound, ...]
    demand: Demand
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class Order:
    """A priority order tried on one core: most urgent first, with the responses it gives."""

    core: int
    kind: OrderKind
    names: tuple[str, ...]
    responses_ns: tuple[int | None, ...]
    schedulable: bool


@dataclass(frozen=True, slots=True)
class Growth:
    """How much longer one task's execution may be, alone; negative: how much shorter it must be.

    `ns` None: no length of it, down to nothing, makes the set schedulable.
    """

    name: str
    cost_ns: int
    ns: int | None


@dataclass(frozen=True, slots=True)
class Margins:
    """Sensitivity: `stretch` is how many times longer everything may take, at the most.

    `growths` is empty for a system too large for it.
    """

    stretch: Fraction | None
    growths: tuple[Growth, ...]


@dataclass(frozen=True, slots=True)
class Schedulability:
    """The analysis of one system.

    `utilisation` is the load of all cores together, in cores. There are `number` cores; `cores` has
    those that something is bound to.
    """

    policy: str
    number: int
    utilisation: Fraction
    tasks: tuple[TaskResult, ...]
    cores: tuple[CoreResult, ...]
    orders: tuple[Order, ...]
    margins: Margins | None
    verdict: Verdict
    notes: tuple[str, ...]


def together(verdicts: list[Verdict]) -> Verdict:
    """The verdict on a whole from those on its parts."""
    if "unschedulable" in verdicts:
        return "unschedulable"
    return "inconclusive" if "inconclusive" in verdicts else "schedulable"

"""What the analysis sees of a system: who contends for which core, how often, and for how long.

A *contender* is a task or an interrupt handler. Its arrivals are streams: periodic with jitter and
a least distance (the event model of Richter, "Compositional Scheduling Analysis Using Standard
Event Models", thesis, TU Braunschweig 2005). Times are integer nanoseconds.
"""

from dataclasses import dataclass, field
from fractions import Fraction
from math import inf
from typing import Final, Literal

Protocol = Literal["none", "inherit", "ceiling", "original_ceiling"]

EVERYBODY: Final = inf
"""A level that nobody exceeds: what runs at it cannot be pre-empted by a task."""


@dataclass(frozen=True, slots=True)
class Stream:
    """Arrivals: one every `period_ns`, each late by up to `jitter_ns`, at least `apart_ns` apart.

    At most `most` come in all. `period_ns` None: they may all come at once, and `most` is given.
    """

    period_ns: int | None
    jitter_ns: int = 0
    apart_ns: int = 0
    most: int | None = None

    def before(self, width_ns: int) -> int:
        """The most arrivals in a window [0, width)."""
        return self.within(width_ns - 1) if width_ns > 0 else 0

    def within(self, width_ns: int) -> int:
        """The most arrivals in a window [0, width], both ends included."""
        count = self.most
        if self.period_ns is not None:
            regular = (width_ns + self.jitter_ns) // self.period_ns + 1
            count = regular if count is None or regular < count else count
        if self.apart_ns:
            close = width_ns // self.apart_ns + 1
            count = close if count is None or close < count else count
        assert count is not None
        return count

    def soonest(self, number: int) -> int | None:
        """The least time from the first arrival to arrival `number` (from 1); None if never."""
        if self.most is not None and number > self.most:
            return None
        regular = 0 if self.period_ns is None else (number - 1) * self.period_ns - self.jitter_ns
        return max(0, regular, (number - 1) * self.apart_ns)


@dataclass(frozen=True, slots=True)
class Section:
    """A critical section: the own execution inside, and the locks held around it."""

    lock: str
    length_ns: int
    within: frozenset[str] = frozenset()
    sleeps: bool = False


@dataclass(frozen=True, slots=True)
class Trigger:
    """A release by another: `source` sends an item or activates, at the least so long after its
    own release."""

    source: str
    least_ns: int


@dataclass(frozen=True, slots=True)
class Contender:
    """A task or interrupt handler.

    level       urgency, larger first; None under earliest deadline first. Any handler is above
                any task.
    streams     arrivals by time; those by `triggers` come on top, once their response is known
    jitter_ns   the part of the streams' jitter that counts as response: release after due time
    deadline_ns relative to the due time; None: nothing is promised
    offset_ns   first due time where it is fixed; None for what comes when it wants
    waits       requests of locks that may make it wait, each job
    masked_ns   longest stretch in which no task can pre-empt it
    silent_ns   longest stretch in which no interrupt is served either
    final_ns    last stretch of a job, in which only levels above `final_level` pre-empt it
    after       the handler in which time releases it
    migrates    it may run on any core
    cannot      why it cannot be analysed
    """

    name: str
    core: int
    level: int | None
    streams: tuple[Stream, ...]
    cost_ns: int
    deadline_ns: int | None = None
    handler: bool = False
    jitter_ns: int = 0
    offset_ns: int | None = None
    sections: tuple[Section, ...] = ()
    suspension_ns: int = 0
    suspensions: int = 0
    waits: int = 0
    masked_ns: int = 0
    silent_ns: int = 0
    final_ns: int = 0
    final_level: float = EVERYBODY
    triggers: tuple[Trigger, ...] = ()
    after: str | None = None
    priority: int | None = None
    migrates: bool = False
    cannot: str | None = None

    @property
    def period_ns(self) -> int | None:
        """The period or least separation, where there is one stream."""
        if len(self.streams) != 1 or self.triggers:
            return None
        return self.streams[0].period_ns or self.streams[0].apart_ns or None

    @property
    def utilisation(self) -> Fraction:
        """Share of a core in the long run; arrivals by triggers not counted."""
        return sum((rate(stream) * self.cost_ns for stream in self.streams), Fraction())


def rate(stream: Stream) -> Fraction:
    """Arrivals a nanosecond in the long run."""
    if stream.most is not None:
        return Fraction()
    return Fraction(1, max(stream.period_ns or 0, stream.apart_ns))


@dataclass(frozen=True, slots=True)
class LockRule:
    """A lock's protocol, and its declared ceiling as a level; None: that of its users."""

    protocol: Protocol
    ceiling: int | None = None


@dataclass(frozen=True, slots=True)
class Workload:
    """Everything that contends, most urgent first on each core, and how the kernel behaves.

    `switch_ns` passes before each start of a task; `wake_ns` before a sleeping core does anything.
    `number` of cores there are; some may have nothing that contends for them.
    `observed`: the figures were seen in a run, not declared, and nothing that follows is exact.
    `notes` say what was assumed.
    """

    contenders: tuple[Contender, ...]
    locks: dict[str, LockRule] = field(default_factory=dict)
    policy: Literal["fixed", "edf", "round_robin"] = "fixed"
    preemptive: bool = True
    switch_ns: int = 0
    wake_ns: int = 0
    core_names: dict[int, str] = field(default_factory=dict)
    number: int = 1
    observed: bool = False
    notes: tuple[str, ...] = ()

    def of_core(self, core: int) -> tuple[Contender, ...]:
        """The contenders of one core, handlers first, most urgent first."""
        own = [c for c in self.contenders if c.core == core]
        return tuple(sorted(own, key=lambda c: (not c.handler, -(c.level or 0))))

    @property
    def cores(self) -> tuple[int, ...]:
        """The cores that somebody contends for, in ascending order."""
        return tuple(sorted({c.core for c in self.contenders}))


def higher_or_equal(other: Contender, one: Contender) -> bool:
    """Whether `other` is at least as urgent as `one`: its work is in the way of `one`'s.

    Two of equal level are in each other's way, in whatever order they are served.
    """
    if other.handler != one.handler:
        return other.handler
    return (other.level or 0) >= (one.level or 0)

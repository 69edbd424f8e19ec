"""The response of one contender at a fixed level: its busy period, job by job, with iterations.

Joseph & Pandya, "Finding Response Times in a Real-Time System", Computer Journal 29(5), 1986;
Audsley, Burns, Richardson, Tindell & Wellings, "Applying New Scheduling Theory to Static Priority
Pre-emptive Scheduling", Software Engineering Journal 8(5), 1993 (jitter, blocking); Lehoczky,
"Fixed Priority Scheduling of Periodic Task Sets with Arbitrary Deadlines", RTSS 1990 (all jobs of
the busy period); Davis, Burns, Bril & Lukkien, "Controller Area Network (CAN) schedulability
analysis: Refuted, revisited and revised", Real-Time Systems 35(3), 2007 (non-preemptive); Bril,
Lukkien & Verhaegh, "Worst-case response time analysis of real-time tasks under fixed-priority
scheduling with deferred preemption", Real-Time Systems 42, 2009 (a last stretch that is not).
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import lcm
from typing import Final

from tracelens.theory.workload import EVERYBODY, Stream, rate

MOST_JOBS: Final = 20_000
"""Jobs of one busy period that are followed at most."""
MOST_STEPS: Final = 100_000
"""Iterations of one equation at most."""
NEAR: Final = 1e-6
"""A load this near to 1 is summed exactly; the error of so few floats is far smaller."""
FOREVER: Final = 10**18
"""Thirty years: no window is longer."""


class TooLongError(Exception):
    """A busy period that is too long to follow."""


@dataclass(frozen=True, slots=True)
class Rival:
    """Work that is in the way of the one under analysis. `level` decides who may interrupt the
    last stretch of a job; handlers have `EVERYBODY`'s."""

    name: str
    streams: tuple[Stream, ...]
    cost_ns: int
    level: float = EVERYBODY

    @property
    def utilisation(self) -> Fraction:
        """Share of the core in the long run."""
        return sum((rate(stream) for stream in self.streams), Fraction()) * self.cost_ns


@dataclass(frozen=True, slots=True)
class Own:
    """The one under analysis: its arrivals, its work in a job, and the last stretch of that."""

    streams: tuple[Stream, ...]
    cost_ns: int
    jitter_ns: int = 0
    final_ns: int = 0
    final_level: float = EVERYBODY


@dataclass(frozen=True, slots=True)
class Window:
    """One job of the busy period: each value of the iteration, counted from its begin.

    `response_ns` counts from the job's due time, or from its release where that has no due time.
    """

    job: int
    iterations: tuple[int, ...]
    finish_ns: int
    response_ns: int


def windows(own: Own, above: Sequence[Rival], blocking_ns: int) -> list[Window] | None:
    """Every job of the longest busy period; None if that has no end.

    Raises `TooLongError` if there are more than `MOST_JOBS`.
    """
    jobs = _jobs(own, above, blocking_ns)
    if jobs is None:
        return None
    found: list[Window] = []
    for job, iterations, finish in _finishes(own, above, blocking_ns, jobs):
        found.append(Window(job, iterations, finish, finish - _due(own, job)))
    return found


def meets(own: Own, above: Sequence[Rival], blocking_ns: int, deadline_ns: int) -> bool:
    """Whether every response is at most `deadline_ns`. It says no to a busy period too long."""
    try:
        jobs = _jobs(own, above, blocking_ns)
        if jobs is None:
            return False
        for job, _, finish in _finishes(own, above, blocking_ns, jobs, deadline_ns):
            if finish > deadline_ns + _due(own, job):
                return False
    except TooLongError:
        return False
    return True


def busy_period(parts: Sequence[Rival], blocking_ns: int) -> int | None:
    """The longest time that the core is busy with `parts` at a stretch; None if without end."""
    load = load_of(parts)
    if load > 1:
        return None
    ends = load < 1 or (not blocking_ns and not any(s.jitter_ns for p in parts for s in p.streams))
    if not ends:
        return None

    def work(length: int) -> int:
        return blocking_ns + sum(before(part.streams, length) * part.cost_ns for part in parts)

    return _fixed_point(work, max(1, blocking_ns + sum(part.cost_ns for part in parts)))[-1]


def load_of(parts: Sequence[Rival]) -> Fraction | float:
    """The load of all parts together; exact where it is near 1, where that matters."""
    rough = sum(
        part.cost_ns / max(stream.period_ns or 0, stream.apart_ns)
        for part in parts
        for stream in part.streams
        if stream.most is None
    )
    if abs(rough - 1) > NEAR:
        return rough
    return sum((part.utilisation for part in parts), Fraction())


def before(streams: Sequence[Stream], width_ns: int) -> int:
    """The most arrivals of all streams in [0, width)."""
    if len(streams) == 1:
        return streams[0].before(width_ns)
    return sum(stream.before(width_ns) for stream in streams)


def within(streams: Sequence[Stream], width_ns: int) -> int:
    """The most arrivals of all streams in [0, width], both ends included."""
    return sum(stream.within(width_ns) for stream in streams)


def soonest(streams: Sequence[Stream], number: int) -> int:
    """The least time from the first arrival to arrival `number` of all streams together."""
    if len(streams) == 1:
        found = streams[0].soonest(number)
        return FOREVER if found is None else found
    low, high = 0, 1
    while within(streams, high) < number:
        high *= 2
        if high > FOREVER:
            return FOREVER
    while low < high:
        middle = (low + high) // 2
        if within(streams, middle) >= number:
            high = middle
        else:
            low = middle + 1
    return low


def _due(own: Own, job: int) -> int:
    """Due time of a job, from the begin of the busy period.

    Arrivals come with all of their jitter at first, so the first is due that long before.
    """
    stream = own.streams[0]
    if own.jitter_ns and len(own.streams) == 1 and stream.period_ns is not None:
        return (job - 1) * stream.period_ns - own.jitter_ns
    return soonest(own.streams, job)


def _jobs(own: Own, above: Sequence[Rival], blocking_ns: int) -> int | None:
    """How many jobs are to be looked at, at the most; None if there is no end to them."""
    parts = [*above, Rival("", own.streams, own.cost_ns)]
    load = load_of(parts)
    if load > 1:
        return None
    if load == 1:
        # What is left over from one hyperperiod to the next is the same: one tells them all.
        periods = [s.period_ns for p in parts for s in p.streams if s.period_ns and s.most is None]
        return within(own.streams, lcm(*periods) if periods else 0)
    if not own.final_ns:
        return FOREVER  # the busy period ends where a job ends before the next one comes
    length = busy_period(parts, blocking_ns)
    assert length is not None
    return before(own.streams, length)


def _finishes(
    own: Own,
    above: Sequence[Rival],
    blocking_ns: int,
    jobs: int,
    deadline_ns: int = FOREVER,
) -> Iterator[tuple[int, tuple[int, ...], int]]:
    """Job, iterations and completion of each job of the busy period.

    One that ends later than its deadline may be followed no further than there.
    """
    begin = 0
    for job in range(1, jobs + 1):
        if job > MOST_JOBS:
            raise TooLongError
        limit = min(FOREVER, deadline_ns + _due(own, job))
        iterations, finish = _finish(own, above, blocking_ns, job, begin, limit)
        yield job, iterations, finish
        if not own.final_ns and finish <= soonest(own.streams, job + 1):
            return
        begin = iterations[-1]


def _finish(
    own: Own,
    above: Sequence[Rival],
    blocking_ns: int,
    job: int,
    begin: int,
    limit: int = FOREVER,
) -> tuple[tuple[int, ...], int]:
    """The iterations for a job, and when it completes.

    `begin` is a lower bound, the last value of the job before. Past `limit` it may stop short.
    """
    work = blocking_ns + job * own.cost_ns
    if not own.final_ns:

        def demand(width: int) -> int:
            return work + sum(before(rival.streams, width) * rival.cost_ns for rival in above)

        steps = _fixed_point(demand, max(begin, work), limit)
        return steps, steps[-1]
    work -= own.final_ns

    def started(width: int) -> int:
        return work + sum(within(rival.streams, width) * rival.cost_ns for rival in above)

    steps = _fixed_point(started, max(begin, work), limit)
    start = steps[-1]
    still = [rival for rival in above if rival.level > own.final_level or rival.level == EVERYBODY]
    held = sum(
        within(rival.streams, start) * rival.cost_ns for rival in above if rival not in still
    )

    def ended(width: int) -> int:
        interrupts = sum(before(rival.streams, width) * rival.cost_ns for rival in still)
        return max(start, work + held + interrupts) + own.final_ns

    return steps, _fixed_point(ended, start + own.final_ns, limit)[-1]


def _fixed_point(work: Callable[[int], int], begin: int, limit: int = FOREVER) -> tuple[int, ...]:
    """Every value from `begin` to the least at which the work done is all the work there is."""
    steps = [begin]
    while steps[-1] <= limit:
        following = work(steps[-1])
        if following <= steps[-1]:
            return tuple(steps)
        steps.append(following)
        if len(steps) > MOST_STEPS:
            raise TooLongError
    return tuple(steps)

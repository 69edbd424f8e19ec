"""Processor demand: does all work with deadlines up to t fit before t, for every t?

Baruah, Rosier & Howell, "Algorithms and complexity concerning the preemptive scheduling of
periodic, real-time tasks on one processor", Real-Time Systems 2(4), 1990 (the criterion); Zhang &
Burns, "Schedulability Analysis for Real-Time Systems with EDF Scheduling", IEEE Trans. Computers
58(9), 2009 (QPA); Spuri, "Earliest deadline scheduling in real-time systems", thesis, Pisa 1995
(jitter); Baker, "Stack-based scheduling of realtime processes", Real-Time Systems 3(1), 1991, and
Baruah, "Resource sharing in EDF-scheduled systems: a closer look", RTSS 2006 (blocking); Jeffay &
Stone, "Accounting for interrupt handling costs in dynamic priority task systems", RTSS 1993.
"""

from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from heapq import merge
from itertools import islice
from math import ceil, lcm
from typing import Final

from tracelens.theory.blocking import most
from tracelens.theory.records import Demand, Point
from tracelens.theory.windows import Rival, TooLongError, before, busy_period
from tracelens.theory.workload import Contender, LockRule, Stream

MOST_POINTS: Final = 2_000
"""Deadlines that the table of demand shows at most."""
MOST_LOOKS: Final = 200_000
"""Times that a test looks at, at most."""


@dataclass(frozen=True, slots=True)
class Claim:
    """A task's claim: its arrivals, its work in a job, its relative deadline, its sections."""

    name: str
    streams: tuple[Stream, ...]
    cost_ns: int
    deadline_ns: int
    counted_ns: int = 0  # the part of the jitter that the deadline does not wait for

    def count(self, t_ns: int) -> int:
        """The most jobs with arrival and deadline in [0, t]."""
        return sum(_jobs_due(stream, t_ns - self.deadline_ns) for stream in self.streams)

    @property
    def as_rival(self) -> Rival:
        """The same, as plain work."""
        return Rival(self.name, self.streams, self.cost_ns)


def _jobs_due(stream: Stream, room_ns: int) -> int:
    """Arrivals whose deadline counts from the due time: the first came late by all its jitter."""
    if room_ns + stream.jitter_ns < 0:
        return 0
    counts = [] if stream.most is None else [stream.most]
    if stream.period_ns is not None:
        counts.append((room_ns + stream.jitter_ns) // stream.period_ns + 1)
    elif stream.apart_ns:
        counts.append((room_ns + stream.jitter_ns) // stream.apart_ns + 1)
    return min(counts)


class Blocked:
    """The most that jobs with deadlines beyond t may hold up those with deadlines up to t."""

    def __init__(
        self,
        tasks: Sequence[Contender],
        deadlines: Mapping[str, int],
        locks: Mapping[str, LockRule],
        jitters: Mapping[str, int],
    ) -> None:
        self._masked = [(deadlines[t.name], t.masked_ns) for t in tasks if t.masked_ns]
        self._first: dict[str, int] = {}
        self._sections: list[tuple[int, str, str, int]] = []
        for task in tasks:
            for section in task.sections:
                due = deadlines[task.name]
                early = due - jitters[task.name]  # one released with all its jitter
                self._first[section.lock] = min(self._first.get(section.lock, early), early)
                self._sections.append((due, task.name, section.lock, section.length_ns))
        changed = True
        while changed:  # who waits for a lock waits for those taken inside it
            changed = False
            for task in tasks:
                for section in task.sections:
                    outer = min((self._first[k] for k in section.within), default=None)
                    if outer is not None and outer < self._first[section.lock]:
                        self._first[section.lock] = outer
                        changed = True
        self._protocols = {name: rule.protocol for name, rule in locks.items()}
        self.anything = bool(self._masked or self._sections)
        self._known: dict[int, int] = {}
        self._steps = sorted({*deadlines.values(), *self._first.values()})

    def at(self, t_ns: int) -> int:
        """The most at t; it changes only where t passes somebody's relative deadline."""
        if not self.anything:
            return 0
        place = bisect_right(self._steps, t_ns)
        if place not in self._known:
            self._known[place] = self._compute(t_ns)
        return self._known[place]

    def most(self) -> int:
        """The most at any t."""
        return max((self.at(t) for t in [0, *self._steps]), default=0)

    def _compute(self, t_ns: int) -> int:
        inherit: dict[tuple[str, str], int] = {}
        single = max((length for due, length in self._masked if due > t_ns), default=0)
        for due, task, lock, length in self._sections:
            if due > t_ns and self._first[lock] <= t_ns:
                if self._protocols[lock] in ("ceiling", "original_ceiling"):
                    single = max(single, length)
                else:
                    inherit[task, lock] = max(inherit.get((task, lock), 0), length)
        return single + sum(s[2] for s in most((*key, n) for key, n in inherit.items() if n))


def demand(
    claims: Sequence[Claim], handlers: Sequence[Rival], blocked: Blocked, extra_ns: int = 0
) -> Demand:
    """The demand of one core: its table, its limits, and whether it fits.

    `handlers` go before all tasks; `extra_ns` is lost once, at the begin.
    """
    parts = [*(claim.as_rival for claim in claims), *handlers]
    load = sum((part.utilisation for part in parts), Fraction())
    busy = busy_period(parts, 0)
    limit = _limit(claims, load) if not handlers and not extra_ns else None
    exact = not blocked.anything and not extra_ns
    if not claims:
        return Demand((), busy, None, (), load <= 1, exact)
    shown = _table(claims, handlers, max(busy or 0, ceil(limit or 0)))
    if load > 1:
        return Demand(shown, busy, limit, (), False, exact)
    try:
        horizon = _horizon(parts, claims, blocked, extra_ns, limit, load)
        visited: tuple[int, ...] = ()
        if blocked.anything:
            passes: bool | None = _every_deadline(claims, handlers, blocked, extra_ns, horizon)
        else:
            visited, passes = quick(claims, handlers, extra_ns, horizon)
    except TooLongError:
        visited, passes = (), None
    return Demand(shown, busy, limit, visited, passes, exact)


def fits(
    claims: Sequence[Claim], handlers: Sequence[Rival], blocked: Blocked, extra_ns: int = 0
) -> bool:
    """Whether the demand fits everywhere; no also where that would take too long to say."""
    parts = [*(claim.as_rival for claim in claims), *handlers]
    load = sum((part.utilisation for part in parts), Fraction())
    if load > 1:
        return False
    limit = _limit(claims, load) if not handlers and not extra_ns else None
    try:
        horizon = _horizon(parts, claims, blocked, extra_ns, limit, load)
        if blocked.anything:
            return _every_deadline(claims, handlers, blocked, extra_ns, horizon)
        return quick(claims, handlers, extra_ns, horizon)[1]
    except TooLongError:
        return False


def quick(
    claims: Sequence[Claim], handlers: Sequence[Rival], extra_ns: int, horizon_ns: int
) -> tuple[tuple[int, ...], bool]:
    """QPA: down from the last deadline up to `horizon_ns`; where it looked, and the verdict."""
    first = min(_first_due(claim) for claim in claims)
    visited: list[int] = []
    t = _last_due(claims, horizon_ns)
    while t is not None:
        if len(visited) > MOST_LOOKS:
            raise TooLongError
        needed = work(claims, handlers, t) + extra_ns
        visited.append(t)
        if needed > t:
            return tuple(visited), False
        if needed <= first:
            break
        t = needed if needed < t else _last_due(claims, t - 1)
    return tuple(visited), True


def work(claims: Sequence[Claim], handlers: Sequence[Rival], t_ns: int) -> int:
    """What must be done by t: jobs with deadlines up to t, and the handlers' arrivals before."""
    own = sum(claim.count(t_ns) * claim.cost_ns for claim in claims)
    return own + sum(before(handler.streams, t_ns) * handler.cost_ns for handler in handlers)


def _every_deadline(
    claims: Sequence[Claim],
    handlers: Sequence[Rival],
    blocked: Blocked,
    extra_ns: int,
    horizon_ns: int,
) -> bool:
    """The criterion at every deadline: what blocks shrinks with t, so QPA's jumps would not do."""
    for looked, t in enumerate(deadlines(claims)):
        if t > horizon_ns:
            return True
        if looked > MOST_LOOKS:
            raise TooLongError
        if work(claims, handlers, t) + blocked.at(t) + extra_ns > t:
            return False
    return True


def deadlines(claims: Sequence[Claim]) -> Iterator[int]:
    """Every deadline after a release with all jitter at once, ascending, each once."""
    last = None
    for t in merge(*(_dues(claim, stream) for claim in claims for stream in claim.streams)):
        if t != last and t >= 0:
            yield t
        last = t


def _dues(claim: Claim, stream: Stream) -> Iterator[int]:
    step = stream.period_ns or stream.apart_ns
    number = 0
    while stream.most is None or number < stream.most:
        yield claim.deadline_ns - stream.jitter_ns + number * step
        number += 1


def _first_due(claim: Claim) -> int:
    return min(claim.deadline_ns - stream.jitter_ns for stream in claim.streams)


def _last_due(claims: Sequence[Claim], t_ns: int) -> int | None:
    """The last deadline up to t; None if there is none."""
    last = None
    for claim in claims:
        for stream in claim.streams:
            first = claim.deadline_ns - stream.jitter_ns
            number = _jobs_due(stream, t_ns - claim.deadline_ns)
            if number:
                due = first + (number - 1) * (stream.period_ns or stream.apart_ns)
                last = due if last is None else max(last, due)
    return last


def _limit(claims: Sequence[Claim], load: Fraction) -> Fraction | None:
    """L* = Σ (T − D + J) U / (1 − U), and not less than the longest D − J; None at full load."""
    if load >= 1:
        return None
    total = Fraction()
    for claim in claims:
        for stream in claim.streams:
            if stream.most is not None:
                total += stream.most * claim.cost_ns  # a fixed amount, whatever t is
                continue
            period = max(stream.period_ns or 0, stream.apart_ns)
            early = period - claim.deadline_ns + stream.jitter_ns
            total += max(Fraction(), Fraction(early * claim.cost_ns, period))
    longest = max(
        (c.deadline_ns - s.jitter_ns - (s.period_ns or 0) for c in claims for s in c.streams),
        default=0,
    )
    return max(total / (1 - load), Fraction(longest))


def _horizon(
    parts: Sequence[Rival],
    claims: Sequence[Claim],
    blocked: Blocked,
    extra_ns: int,
    limit: Fraction | None,
    load: Fraction,
) -> int:
    """Up to where to look: a busy period, or where demand can no longer catch up.

    Blocking is lost at most once in a busy period, which it lengthens.
    """
    lost = extra_ns + blocked.most()
    if load == 1:
        periods = [s.period_ns or s.apart_ns for p in parts for s in p.streams if s.most is None]
        whole = lcm(*periods) if periods else 0
        return whole + max(claim.deadline_ns for claim in claims)
    busy = busy_period(parts, lost)
    assert busy is not None
    return busy if limit is None or lost else min(busy, int(limit))


def _table(
    claims: Sequence[Claim], handlers: Sequence[Rival], horizon_ns: int
) -> tuple[Point, ...]:
    found = []
    for t in islice(deadlines(claims), MOST_POINTS):
        if t > horizon_ns:
            break
        found.append(Point(t, work(claims, handlers, t)))
    return tuple(found)

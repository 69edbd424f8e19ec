"""The schedule itself, where releases are fixed: exact responses with offsets.

Leung & Whitehead, "On the complexity of fixed-priority scheduling of periodic, real-time tasks",
Performance Evaluation 2(4), 1982: with fixed offsets a synchronous release may never happen, and
the schedule over the largest offset and two hyperperiods tells all. It holds for pre-emptive
scheduling of independent tasks, where a job that ends early makes no other later.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from heapq import heapify, heappop, heappush
from math import lcm
from typing import Final

MOST_JOBS: Final = 100_000
"""Jobs that are scheduled at most."""


@dataclass(frozen=True, slots=True)
class Fixed:
    """A strictly periodic task: `rank` decides under fixed priorities, smaller first."""

    name: str
    rank: int
    offset_ns: int
    period_ns: int
    cost_ns: int
    deadline_ns: int


def span_ns(tasks: Sequence[Fixed]) -> int:
    """The largest offset and two hyperperiods."""
    return max(task.offset_ns for task in tasks) + 2 * lcm(*(task.period_ns for task in tasks))


def exact(tasks: Sequence[Fixed], *, edf: bool) -> dict[str, tuple[int, int]] | None:
    """Name → (worst response, number of the job that has it) over `span_ns`.

    None if there are more than `MOST_JOBS` jobs, or the load is more than the core. Of equal
    ranks, the earlier release goes first, then the earlier in `tasks`.
    """
    end = span_ns(tasks)
    count = sum(max(0, -(-(end - t.offset_ns) // t.period_ns)) for t in tasks)
    # Under more load than the core has, responses grow from hyperperiod to hyperperiod.
    if count > MOST_JOBS or sum(Fraction(t.cost_ns, t.period_ns) for t in tasks) > 1:
        return None
    arrivals = [(t.offset_ns, place, 1) for place, t in enumerate(tasks)]
    heapify(arrivals)
    ready: list[list[int]] = []  # key, release, place, job, work left
    worst = dict.fromkeys((t.name for t in tasks), (0, 0))
    now = 0
    while arrivals or ready:
        if not ready:
            now = max(now, arrivals[0][0])
        while arrivals and arrivals[0][0] <= now:
            release, place, job = heappop(arrivals)
            task = tasks[place]
            key = release + task.deadline_ns if edf else task.rank
            heappush(ready, [key, release, place, job, task.cost_ns])
            if release + task.period_ns < end:
                heappush(arrivals, (release + task.period_ns, place, job + 1))
        running = ready[0]
        until = now + running[4]
        if arrivals and arrivals[0][0] < until:
            running[4] -= arrivals[0][0] - now
            now = arrivals[0][0]
            continue
        now = until
        heappop(ready)
        name = tasks[running[2]].name
        if now - running[1] > worst[name][0]:
            worst[name] = (now - running[1], running[3])
    return worst

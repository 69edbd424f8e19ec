"""Scheduling points: the exact test of Lehoczky, Sha & Ding.

"The Rate Monotonic Scheduling Algorithm: Exact Characterization and Average Case Behavior", RTSS
1989. A task whose deadline is within its period meets it if and only if at one of the points the
work of it and of all before it fits; the points are its deadline and the arrivals up to there.
"""

from collections.abc import Sequence
from typing import Final

from tracelens.theory.records import Point
from tracelens.theory.windows import Own, Rival, before

MOST_POINTS: Final = 200


def points(
    own: Own, above: Sequence[Rival], blocking_ns: int, deadline_ns: int
) -> tuple[Point, ...]:
    """Each point up to the deadline with the work that must fit before it.

    Empty where more than the first job matters (a deadline beyond the period, a last stretch
    without pre-emption), and where there are more than `MOST_POINTS`.
    """
    stream = own.streams[0]
    limit = deadline_ns - own.jitter_ns
    if len(own.streams) > 1 or own.final_ns or limit <= 0 or stream.period_ns is None:
        return ()
    if deadline_ns > stream.period_ns:
        return ()
    times = {limit}
    for other in (stream, *(s for rival in above for s in rival.streams)):
        step = other.period_ns or other.apart_ns
        if not step:
            continue
        first = step - other.jitter_ns if other.period_ns else step
        first += max(0, -(-(1 - first) // step)) * step  # the first after 0
        if (limit - first) // step > MOST_POINTS:
            return ()
        times |= set(range(first, limit + 1, step))
    if len(times) > MOST_POINTS:
        return ()
    work = blocking_ns + own.cost_ns
    return tuple(
        Point(t, work + sum(before(rival.streams, t) * rival.cost_ns for rival in above))
        for t in sorted(times)
    )

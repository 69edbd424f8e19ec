"""The highest load of a core in any window of a given length: exact, over all placements.

For a window [t, t + W) the busy time and the known time inside it are piecewise linear in t: they
bend only where t or t + W crosses the edge of an interval. On a piece the ratio of two linear
functions is monotone, so its maximum lies at an end of the piece, or, where the window becomes
known enough, at the moment when known time is exactly W/2. Those are all the placements to try.
"""

from typing import Final

import numpy as np
import numpy.typing as npt

from tracelens.compiled import compiled
from tracelens.spans import Integers

BUSY: Final = np.array([1, 0, 1, 1, 0, 0], np.int64)
"""Per code of `model.tables.OCCUPANTS`: whether the core is busy (ISR, task, switching)."""

KNOWN: Final = np.array([1, 1, 1, 1, 1, 0], np.int64)
"""Per code of `model.tables.OCCUPANTS`: whether it is known what the core did."""


def peak(
    ends: Integers, occupants: npt.NDArray[np.uint8], first_ns: int, window_ns: int
) -> tuple[float, int] | None:
    """Highest load over [t, t + window_ns) and the least such t; None if nowhere half known.

    The intervals of one core tile [first_ns, ends[-1]): in order, each from the end of the one
    before to its own. A window counts if at least half of it is known; t goes over every integer
    from first_ns to ends[-1] − window_ns, which must not be less than first_ns.
    """
    sweep = compiled(highest, len(ends))
    load, at = sweep(ends, occupants, BUSY, KNOWN, first_ns, window_ns)
    return None if at < 0 else (load, at)


def highest(
    ends: Integers,
    occupants: npt.NDArray[np.uint8],
    is_busy: Integers,
    is_known: Integers,
    first_ns: int,
    window_ns: int,
) -> tuple[float, int]:
    """Move both edges of the window from bend to bend. Returns (−1.0, −1) if there is none.

    `tail` is the interval that holds the window's start, `head` the one that holds its end.
    """
    count = len(ends)
    last_ns = ends[count - 1] - window_ns
    at = first_ns
    tail = 0
    head = 0
    busy = 0
    known = 0
    start = first_ns
    while head < count - 1 and ends[head] <= first_ns + window_ns:
        busy += (ends[head] - start) * is_busy[occupants[head]]
        known += (ends[head] - start) * is_known[occupants[head]]
        start = ends[head]
        head += 1
    busy += (first_ns + window_ns - start) * is_busy[occupants[head]]
    known += (first_ns + window_ns - start) * is_known[occupants[head]]
    best = -1.0
    best_at = -1
    while True:
        while tail < count - 1 and ends[tail] <= at:
            tail += 1
        while head < count - 1 and ends[head] <= at + window_ns:
            head += 1
        if 2 * known >= window_ns and busy / known > best:
            best = busy / known
            best_at = at
        if at >= last_ns or best == 1.0:
            break
        step = min(ends[tail] - at, ends[head] - at - window_ns, last_ns - at)
        more_busy = is_busy[occupants[head]] - is_busy[occupants[tail]]
        more_known = is_known[occupants[head]] - is_known[occupants[tail]]
        # The first placement of this piece that is half known, or the last one that still is.
        turn = 0
        if more_known > 0 and 2 * known < window_ns:
            turn = (window_ns - 2 * known + 1) // 2
        elif more_known < 0 and 2 * known >= window_ns:
            turn = (2 * known - window_ns) // 2
        if 0 < turn < step:
            some_busy = busy + more_busy * turn
            some_known = known + more_known * turn
            if some_busy / some_known > best:
                best = some_busy / some_known
                best_at = at + turn
        at += step
        busy += more_busy * step
        known += more_known * step
    return best, best_at

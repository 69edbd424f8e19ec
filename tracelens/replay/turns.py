"""How a record's kernel shares a core among equals, and when it takes a raise back.

Kernels differ here, and none of it is declared in a log; the record shows it.
"""

from collections import Counter
from dataclasses import dataclass, replace
from math import fsum
from typing import Final

import numpy as np

from tracelens.replay.extract import Extracted
from tracelens.replay.records import (
    R_LEAVE,
    R_LOCK,
    R_PREEMPTED,
    R_RAISED,
    R_REQUEST,
    R_START,
    R_UNLOCK,
    R_WAIT,
    Records,
)

FEW: Final = 3
ENOUGH_TURNS: Final = 20  # to find a rhythm in them
SHORTEST: Final = 0.1  # quantile of the distances between turns that is taken for one period
REGULAR: Final = 0.9  # share of turns that must keep the rhythm, to within a switch
MOST: Final = 0.5
LOOKED_AT: Final = 2000
"""So many preemptions are enough to see who comes first after one."""


@dataclass(frozen=True, slots=True)
class Turns:
    """How equally urgent tasks share a core.

    `handler`: at its end the next of them gets the core, as with a kernel whose slices end at a
    tick; −1 for none. `slice_ns`: the slice, where it is counted from the start; 0 for none.
    `kept`: who is preempted is the first of its equals again, as POSIX has it for SCHED_FIFO;
    else the last. `raised_to_the_last`: a raised holder stays raised until its last lock is back.
    `every_ns`: turns come so often, from `first_ns` on, by a tick that is not recorded; 0: not so.
    """

    handler: int = -1
    slice_ns: int = 0
    kept: bool = True
    raised_to_the_last: bool = False
    first_ns: int = 0
    every_ns: int = 0


def observe(x: Extracted, switch_ns: int) -> Turns:
    """What the record shows of it; `switch_ns` is what a switch usually costs."""
    r = x.records
    rows = np.flatnonzero(r.code == R_PREEMPTED)
    starts = np.flatnonzero(r.code == R_START)
    if not len(rows) or not len(starts):
        return Turns(raised_to_the_last=_raised_to_the_last(x))
    following = starts[np.minimum(np.searchsorted(starts, rows), len(starts) - 1)]
    came = np.where(r.more[rows] >= 0, r.more[rows], r.stream[following])
    gone = r.stream[rows]
    equal = (x.base[gone] == x.base[came]) & (came != gone)
    handler, slice_ns = _slices(x, rows[equal])
    lower = rows[x.base[gone] < x.base[came]]
    found = Turns(handler, slice_ns, _kept(x, lower), _raised_to_the_last(x))
    if handler < 0 and not slice_ns and equal.sum() >= ENOUGH_TURNS:
        first_ns, every_ns = _grid(r.time[rows[equal]], switch_ns)
        found = replace(found, first_ns=first_ns, every_ns=every_ns)
    return found


def _grid(times: np.ndarray, switch_ns: int) -> tuple[int, int]:
    """First turn and distance of turns that come regularly; (0, 0) if these do not."""
    apart = np.diff(times)
    apart = apart[apart > switch_ns]
    if not len(apart):
        return 0, 0
    every, first = float(np.quantile(apart, SHORTEST)), float(times[0])
    for upto in (4, 16, 64, len(times)):  # a longer stretch each time, so that none is miscounted
        some = times[:upto].astype(float)
        number = np.round((some - first) / every)
        if len(np.unique(number)) < 2:
            return 0, 0
        off = number - number.mean()
        every = fsum(off * (some - some.mean())) / fsum(off * off)
        first = float(some.mean() - every * number.mean())
    off = np.abs(times - first - np.round((times - first) / every) * every)
    if (off <= max(switch_ns, 1)).mean() < REGULAR:
        return 0, 0
    begin = first - switch_ns
    return round(begin % every), round(every)


def _slices(x: Extracted, turns: np.ndarray) -> tuple[int, int]:
    r = x.records
    declared = x.system.policy == "round_robin"
    if not len(turns) or (len(turns) < FEW and not declared):
        return -1, 0
    before = np.maximum(turns - 1, 0)
    left = r.code[before] == R_LEAVE
    slice_ns, share = _usual_slice(r, turns) if declared else (0, 0.0)
    if share >= MOST:
        return -1, slice_ns
    if left.mean() > MOST:
        handlers = Counter((r.stream[before[left]] - len(x.system.tasks)).tolist())
        return handlers.most_common(1)[0][0], 0
    return -1, slice_ns


def _usual_slice(r: Records, turns: np.ndarray) -> tuple[int, float]:
    """The most frequent execution before a turn, in ns, and its share of the turns."""
    lengths = Counter(
        int(r.ran[row] - r.ran[begin])
        for row in turns[:LOOKED_AT].tolist()
        if (begin := _last_start(r, row)) >= 0
    )
    if not lengths:
        return 0, 0.0
    length, count = lengths.most_common(1)[0]
    if count < FEW:  # a slice is at least as long as any execution that ended with a turn
        return max(lengths), 1.0
    return length, count / lengths.total()


def _last_start(r: Records, row: int) -> int:
    """The record of the start of who is preempted at a row; −1 without one."""
    for place in range(row - 1, -1, -1):  # as far back as one slice
        if r.stream[place] == r.stream[row] and r.code[place] == R_START:
            return place
    return -1


def _kept(x: Extracted, rows: np.ndarray) -> bool:
    """Whether who was preempted by a more urgent task comes before equals that were ready."""
    r, tasks = x.records, len(x.system.tasks)
    peers = {
        task: {
            other
            for other in range(tasks)
            if other != task and x.base[other] == x.base[task] and not x.about.idle[other]
        }
        for task in range(tasks)
    }
    rows = rows[np.isin(r.stream[rows], [task for task in peers if peers[task]])]
    starts = {
        level: np.flatnonzero((r.code == R_START) & np.isin(r.stream, _of_level(x, level)))
        for level in {int(x.base[stream]) for stream in np.unique(r.stream[rows]).tolist()}
    }
    first = last = 0
    for row in rows[:LOOKED_AT].tolist():
        stream = int(r.stream[row])
        ready = {other for other in peers[stream] if _is_preempted(r, other, row)}
        later = starts[int(x.base[stream])]
        place = int(np.searchsorted(later, row))
        if not ready or place >= len(later):
            continue
        came = int(r.stream[later[place]])
        first += came == stream
        last += came in ready
    return first >= last


def _of_level(x: Extracted, level: int) -> list[int]:
    return [task for task, base in enumerate(x.base.tolist()) if base == level]


def _is_preempted(r: Records, stream: int, row: int) -> bool:
    """Whether a task was preempted, and nothing befell it since."""
    for place in range(row - 1, max(-1, row - LOOKED_AT), -1):
        if r.stream[place] == stream:
            return bool(r.code[place] == R_PREEMPTED)
    return False


def _raised_to_the_last(x: Extracted) -> bool:
    """Whether holders stay raised after the lock that raised them is back, while they hold more."""
    r = x.records
    kinds = np.isin(r.code, (R_RAISED, R_LOCK, R_UNLOCK, R_REQUEST, R_WAIT))
    if not (r.code == R_RAISED).any():
        return False
    at_once = to_the_last = 0
    held: dict[int, list[int]] = {}
    raised_by: dict[int, int] = {}
    locks = len(x.system.locks)
    wanted = -1
    gave: tuple[int, int] | None = None  # a task that gave back what raised it, and held more
    for row in np.flatnonzero(kinds).tolist():  # one pass: locks and waits alone
        code, stream, arg = r.code[row], int(r.stream[row]), int(r.arg[row])
        if code in (R_WAIT, R_REQUEST):
            wanted = arg if arg < locks else wanted
        elif code == R_LOCK:
            held.setdefault(stream, []).append(arg)
        elif code == R_UNLOCK:
            mine = held.get(stream, [])
            if gave is not None and gave[0] == stream:
                to_the_last += 1
                gave = None
            if arg in mine:
                mine.remove(arg)
            if mine and raised_by.get(stream) == arg:
                gave = (stream, arg)
            if not mine:
                raised_by.pop(stream, None)
        elif gave is not None and gave[0] == stream and arg <= x.base[stream]:
            at_once += 1
            gave = None
        elif wanted in held.get(stream, []):
            raised_by[stream] = wanted
    return to_the_last > at_once

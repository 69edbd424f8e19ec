"""From counter values to a time that only goes on: wraps, restarts and late records.

The cores share one counter unless `#clock core=` gives a core its own. A counter of `bits` wraps
at 2**bits; a step back of more than half of that is a wrap. Other steps back, from the greatest
time seen on any core of that counter, are a record written late, if within `late_us`; else the
target restarted. A step ahead by all but `late_us` of the counter's range, after a wrap, is a
record from before it.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from tracelens.compiled import compiled
from tracelens.errors import LogError
from tracelens.model.system import Clock
from tracelens.units import NS_PER_S

MOST_BOOTS: Final = 65_536
"""The event table counts boots in a UInt16."""

_COUNTED_BITS: Final = 60
"""Counters of more bits are taken relative to their first value, and never seen to wrap."""
MOST_TICKS: Final = 2**61
_TOO_MANY_BOOTS: Final = -1
_TOO_LONG: Final = -2

# Columns of the state of a counter
_SEEN, _RAW, _TIME, _WRAPPED, _SILENCE, _SILENT_ROW = range(6)


@dataclass(frozen=True, slots=True)
class Counters:
    """Which counter each core's times come from: `clocks[of_core[core]]`; −1 where none is.

    `origin` has a value of each counter (UInt64) from which those of wide ones are counted.
    """

    clocks: tuple[Clock, ...]
    of_core: np.ndarray
    origin: np.ndarray

    @classmethod
    def of(cls, clocks: tuple[Clock, ...], raw: np.ndarray, core: np.ndarray) -> "Counters":
        """The counters declared (the shared one first) of a log with these times and cores."""
        of_core = counters_of_cores(clocks)
        origin = np.zeros(len(clocks), np.uint64)
        if len(clocks) == 1:
            origin[:] = raw[:1]
        else:
            _, first_rows = np.unique(core, return_index=True)
            for row in sorted(first_rows, reverse=True):
                origin[of_core[core[row]]] = raw[row]
        return cls(clocks, of_core, origin)


@dataclass(frozen=True, slots=True)
class Unwrapped:
    """Times of one file that only go on: by row, in ticks of the row's counter, and its boot.

    `restarts`: (row, whether a header stands there) for each boot but the first.
    `silences`: (row, ticks) for each counter's longest step of half its range or more.
    """

    ticks: np.ndarray
    boot: np.ndarray
    restarts: list[tuple[int, bool]]
    silences: list[tuple[int, int]]


def counters_of_cores(clocks: tuple[Clock, ...]) -> np.ndarray:
    """The index in `clocks` of each core's counter, by core; −1 where there is none."""
    of_core = np.full(256, -1, np.int64)
    for index, clock in enumerate(clocks):
        of_core[slice(None) if clock.core is None else clock.core] = index
    return of_core


def late_ticks(clock: Clock) -> int:
    """How many ticks a record may be late; never more than a quarter of the counter's range."""
    return int(min(clock.late_ns * clock.hz // NS_PER_S, 2**clock.bits // 4))


def unwrap(
    raw: np.ndarray, core: np.ndarray, counters: Counters, headers: list[int], name: str
) -> Unwrapped:
    """Unwrap the times of one file.

    `raw`: counter values as written (UInt64), each below 2**bits; `core`: the cores that wrote
    them, each with a counter; `headers`: rows before which a header stands. Raises `LogError` if
    the counter runs for longer than can be held, or the target restarts too often.
    """
    clocks = counters.clocks
    ticks = _signed(raw, core, counters, name)
    marks = np.array([row for row in headers if 0 < row < len(raw)], np.int64)
    if len(clocks) == 1 and not len(marks) and bool((ticks[1:] >= ticks[:-1]).all()):
        return Unwrapped(ticks, np.zeros(len(raw), np.int32), [], silence(raw, clocks[0]))
    time, boot = np.empty(len(raw), np.int64), np.empty(len(raw), np.int32)
    span = np.array([0 if c.bits > _COUNTED_BITS else 2**c.bits for c in clocks], np.int64)
    late = np.array([late_ticks(c) for c in clocks], np.int64)
    state = np.zeros((len(clocks), 6), np.int64)
    restarts = np.zeros((MOST_BOOTS, 2), np.int64)
    boots = compiled(follow, len(raw))(
        ticks, core, counters.of_core, span, late, marks, state, time, boot, restarts
    )
    if boots == _TOO_MANY_BOOTS:
        raise LogError(
            f"time steps back {MOST_BOOTS} times by more than late_us: "
            "expected lines in the order in which they happened",
            place=name,
            hint="sort the lines by time, or declare a greater late_us in #clock",
        )
    if boots == _TOO_LONG:
        raise too_long(name)
    return Unwrapped(
        time,
        boot,
        [(int(row), bool(header)) for row, header in restarts[1 : boots + 1]],
        [(int(s[_SILENT_ROW]), int(s[_SILENCE])) for s in state if s[_SILENCE]],
    )


def _signed(raw: np.ndarray, core: np.ndarray, counters: Counters, name: str) -> np.ndarray:
    """Counter values as int64: of wide counters, the distance from the counter's origin."""
    ticks: np.ndarray = raw.view(np.int64)
    for index, clock in enumerate(counters.clocks):
        if clock.bits <= _COUNTED_BITS:
            continue
        one = len(counters.clocks) == 1
        rows = slice(None) if one else np.flatnonzero(counters.of_core[core] == index)
        spare = 64 - clock.bits
        ahead = (raw[rows] - counters.origin[index]) << np.uint64(spare)
        distance: np.ndarray = ahead.view(np.int64) >> spare
        if len(distance) and max(int(distance.max()), -int(distance.min())) > MOST_TICKS:
            raise too_long(name)
        if isinstance(rows, slice):
            return distance
        ticks = ticks.copy()
        ticks[rows] = distance
    return ticks


def silence(raw: np.ndarray, clock: Clock) -> list[tuple[int, int]]:
    """The longest step of rising counter values: (row, ticks), if it is half the range or more."""
    half = 2**clock.bits // 2
    if int(raw[-1]) - int(raw[0]) < half:
        return []
    steps = np.diff(raw)
    longest = int(steps.argmax())
    return [(longest + 1, int(steps[longest]))] if int(steps[longest]) >= half else []


def too_long(name: str) -> LogError:
    """The error of a log whose last time cannot be counted in nanoseconds."""
    return LogError(
        "the log spans more time than nanoseconds in 63 bits can count (292 years)",
        place=name,
        hint="check hz and bits in #clock, and the log for damaged times",
    )


def follow(
    ticks: np.ndarray,
    core: np.ndarray,
    of_core: np.ndarray,
    span: np.ndarray,
    late: np.ndarray,
    marks: np.ndarray,
    state: np.ndarray,
    time: np.ndarray,
    boot: np.ndarray,
    restarts: np.ndarray,
) -> int:
    """Fill `time` and `boot` row by row; the number of restarts, or what went wrong (negative).

    `state` has a row for each counter; `restarts` takes (row, header) from index 1 on.
    """
    boots = 0
    mark = 0
    for i in range(len(ticks)):
        c = of_core[core[i]]
        t = ticks[i]
        header = mark < len(marks) and marks[mark] == i
        step = 0
        if header:
            mark += 1
        elif state[c, _SEEN] == 1:
            step = t - state[c, _RAW]
            if span[c] > 0:
                if -2 * step > span[c]:
                    step += span[c]
                    state[c, _WRAPPED] = 1
                elif state[c, _WRAPPED] == 1 and step >= span[c] - late[c]:
                    step -= span[c]
        if header or step < -late[c]:
            boots += 1
            if boots >= len(restarts):
                return _TOO_MANY_BOOTS
            restarts[boots, 0] = i
            restarts[boots, 1] = 1 if header else 0
            step = 0
            for other in range(len(state)):
                state[other, _SEEN] = 0
                state[other, _WRAPPED] = 0
        if state[c, _SEEN] == 0:
            state[c, _SEEN] = 1
            state[c, _RAW] = t
            state[c, _TIME] = t
        time[i] = state[c, _TIME] + step
        boot[i] = boots
        if step > 0:
            state[c, _RAW] = t
            state[c, _TIME] = time[i]
            if time[i] > MOST_TICKS:
                return _TOO_LONG
            if span[c] > 0 and 2 * step >= span[c] and step > state[c, _SILENCE]:
                state[c, _SILENCE] = step
                state[c, _SILENT_ROW] = i
    return boots

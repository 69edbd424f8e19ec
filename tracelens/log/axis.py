"""One time axis: counters in step, slept ticks added, ticks as nanoseconds, boots end to end."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import polars as pl

from tracelens.handed import as_column
from tracelens.log.clock import MOST_TICKS, Counters, too_long
from tracelens.model.events import CODE
from tracelens.model.system import Clock
from tracelens.room import empty
from tracelens.units import NS_PER_S

_INT64_MAX: Final = 2**63 - 1
_MOST_SECONDS: Final = _INT64_MAX // NS_PER_S


@dataclass(frozen=True, slots=True)
class Ticks:
    """The events of a log before they have a common time: one row an event, in the files' order.

    `ticks`: unwrapped, of the row's counter; `boot`; `core`; `file`: from 0, ascending, 0
    everywhere unless each file has cores of its own; `slept`: ticks that the counter stood still
    before this event, None if no event says so.
    """

    ticks: np.ndarray
    boot: np.ndarray
    core: np.ndarray
    file: np.ndarray | None
    slept: np.ndarray | None


@dataclass(frozen=True, slots=True)
class Axis:
    """`time_ns` by row; the rows in order of time (None: as they stand); when later boots begin."""

    time_ns: np.ndarray
    order: np.ndarray | None
    restarts: tuple[int, ...]


def slept_ticks(events: pl.DataFrame) -> np.ndarray | None:
    """Ticks that the counter stood still before each event; None if no event says so."""
    rows = (events["event"].to_physical() == CODE["wake"]).arg_true().to_numpy()
    ticks = events["value"].gather(rows).cast(pl.String).cast(pl.Int64).fill_null(0).to_numpy()
    if not ticks.any():
        return None
    slept = np.zeros(len(events), np.int64)
    slept[rows] = ticks
    return slept


def straight(table: pl.DataFrame, clock: Clock, name: str) -> pl.Series | None:
    """`time_ns` of a log of one boot, one counter and no sleep, if its times only go on.

    The same as `lay_out` gives, without its arrays. None if the times do not.
    """
    time = table["time"]
    if not time.is_sorted():
        return None
    first, last = int(time[0]), int(time[-1])
    if last - first > MOST_TICKS or (last - first) // clock.hz >= _MOST_SECONDS:
        raise too_long(name)
    ticks = empty(len(time), np.int64)
    np.subtract(time.to_numpy(), np.uint64(first), out=ticks.view(np.uint64))
    return as_column(to_ns(ticks, clock.hz, name, out=ticks), "time_ns")


def lay_out(log: Ticks, counters: Counters, name: str) -> Axis:
    """Give every event its time.

    Each boot begins where the one before ended. A counter that a core has to itself is tied to
    the others by the log's order: its first record has the time of the latest record before it
    in its file and boot, or is the boot's first event if it stands first.
    """
    boots = int(log.boot.max()) + 1
    one = len(counters.clocks) == 1
    which = None if one else counters.of_core[log.core]
    group = log.boot if which is None else log.boot * len(counters.clocks) + which
    groups = boots * len(counters.clocks)
    ticks = log.ticks if log.file is None else _in_step(log, counters)
    if log.slept is not None:
        if float(log.slept.sum(dtype=np.float64)) > MOST_TICKS:
            raise too_long(name)
        ticks = _with_sleep(ticks, group, log.slept)
    least = _least(ticks, group, groups)
    since = ticks - (least[0] if groups == 1 else least[group])
    if which is None:
        time = to_ns(since, counters.clocks[0].hz, name)
    else:
        time = np.empty(len(ticks), np.int64)
        for index, clock in enumerate(counters.clocks):
            rows = np.flatnonzero(which == index)
            time[rows] = to_ns(since[rows], clock.hz, name)
        time += _ties(time, group, groups, log)[group]
    begins = _in_line(time, log.boot, boots, name)
    if boots > 1:
        time += begins[log.boot]
    return Axis(time, _order(time, log.boot, boots), tuple(begins[1:].tolist()))


def to_ns(ticks: np.ndarray, hz: int, name: str, *, out: np.ndarray | None = None) -> np.ndarray:
    """Ticks, 0 or more, as whole nanoseconds, rounded down: seconds and the rest apart.

    In `out`, if it can be done there.
    """
    if int(ticks.max(initial=0)) // hz >= _MOST_SECONDS:
        raise too_long(name)
    if NS_PER_S % hz == 0:
        return np.asarray(np.multiply(ticks, NS_PER_S // hz, out=out))
    seconds, rest = np.divmod(ticks, hz)
    ns: np.ndarray = seconds * NS_PER_S + rest * NS_PER_S // hz
    return ns


def _least(values: np.ndarray, group: np.ndarray, groups: int) -> np.ndarray:
    least = np.full(groups, _INT64_MAX, np.int64)
    if groups == 1:
        least[0] = values.min()
    else:
        np.minimum.at(least, group, values)
    return least


def _in_step(log: Ticks, counters: Counters) -> np.ndarray:
    """Ticks of several files of one shared counter, moved by whole ranges so that they meet.

    Each file was unwrapped by itself; the first records of a boot are taken to be less than half
    the counter's range apart.
    """
    assert log.file is not None
    ticks, shared = log.ticks.copy(), counters.clocks[0]
    if shared.core is not None:
        return ticks
    span, files = 2**shared.bits, int(log.file[-1]) + 1
    rows = np.flatnonzero(counters.of_core[log.core] == 0)
    key = log.boot[rows] * files + log.file[rows]
    shift = np.zeros(int(log.boot.max() + 1) * files, np.int64)
    first: dict[int, int] = {}
    for row in rows[np.unique(key, return_index=True)[1]].tolist():
        boot, here = int(log.boot[row]), int(log.ticks[row])
        away = here - first.setdefault(boot, here)
        shift[boot * files + log.file[row]] = (away + span // 2) // span * span
    ticks[rows] -= shift[key]
    return ticks


def _with_sleep(ticks: np.ndarray, group: np.ndarray, slept: np.ndarray) -> np.ndarray:
    """Ticks, with those added that the counter stood still: from each wake on, in its group.

    What earlier groups slept is added to all of a group alike: only distances in it mean anything.
    """
    order = np.lexsort((ticks, group))
    awake = ticks.copy()
    awake[order] += np.cumsum(slept[order])
    return awake


def _ties(time: np.ndarray, group: np.ndarray, groups: int, log: Ticks) -> np.ndarray:
    """For each group (boot and counter), the time at which its first event stands."""
    ties = np.zeros(groups, np.int64)
    _, firsts = np.unique(group, return_index=True)
    file = np.zeros(len(time), np.int64) if log.file is None else log.file
    begins = np.flatnonzero((np.diff(log.boot, prepend=-1) != 0) | (np.diff(file, prepend=-1) != 0))
    for row in np.sort(firsts).tolist():
        begin = int(begins[np.searchsorted(begins, row, "right") - 1])
        if begin < row:
            earlier = slice(begin, row)
            latest = int((time[earlier] + ties[group[earlier]]).max())
            ties[group[row]] = max(0, latest - int(time[row]))
    return ties


def _in_line(time: np.ndarray, boot: np.ndarray, boots: int, name: str) -> np.ndarray:
    """Where each boot begins: at the end of the one before."""
    ends = np.zeros(boots, np.int64)
    if boots == 1:
        return ends
    np.maximum.at(ends, boot, time)
    if sum(ends.tolist()) > _INT64_MAX:
        raise too_long(name)
    return np.concatenate(([0], np.cumsum(ends)[:-1]))


def _order(time: np.ndarray, boot: np.ndarray, boots: int) -> np.ndarray | None:
    if bool((time[1:] >= time[:-1]).all()) and bool((boot[1:] >= boot[:-1]).all()):
        return None
    return np.lexsort((time, boot)) if boots > 1 else np.argsort(time, kind="stable")

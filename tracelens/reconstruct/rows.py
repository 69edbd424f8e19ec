"""Finished rows, taken out of the machine's buffers and kept as the columns of the tables to be.

A column is as narrow as what it may hold: making room for it, which the machine does page by page,
costs more than filling it.
"""

from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise
from typing import Any, Final

import numpy as np
import polars as pl

from tracelens.errors import LogError
from tracelens.numbers import percent
from tracelens.reconstruct import arena as a
from tracelens.reconstruct.names import Named
from tracelens.room import empty

_BUFFERS: Final = (
    (a.STATE_ROWS, a.STATE_SPARE, a.STATE_USED, a.STATE_CAP, a.STATE_WIDTH),
    (a.OCCUPANT_ROWS, a.OCCUPANT_SPARE, a.OCCUPANT_USED, a.OCCUPANT_CAP, a.OCCUPANT_WIDTH),
    (a.EPISODE_ROWS, a.EPISODE_SPARE, a.EPISODE_USED, a.EPISODE_CAP, a.EPISODE_WIDTH),
    (a.JOB_ROWS, a.JOB_SPARE, a.JOB_USED, a.JOB_CAP, a.JOB_OUT_WIDTH),
    (a.RECORD_ROWS, a.RECORD_SPARE, a.RECORD_USED, a.RECORD_CAP, a.RECORD_WIDTH),
)
STATES, EPISODES, JOBS = range(3)

_RECORD_FIELDS: Final = {
    a.R_HOLD: 6,
    a.R_WAIT: 8,
    a.R_INVERSION: 11,
    a.R_LINK: 3,
    a.R_THIRD: 3,
    a.R_DEADLOCK: 5,
    a.R_ISR: 7,
    a.R_LEVEL: 3,
    a.R_ITEM: 3,
    a.R_MASK: 5,
    a.R_CONTRADICTION: 6,
    a.R_REPAIR: 2,
    a.R_UNUSED: 2,
    a.R_OVERRIDE: 3,
}
"""How many fields a record of each rarer kind has."""

Columns = list[np.ndarray]


class Rows:
    """Finished rows as columns that grow as they are collected.

    STATES: start, end, what is waited for, state, core, task. EPISODES: machine's job number,
    start, end, via, by, entry. JOBS: as `line.emit_job` writes them. Apart for each core its
    occupants: start, end, who (handlers count on from the tasks), occupant. Of all these, what may
    be nothing (waited for, core of a state, who, via, by) is kept plus one, 0 being nothing.

    There may be `most` rows in all.
    """

    def __init__(self, named: Named, most: int) -> None:
        self._most = most
        self.count = 0
        tasks, cores = len(named.system.tasks), len(named.system.cores)
        task, actor = _narrow(tasks), _narrow(tasks + len(named.system.isrs))
        thing = _narrow(len(named.objects) + 1)  # one more for 'mask'
        long = np.int64
        self._groups = (
            _Group((long, long, thing, np.uint8, _narrow(cores), task)),
            _Group((long, long, long, thing, actor, np.uint8)),
            _Group((long, task, long, long, long, np.uint8, np.int32, long, long, long)),
        )
        self._occupants = [_Group((long, long, actor, np.uint8)) for _ in range(max(cores, 1))]
        self._records = {kind: _Group((np.int64,) * n) for kind, n in _RECORD_FIELDS.items()}

    def collect(self, memory: np.ndarray, share_done: float) -> list[Callable[[], None]]:
        """Take the finished rows off the arena's buffers, which are swapped for the spare ones.

        What is returned does the copying, each a part of it, in any threads, and must have done it
        before the next call. `share_done` of the events has been taken: how many rows there will
        be is judged by it, so that the columns are rarely moved. Raises `LogError` if there are
        too many.
        """
        blocks = []
        for base, spare, used, limit, width in _BUFFERS:
            count, start, cap = int(memory[used]), int(memory[base]), int(memory[limit])
            blocks.append(memory[start : start + width * cap].reshape(width, cap)[:, :count])
            memory[base], memory[spare], memory[used] = memory[spare], start, 0
            self.count += count
        if self.count > self._most:
            raise too_much(share_done)

        def copier(unpacked: Iterator[tuple[_Group, Sequence[Any]]]) -> Callable[[], None]:
            def copy() -> None:
                for group, values in unpacked:
                    group.add(values, share_done)

            return copy

        states, occupants, episodes, jobs, records = blocks
        return [
            copier(self._of_time(states, occupants)),
            copier(self._of_jobs(episodes, jobs, records)),
        ]

    def _of_time(
        self, states: np.ndarray, occupants: np.ndarray
    ) -> Iterator[tuple["_Group", Sequence[Any]]]:
        yield (
            self._groups[STATES],
            (*states[:2], *_fields(states[2], a.NAME_BITS, a.STATE_BITS, a.CORE_BITS)),
        )
        who, occupant, core = _fields(occupants[2], a.NAME_BITS, a.STATE_BITS)
        core = core.astype(np.uint16)
        order = np.argsort(core, kind="stable")  # by digits, for it is narrow
        fields = [field[order] for field in (*occupants[:2], who, occupant)]
        cuts = np.cumsum([0, *np.bincount(core, minlength=len(self._occupants))]).tolist()
        for group, (first, end) in zip(self._occupants, pairwise(cuts), strict=True):
            yield group, [field[first:end] for field in fields]

    def _of_jobs(
        self, episodes: np.ndarray, jobs: np.ndarray, records: np.ndarray
    ) -> Iterator[tuple["_Group", Sequence[Any]]]:
        yield (
            self._groups[EPISODES],
            (*episodes[:3], *_fields(episodes[3], a.NAME_BITS, a.NAME_BITS)),
        )
        yield self._groups[JOBS], tuple(jobs)
        kinds = records[0].astype(np.int8)
        for kind in np.flatnonzero(np.bincount(kinds, minlength=len(_RECORD_FIELDS))).tolist():
            chosen = np.flatnonzero(kinds == kind)
            fields = records[1 : 1 + _RECORD_FIELDS[kind]]
            yield self._records[kind], [field[chosen] for field in fields]

    def columns(self, kind: int) -> Columns:
        """The columns of the rows of one kind."""
        return self._groups[kind].columns()

    def give_up(self, kind: int) -> Columns:
        """The columns of the rows of one kind, which are not kept here any longer."""
        return self._groups[kind].give_up()

    def occupants(self) -> list[Columns]:
        """The columns of the occupants of each core, which are not kept here any longer."""
        return [group.give_up() for group in self._occupants]

    def records(self, kind: int) -> Columns:
        """The fields of the rows of one rarer kind, a column each, not kept any longer."""
        return self._records[kind].give_up()

    def all(self) -> tuple["_Group", ...]:
        """Every group of columns, in the same order for every log."""
        return (*self._groups, *self._occupants, *self._records.values())


def too_much(share_done: float) -> LogError:
    """The error of a log whose tasks under way, at each event, are too many to tell of."""
    return LogError(
        f"too much happens at once: found {percent(share_done)} of the events to make as many "
        "entries of ledgers as may be, expected all of them to make fewer",
        hint="the tasks that are under way at once are many: cut a part of the log out",
    )


def joined(boots: list[Rows]) -> Rows:
    """The rows of all boots, one after the other; the parts are given up."""
    whole = boots[0]
    for groups in zip(*(rows.all() for rows in boots), strict=True) if len(boots) > 1 else ():
        parts = zip(*(group.give_up() for group in groups), strict=True)
        groups[0].put([np.concatenate(part) for part in parts])
    return whole


class _Group:
    """Columns of equal length that grow."""

    def __init__(self, kinds: Sequence[Any]) -> None:
        self._columns = [np.empty(0, kind) for kind in kinds]
        self._count = 0

    def add(self, values: Sequence[np.ndarray], share_done: float) -> None:
        count, at = len(values[0]), self._count
        if not count:
            return
        self._make_room(at + count, share_done)
        for column, more in zip(self._columns, values, strict=True):
            column[at : at + count] = more
        self._count = at + count

    def _make_room(self, needed: int, share_done: float) -> None:
        if needed <= len(self._columns[0]):
            return
        size = max(needed, int(needed / max(share_done, 0.05) * 1.02))
        for position, column in enumerate(self._columns):
            larger = empty(size, column.dtype)
            larger[: self._count] = column[: self._count]
            self._columns[position] = larger

    def columns(self) -> Columns:
        return [column[: self._count] for column in self._columns]

    def give_up(self) -> Columns:
        columns = self.columns()
        self.put([np.empty(0, column.dtype) for column in columns])
        return columns

    def put(self, columns: Columns) -> None:
        self._columns, self._count = columns, len(columns[0])


def narrow(names: int) -> type[pl.UInt8 | pl.UInt16 | pl.UInt32]:
    """The type that polars keeps so many categories in; it has room for one more."""
    return pl.UInt8 if names <= 255 else pl.UInt16 if names <= 65_535 else pl.UInt32


def _narrow(names: int) -> Any:
    return {pl.UInt8: np.uint8, pl.UInt16: np.uint16, pl.UInt32: np.uint32}[narrow(names)]


def taken(column: np.ndarray, rows: np.ndarray) -> np.ndarray:
    """The elements at `rows`."""
    return np.take(column, rows, out=empty(len(rows), column.dtype), mode="clip")


def _fields(codes: np.ndarray, *bits: int) -> Iterator[np.ndarray]:
    """The fields of packed codes, lowest first, of so many bits each; the rest is the last."""
    for width in bits:
        yield codes & (1 << width) - 1
        codes = codes >> width
    yield codes

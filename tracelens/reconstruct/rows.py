"""Finished rows, taken out of the machine's buffers and kept as columns."""

from collections.abc import Callable

import numpy as np

from tracelens.compiled import compiled
from tracelens.reconstruct import arena as a
from tracelens.reconstruct.arena import Memory

_BUFFERS = (
    (a.STATE_ROWS, a.STATE_SPARE, a.STATE_USED, a.STATE_CAP, a.STATE_WIDTH),
    (a.OCCUPANT_ROWS, a.OCCUPANT_SPARE, a.OCCUPANT_USED, a.OCCUPANT_CAP, a.OCCUPANT_WIDTH),
    (a.EPISODE_ROWS, a.EPISODE_SPARE, a.EPISODE_USED, a.EPISODE_CAP, a.EPISODE_WIDTH),
    (a.JOB_ROWS, a.JOB_SPARE, a.JOB_USED, a.JOB_CAP, a.JOB_OUT_WIDTH),
    (a.RECORD_ROWS, a.RECORD_SPARE, a.RECORD_USED, a.RECORD_CAP, a.RECORD_WIDTH),
)
STATES, OCCUPANTS, EPISODES, JOBS, RECORDS = range(5)
_WIDTHS = (a.STATE_WIDTH, a.OCCUPANT_WIDTH, a.EPISODE_WIDTH, a.JOB_OUT_WIDTH, a.RECORD_WIDTH)


def unpacked(codes: np.ndarray, *bits: int) -> list[np.ndarray]:
    """The fields of packed codes, lowest first, of so many bits each; the rest is the last.

    Fields wider than a state may be NONE, and were kept plus one.
    """
    fields = [np.empty(len(codes), np.int32) for _ in range(len(bits) + 1)]
    shift = 0
    for width, field in zip((*bits, 63), fields, strict=True):
        kept_plus_one = a.STATE_BITS < width < 63
        take = compiled(_take_field, len(codes))
        take(codes, shift, (1 << width) - 1, int(kept_plus_one), field)
        shift += width
    return fields


def _take_field(codes: Memory, shift: int, mask: int, less: int, field: Memory) -> None:
    for i in range(len(codes)):
        field[i] = (codes[i] >> shift & mask) - less


class Rows:
    """Finished rows as columns, one group a buffer, that grow as they are collected."""

    def __init__(self) -> None:
        self._columns = [[np.empty(0, np.int64) for _ in range(width)] for width in _WIDTHS]
        self._counts = [0] * len(_WIDTHS)
        self._by_kind: list[np.ndarray] | None = None

    def collect(self, memory: np.ndarray, share_done: float) -> Callable[[], None]:
        """Take the finished rows off the arena's buffers, which are swapped for the spare ones.

        What is returned does the copying, in any thread, and must have done it before the next
        call. `share_done` of the events has been taken: how many rows there will be is judged by
        it, so that the columns are rarely moved.
        """
        blocks = []
        for base, spare, used, limit, width in _BUFFERS:
            count, start, cap = int(memory[used]), int(memory[base]), int(memory[limit])
            blocks.append(memory[start : start + width * cap].reshape(width, cap)[:, :count])
            memory[base], memory[spare], memory[used] = memory[spare], start, 0

        def copy() -> None:
            for number, block in enumerate(blocks):
                at, count = self._counts[number], block.shape[1]
                if count:
                    self._make_room(number, at + count, share_done)
                    for column, values in zip(self._columns[number], block, strict=True):
                        column[at : at + count] = values
                    self._counts[number] = at + count

        return copy

    def _make_room(self, number: int, needed: int, share_done: float) -> None:
        columns = self._columns[number]
        if needed <= len(columns[0]):
            return
        size = max(needed, int(needed / max(share_done, 0.05) * 1.02))
        for position, column in enumerate(columns):
            larger = np.empty(size, column.dtype)
            larger[: self._counts[number]] = column[: self._counts[number]]
            columns[position] = larger

    def put(self, buffer: int, columns: list[np.ndarray]) -> None:
        """Make these the columns of one buffer."""
        self._columns[buffer] = columns
        self._counts[buffer] = len(columns[0])

    def columns(self, buffer: int) -> list[np.ndarray]:
        """The columns of one buffer."""
        return [column[: self._counts[buffer]] for column in self._columns[buffer]]

    def give_up(self, buffer: int) -> list[np.ndarray]:
        """The columns of one buffer, which are not kept here any longer."""
        columns = self.columns(buffer)
        self._columns[buffer] = []
        return columns

    def jobs(self) -> np.ndarray:
        """Job rows as one array of (rows, fields)."""
        return np.stack(self.columns(JOBS), axis=1)

    def records(self, kind: int, fields: int) -> np.ndarray:
        """The first so many fields of the rows of one rarer kind, (fields, rows)."""
        if self._by_kind is None:
            kinds = self.columns(RECORDS)[0]
            order = np.argsort(kinds.astype(np.int8), kind="stable")
            bounds = np.searchsorted(kinds[order], np.arange(a.R_OVERRIDE + 2))
            self._by_kind = np.split(order, bounds[1:-1])
        chosen = self._by_kind[kind]
        return np.stack([f[chosen] for f in self.columns(RECORDS)[1 : fields + 1]])


def joined(boots: list[Rows]) -> Rows:
    """The rows of all boots, one after the other; the parts are given up."""
    if len(boots) == 1:
        return boots[0]
    whole = Rows()
    for buffer in range(len(_WIDTHS)):
        parts = zip(*(rows.give_up(buffer) for rows in boots), strict=True)
        whole.put(buffer, [np.concatenate(part) for part in parts])
    return whole

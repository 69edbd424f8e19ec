"""Finished rows, taken out of the machine's buffers and kept as columns."""

import numpy as np

from tracelens.reconstruct import arena as a

_BUFFERS = (
    (a.STATE_ROWS, a.STATE_USED, a.STATE_WIDTH),
    (a.OCCUPANT_ROWS, a.OCCUPANT_USED, a.OCCUPANT_WIDTH),
    (a.EPISODE_ROWS, a.EPISODE_USED, a.EPISODE_WIDTH),
    (a.JOB_ROWS, a.JOB_USED, a.JOB_OUT_WIDTH),
    (a.RECORD_ROWS, a.RECORD_USED, a.RECORD_WIDTH),
)
STATES, OCCUPANTS, EPISODES, JOBS, RECORDS = range(5)
_CODE, _TIME = np.int32, np.int64
_TYPES = (
    (_CODE, _TIME, _TIME, np.int8, np.int16, _CODE),
    (np.int16, _TIME, _TIME, np.int8, _CODE),
    (_TIME, _TIME, _TIME, np.int8, _CODE, _CODE),
    (_TIME,) * a.JOB_OUT_WIDTH,
    (_TIME,) * a.RECORD_WIDTH,
)
"""Per buffer and field the type that its column is kept in."""


class Rows:
    """Finished rows as columns, one group a buffer, that grow as they are collected."""

    def __init__(self) -> None:
        self._columns = [[np.empty(0, dtype) for dtype in types] for types in _TYPES]
        self._counts = [0] * len(_TYPES)

    def collect(self, memory: np.ndarray, share_done: float) -> None:
        """Take the finished rows out of the arena's buffers.

        `share_done` of the events has been taken: how many rows there will be is judged by it,
        so that the columns are rarely moved.
        """
        for number, (base, used, width) in enumerate(_BUFFERS):
            count = int(memory[used])
            if not count:
                continue
            start = int(memory[base])
            block = memory[start : start + count * width].reshape(count, width)
            at = self._counts[number]
            self._make_room(number, at + count, share_done)
            for column, values in zip(self._columns[number], block.T, strict=True):
                column[at : at + count] = values
            self._counts[number] = at + count
            memory[used] = 0

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

    def records(self, kind: int) -> np.ndarray:
        """The rows of one rarer kind, (rows, fields), without the kind."""
        columns = self.columns(RECORDS)
        chosen = np.flatnonzero(columns[0] == kind)
        return np.stack([column[chosen] for column in columns[1:]], axis=1)


def joined(boots: list[Rows]) -> Rows:
    """The rows of all boots, one after the other; the parts are given up."""
    if len(boots) == 1:
        return boots[0]
    whole = Rows()
    for buffer in range(len(_TYPES)):
        parts = zip(*(rows.give_up(buffer) for rows in boots), strict=True)
        whole.put(buffer, [np.concatenate(part) for part in parts])
    return whole

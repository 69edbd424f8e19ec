"""From the bytes of a log to its events as columns, and every line that is none: one pass.

The bytes are cut at line ends into one piece for each core of this machine. A token is looked up
in a table of those seen before, so that a column holds its number; what stands between the commas
is looked at once (`take`).
"""

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
import polars as pl

from tracelens.compiled import compiled, is_compiled
from tracelens.log.grammar import PLACES, packed_words
from tracelens.log.take import (
    AT_SIZE,
    END,
    FOUND,
    FOUND_WIDTH,
    LINE,
    POSITION,
    ROOM_FOUND,
    ROOM_TOKENS,
    ROW,
    TEXT_WIDTH,
    TOKENS,
    WHOLE,
    count_lines,
    fill_slots,
    take_lines,
)
from tracelens.model.events import EVENT as EVENT_TYPE

_BYTES_A_ROW: Final = 16  # an event's line is hardly ever shorter
_PIECE: Final = 1 << 22  # what is shorter is not worth a thread
_NO_TOKEN: Final = np.uint32(2**32 - 1)


@dataclass(frozen=True, slots=True)
class Scanned:
    """What stands in the bytes of one part.

    `events`: the columns of `lines.FIELDS`, then `line`, one row an event. `others`: every line
    that is no event, in order, as (start, end, 1-based number, what it is): the line is
    data[start:end], its line feed left out; `what` is one of `grammar`'s constants. A last line
    without a line feed is a line like any other. `lines`: how many there are, of whatever kind.
    """

    events: pl.DataFrame
    others: np.ndarray
    lines: int


def in_machine_code(data: bytes) -> bool:
    """Whether this pass over so much is compiled."""
    return is_compiled(len(data) // _BYTES_A_ROW)


def scan(data: bytes | bytearray) -> Scanned:
    """Take `data`, UTF-8 with line feeds, apart."""
    rows = len(data) // _BYTES_A_ROW
    octets = np.frombuffer(data, np.uint8)
    bounds = _bounds(data, os.cpu_count() or 1 if is_compiled(rows) else 1)
    whole = data.rfind(b"\n") + 1
    with ThreadPoolExecutor(len(bounds)) as pool:
        count = compiled(count_lines, rows, pointers=True)
        lines = list(pool.map(lambda piece: count(octets, *piece), bounds))
        columns = _Columns.of(sum(lines) + 1)
        first_lines = np.cumsum([0, *lines]).tolist()
        pieces = [
            _Piece(octets, bound, whole, columns, first, rows)
            for bound, first in zip(bounds, first_lines, strict=False)
        ]
        list(pool.map(_Piece.run, pieces))
        for piece in pieces:
            piece.name_tokens(data)
        list(pool.map(_Piece.give_names, pieces))
    return Scanned(
        columns.table([(piece.first_row, piece.rows) for piece in pieces]),
        np.concatenate([piece.others for piece in pieces]),
        sum(lines) + (whole < len(data)),
    )


def _bounds(data: bytes | bytearray, most: int) -> list[tuple[int, int]]:
    """Where the pieces begin and end, at line ends."""
    count = max(1, min(most, len(data) // _PIECE))
    cuts = [0]
    for number in range(1, count):
        cut = data.find(b"\n", len(data) * number // count) + 1
        if cut > cuts[-1]:
            cuts.append(cut)
    return list(pairwise([*cuts, len(data)]))


@dataclass(frozen=True, slots=True)
class _Columns:
    """The columns of all events; those of a piece begin where it would if all lines were events."""

    time: np.ndarray
    core: np.ndarray
    kind: np.ndarray
    subject: np.ndarray
    value: np.ndarray
    line: np.ndarray

    @classmethod
    def of(cls, room: int) -> "_Columns":
        kinds = (np.int64, np.uint8, np.uint8, np.uint32, np.uint32, np.uint32)
        return cls(*(np.empty(room, kind) for kind in kinds))

    def arrays(self) -> tuple[np.ndarray, ...]:
        return self.time, self.core, self.kind, self.subject, self.value, self.line

    def table(self, filled: list[tuple[int, int]]) -> pl.DataFrame:
        """The events of all pieces, given as (first row, rows); the arrays are used up."""
        rows = 0
        for first, count in filled:
            if first > rows:  # some lines before were no events
                for array in self.arrays():
                    array[rows : rows + count] = array[first : first + count]
            rows += count
        token = pl.Categorical()
        return pl.DataFrame(
            {
                "time": self.time[:rows].view(np.uint64),
                "core": self.core[:rows],
                "event": pl.Series(self.kind[:rows]).cat.to(EVENT_TYPE),
                "subject": self.subject[:rows],
                "value": self.value[:rows],
                "line": self.line[:rows],
            }
        ).with_columns(
            pl.when(pl.col(name) != _NO_TOKEN).then(pl.col(name)).cat.to(token).alias(name)
            for name in ("subject", "value")
        )


class _Piece:
    """The pass over some of the lines, with the tokens that it has met."""

    def __init__(
        self,
        octets: np.ndarray,
        bound: tuple[int, int],
        whole: int,
        columns: _Columns,
        first_row: int,
        rows_of_log: int,
    ) -> None:
        self.first_row = first_row
        self._octets, self._columns, self._rows_of_log = octets, columns, rows_of_log
        self._at = at = np.zeros(AT_SIZE, np.int64)
        at[POSITION], at[END] = bound
        at[WHOLE], at[ROW], at[LINE] = whole, first_row, first_row
        at[ROOM_TOKENS], at[ROOM_FOUND] = 1 << 10, 1 << 10
        self._slots = np.zeros(4 << 10, np.uint32)
        self._texts = np.zeros(TEXT_WIDTH << 10, np.int64)
        self._found = np.empty(FOUND_WIDTH << 10, np.int64)
        self._codes = np.empty(0, np.uint32)
        self._named = pl.Series(dtype=pl.Categorical())  # codes hold while a column has them

    @property
    def rows(self) -> int:
        return int(self._at[ROW]) - self.first_row

    @property
    def others(self) -> np.ndarray:
        return self._found.reshape(-1, FOUND_WIDTH)[: self._at[FOUND]]

    def run(self) -> None:
        take = compiled(take_lines, self._rows_of_log, pointers=True)
        at, words, kinds = self._at, *_table_of_words()
        while at[POSITION] < at[END]:
            tables = (words, kinds, self._slots, self._texts, self._found)
            take(self._octets, at, *tables, len(self._slots) - 1, *self._columns.arrays())
            if at[ROOM_TOKENS] - at[TOKENS] <= 2:
                self._texts = np.concatenate((self._texts, np.zeros_like(self._texts)))
                self._slots = np.zeros(2 * len(self._slots), np.uint32)
                again = compiled(fill_slots, self._rows_of_log, pointers=True)
                again(self._slots, self._texts, len(self._slots) - 1, int(at[TOKENS]))
                at[ROOM_TOKENS] *= 2
            if at[ROOM_FOUND] == at[FOUND]:
                self._found = np.concatenate((self._found, np.empty_like(self._found)))
                at[ROOM_FOUND] *= 2

    def name_tokens(self, data: bytes | bytearray) -> None:
        """Find the code of each token that was met."""
        texts = self._texts.reshape(-1, TEXT_WIDTH)[1 : int(self._at[TOKENS]) + 1, 1:].tolist()
        tokens = [data[start:end].decode() for start, end in texts]
        self._named = pl.Series(tokens, dtype=pl.Categorical())
        codes = self._named.to_physical().to_numpy()
        self._codes = np.concatenate((np.array([_NO_TOKEN]), codes))

    def give_names(self) -> None:
        """Put the codes into the columns for the piece's own numbers of tokens."""
        here = slice(self.first_row, self.first_row + self.rows)
        for column in (self._columns.subject, self._columns.value):
            column[here] = self._codes[column[here]]


def _table_of_words() -> tuple[np.ndarray, np.ndarray]:
    """The event words, packed, each at its place, and the code of each."""
    words, kinds = np.zeros(PLACES, np.int64), np.zeros(PLACES, np.uint8)
    for code, packed in enumerate(packed_words()):
        words[packed % PLACES], kinds[packed % PLACES] = packed, code
    return words, kinds

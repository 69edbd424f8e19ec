"""From the bytes of a log to its events as columns, and every line that is none: one pass.

The bytes are cut at line ends into one piece for each core of this machine, and a piece is read
and taken apart a block at a time. A token is looked up in a table of those seen before, so that a
column holds its number; what stands between the commas is looked at once (`take`).
"""

import codecs
import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
import polars as pl

from tracelens.compiled import compiled, is_compiled
from tracelens.handed import as_column, as_column_or_null
from tracelens.log.grammar import BLANK, PLACES, REMARK, packed_words
from tracelens.log.take import (
    AT_SIZE,
    END,
    FOUND,
    FOUND_WIDTH,
    LINE,
    POSITION,
    ROOM_FOUND,
    ROOM_ROWS,
    ROOM_TOKENS,
    ROW,
    TEXT_WIDTH,
    TOKENS,
    WHOLE,
    count_lines,
    fill_slots,
    take_lines,
)
from tracelens.log.text import Text
from tracelens.model.events import EVENT as EVENT_TYPE
from tracelens.model.events import HEADER
from tracelens.room import empty

HEAD: Final = -1
NOISE: Final = -2
TORN: Final = -3
"""What a line that is no event may be besides what `grammar` says: the columns' names; no UTF-8;
cut off, as the last one of the log, by the end of the file."""

_BYTES_A_ROW: Final = 16  # an event's line is hardly ever shorter
_PIECE: Final = 1 << 22  # what is shorter is not worth a thread
_BLOCK: Final = 1 << 22  # read at once: stays in the processor's cache
_DECODED: Final = 1 << 16  # decoded at once: what an octet that is no text makes us decode again
_LONGEST_LINE: Final = 1 << 24
_HEADER: Final = HEADER.encode()
_SUBSTITUTE: Final = 0x1A  # the control character that stands for an octet that is no text
_NO_TOKEN: Final = np.uint32(2**32 - 1)


@dataclass(frozen=True, slots=True)
class Scanned:
    """What stands in the bytes of one part.

    `events`: the columns of `lines.FIELDS`, then `line`, one row an event. `numbers` and `what`:
    the number of every line that is no event, from 1, in order, and what it is, a constant of
    `grammar` or one of those above. `remarks`: number and text of every line that begins with '#'.
    `lines`: how many there are, of whatever kind; a last one without a line feed is a line.
    """

    events: pl.DataFrame
    numbers: np.ndarray
    what: np.ndarray
    remarks: list[tuple[int, str]]
    lines: int


def in_machine_code(size: int) -> bool:
    """Whether this pass over so many bytes is compiled."""
    return is_compiled(size // _BYTES_A_ROW)


def scan(text: Text) -> Scanned:
    """Take the bytes apart. Raises `LogError` if a file is changed meanwhile."""
    rows = text.size // _BYTES_A_ROW
    bounds = _bounds(text, os.cpu_count() or 1 if is_compiled(rows) else 1)
    with ThreadPoolExecutor(len(bounds)) as pool:
        lines = list(pool.map(lambda bound: _line_ends(text, bound, rows), bounds))
        columns = _Columns.of(sum(lines) + 1)
        first_lines = np.cumsum([0, *lines]).tolist()
        pieces = [
            _Piece(text, bound, columns, first, count, rows)
            for bound, first, count in zip(bounds, first_lines, lines, strict=False)
        ]
        list(pool.map(_Piece.run, pieces))
        for piece in pieces:
            piece.name_tokens()
        list(pool.map(_Piece.give_names, pieces))
    return Scanned(
        columns.table([(piece.first_row, piece.rows) for piece in pieces]),
        np.concatenate([found for piece in pieces for found in piece.numbers]),
        np.concatenate([found for piece in pieces for found in piece.what]),
        [remark for piece in pieces for remark in piece.remarks],
        pieces[-1].last_number,
    )


def _bounds(text: Text, most: int) -> list[tuple[int, int]]:
    """Where the pieces begin and end, at line ends."""
    count = max(1, min(most, text.size // _PIECE))
    cuts = [0]
    for number in range(1, count):
        cut = text.line_end(text.size * number // count) + 1
        if cuts[-1] < cut < text.size:
            cuts.append(cut)
    return list(pairwise([*cuts, text.size]))


def _line_ends(text: Text, bound: tuple[int, int], rows: int) -> int:
    """How many lines end within `bound`."""
    count = compiled(count_lines, rows, pointers=True)
    block = np.empty(min(_BLOCK, bound[1] - bound[0]), np.uint8)
    lines = 0
    for at in range(*bound, max(1, len(block))):
        length = min(len(block), bound[1] - at)
        text.fill(at, block.data[:length])
        lines += count(block, 0, length)
    return lines


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
        return cls(*(empty(room, kind) for kind in kinds))

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
                "time": as_column(self.time[:rows].view(np.uint64)),
                "core": as_column(self.core[:rows]),
                "event": as_column(self.kind[:rows]).cat.to(EVENT_TYPE),
                "subject": as_column_or_null(self.subject[:rows], "", _NO_TOKEN).cat.to(token),
                "value": as_column_or_null(self.value[:rows], "", _NO_TOKEN).cat.to(token),
                "line": as_column(self.line[:rows]),
            }
        )


class _Piece:
    """The pass over some of the lines, with the tokens that it has met.

    The array that the compiled pass looks into begins with the spelling of these tokens; after
    that comes the block that is being read.
    """

    def __init__(
        self,
        text: Text,
        bound: tuple[int, int],
        columns: _Columns,
        first_row: int,
        line_ends: int,
        rows_of_log: int,
    ) -> None:
        self.first_row = first_row
        is_last = bound[1] == text.size
        self._lines = (line_ends, line_ends + is_last)  # without, and with one that has no end
        self.numbers, self.what = [np.empty(0, np.int64)], [np.empty(0, np.int64)]
        self.remarks: list[tuple[int, str]] = []
        self._text, self._bound, self._columns = text, bound, columns
        self._rows_of_log = rows_of_log
        self._at = at = np.zeros(AT_SIZE, np.int64)
        at[ROW] = at[LINE] = first_row
        at[ROOM_ROWS] = first_row + self._lines[1]
        at[ROOM_TOKENS] = at[ROOM_FOUND] = 1 << 10
        self._slots = np.zeros(4 << 10, np.uint32)
        self._texts = np.zeros(TEXT_WIDTH << 10, np.int64)
        self._found = np.empty(FOUND_WIDTH << 10, np.int64)
        self._codes = np.empty(0, np.uint32)
        self._named = pl.Series(dtype=pl.Categorical())  # codes hold while a column has them
        self._octets = np.empty((1 << 14) + min(_BLOCK, bound[1] - bound[0]), np.uint8)
        self._block = 1 << 14  # where it begins
        self._spelled = 0  # how much before it is in use
        self._kept = 0  # tokens whose spelling stands there

    @property
    def rows(self) -> int:
        """How many events the piece has."""
        return int(self._at[ROW]) - self.first_row

    @property
    def last_number(self) -> int:
        """The number of its last line."""
        return int(self._at[LINE])

    def run(self) -> None:
        """Read the piece block by block. A line that does not end in one moves to the next.

        Raises `LogError` if it does not have the lines that were counted.
        """
        start, stop = self._bound
        left = 0
        while start < stop or left:
            room = len(self._octets) - self._block - left
            length = min(room, stop - start)
            begin = self._block + left
            self._text.fill(start, self._octets.data[begin : begin + length])
            start += length
            end = begin + length
            last = end if start == stop else self._last_end(begin, end)
            if last == self._block:  # no line ends here
                left = end - self._block
                if left < _LONGEST_LINE:
                    self._enlarge(0, left)
                else:  # it is none that says anything: its begin will do to count it
                    left = _DECODED
                    self._octets[self._block + left - 1] = _SUBSTITUTE
                continue
            self._take(self._block, last, self._last_end(self._block, last))
            left = end - last
            tail = self._octets[last:end].copy()
            self._keep_spellings()
            self._octets[self._block : self._block + left] = tail
        if self.last_number - self.first_row not in self._lines:
            raise self._text.changed()

    def _last_end(self, begin: int, end: int) -> int:
        """After the last line feed of [begin, end) of the array; the block's begin without one."""
        for upto in range(end, begin, -_DECODED):
            from_ = max(begin, upto - _DECODED)
            found = self._octets[from_:upto].tobytes().rfind(b"\n")
            if found >= 0:
                return from_ + found + 1
        return self._block

    def _take(self, begin: int, end: int, whole: int) -> None:
        """Take the lines in [begin, end) of the array; whole ones end at `whole`."""
        noise = self._without_noise(begin, end)
        take = compiled(take_lines, self._rows_of_log, pointers=True)
        at, tables = self._at, _table_of_words()
        at[POSITION], at[END], at[WHOLE] = begin, end, whole
        while at[POSITION] < at[END]:
            state = (*tables, self._slots, self._texts, self._found)
            take(self._octets, at, *state, len(self._slots) - 1, *self._columns.arrays())
            if at[POSITION] < at[END] and at[ROW] == at[ROOM_ROWS]:
                raise self._text.changed()  # it has more lines than there were
            if at[ROOM_TOKENS] - at[TOKENS] <= 2:
                self._make_room_for_tokens()
            if at[ROOM_FOUND] == at[FOUND]:
                self._found = np.concatenate((self._found, np.empty_like(self._found)))
                at[ROOM_FOUND] *= 2
        if at[FOUND]:
            self._judge(noise, end if end > whole else -1)
            at[FOUND] = 0

    def _without_noise(self, begin: int, end: int) -> np.ndarray:
        """Where the octets are that are not UTF-8, in order; each is replaced."""
        if (self._octets[begin:end] < 128).all():
            return np.empty(0, np.int64)
        noise: list[int] = []
        at, octets = begin, self._octets.data
        while at < end:
            try:
                block = octets[at : min(end, at + _DECODED)]
                _, used = codecs.utf_8_decode(block, "strict", at + len(block) == end)
                at += used
            except UnicodeDecodeError as error:
                noise.extend(range(at + error.start, at + error.end))
                at += error.end
        places = np.array(noise, np.int64)
        self._octets[places] = _SUBSTITUTE
        return places

    def _judge(self, noise: np.ndarray, torn_end: int) -> None:
        """Note the lines of the block that are no events."""
        found = self._found.reshape(-1, FOUND_WIDTH)[: self._at[FOUND]]
        starts, ends, numbers, what = found.T.copy()
        longer = ends - starts - len(_HEADER)
        for row in np.flatnonzero((longer == 0) | (longer == 1)).tolist():
            if self._spelling(starts[row], ends[row]).removesuffix(b"\r") == _HEADER:
                what[row] = HEAD
        what[np.searchsorted(noise, ends) > np.searchsorted(noise, starts)] = NOISE
        what[(ends == torn_end) & (what != BLANK) & (what != HEAD)] = TORN
        self.remarks += [
            (number, self._spelling(start, end).decode().rstrip("\r"))
            for start, end, number, _ in found[what == REMARK].tolist()
        ]
        self.numbers.append(numbers)
        self.what.append(what)

    def _spelling(self, start: int, end: int) -> bytes:
        return self._octets[start:end].tobytes()

    def _make_room_for_tokens(self) -> None:
        self._texts = np.concatenate((self._texts, np.zeros_like(self._texts)))
        self._slots = np.zeros(2 * len(self._slots), np.uint32)
        again = compiled(fill_slots, self._rows_of_log, pointers=True)
        again(self._slots, self._texts, len(self._slots) - 1, int(self._at[TOKENS]))
        self._at[ROOM_TOKENS] *= 2

    def _keep_spellings(self) -> None:
        """Move the spelling of new tokens before the block, which is going to be overwritten."""
        texts = self._texts.reshape(-1, TEXT_WIDTH)
        first, tokens = self._kept + 1, int(self._at[TOKENS])
        bounds = texts[first : tokens + 1, 1:].tolist()
        needed = self._spelled + sum(end - start for start, end in bounds)
        spellings = [self._octets[start:end].copy() for start, end in bounds]
        if needed > self._block:
            self._enlarge(2 * needed - self._block, 0)
        for token, spelling in enumerate(spellings, first):
            end = self._spelled + len(spelling)
            self._octets[self._spelled : end] = spelling
            texts[token, 1:] = self._spelled, end
            self._spelled = end
        self._kept = tokens

    def _enlarge(self, before: int, behind: int) -> None:
        """More room before the block and in it; what is in it moves."""
        larger = np.empty(before + len(self._octets) + behind, np.uint8)
        larger[: self._spelled] = self._octets[: self._spelled]
        block = self._block + before
        larger[block : len(self._octets) + before] = self._octets[self._block :]
        self._octets, self._block = larger, block

    def name_tokens(self) -> None:
        """Find the code of each token that was met."""
        texts = self._texts.reshape(-1, TEXT_WIDTH)[1 : int(self._at[TOKENS]) + 1, 1:].tolist()
        tokens = [self._spelling(start, end).decode() for start, end in texts]
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

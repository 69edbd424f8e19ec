"""From the bytes of one part to its events as columns, its `#` lines, and what could not be used.

A good line gives the same event whatever stands around it. One pass over the bytes takes the
events and finds the lines that are none; it is made for machine code. Where it would run as plain
Python, a log without damage is read as a table, as it stands, which is faster then.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
import polars as pl

from tracelens.handed import as_column
from tracelens.log import grammar, unused
from tracelens.log.scan import HEAD, NOISE, TORN, in_machine_code, scan
from tracelens.log.text import Text
from tracelens.log.unused import Unused
from tracelens.log.words import only_words
from tracelens.model.events import EVENT, HEADER

FIELDS: Final = pl.Schema(
    {
        "time": pl.UInt64(),
        "core": pl.UInt8(),
        "event": EVENT,
        "subject": pl.Categorical(),
        "value": pl.Categorical(),
    }
)
"""The columns of the events of a part, as written; the column `line` stands beside them."""

_HEADER: Final = HEADER.encode()
VERSION_START: Final = "#tracelens"
_NEWLINE: Final = 10
_REASONS: Final = {TORN: unused.TORN, NOISE: unused.NOT_UTF8, **grammar.REASONS}


@dataclass(frozen=True, slots=True)
class Part:
    """One part of a log, taken apart.

    `events`: the columns of `FIELDS`, then `line`; one row an event. `remarks`: every line that
    begins with '#', with its number. `headers`: the numbers of the lines that only the head of a
    log has, `#tracelens` and the columns' names. `lines`: how many there are, of whatever kind;
    `says_something`: whether any is not blank.
    """

    events: pl.DataFrame
    remarks: list[tuple[int, str]]
    headers: list[int]
    lines: int
    says_something: bool


def take_apart(text: Text, part: int, losses: Unused) -> Part:
    """Read one part. Lines that cannot be used are added to `losses` under the index `part`."""
    undamaged = None if in_machine_code(text.size) else _undamaged(text.read(0, text.size))
    return undamaged or _scanned(text, part, losses)


def _undamaged(data: bytes) -> Part | None:
    """The part, if nothing is wrong with it: `#` lines, one header, then events and `#` lines."""
    remarks, line, start = [], 1, 0
    while data.startswith(b"#", start):
        end = data.find(b"\n", start) + 1
        if not end:
            return None
        remarks.append((line, data[start:end]))
        line, start = line + 1, end
    header, end = line, data.find(b"\n", start) + 1
    if data[start:end].rstrip(b"\r\n") != _HEADER:
        return None
    frame = _table(data)
    if frame is None:
        return None
    line, start = header + 1, end
    for at in _remarks_after(data, end):
        end = data.find(b"\n", at) + 1
        if not end:
            return None
        line += data.count(b"\n", start, at)
        remarks.append((line, data[at:end]))
        line, start = line + 1, end
    try:
        texts = [(number, text.decode().rstrip("\r\n")) for number, text in remarks]
    except UnicodeDecodeError:
        return None
    others = np.array(sorted([header, *(number for number, _ in texts)]), np.int64)
    events = frame.with_columns(_numbers(len(frame), others))
    return Part(events, texts, _heads(texts, [header]), len(frame) + len(others), True)


def _remarks_after(data: bytes, start: int) -> Iterator[int]:
    """Where the lines after `start` begin that begin with '#'."""
    at = data.find(b"#", start)
    while at >= 0:
        if data[at - 1] == _NEWLINE:
            yield at
            at = data.find(b"#", at + 1)
        else:  # a word has it: from here the two octets are sought, which is slower
            at = data.find(b"\n#", at) + 1 or -1


def _scanned(text: Text, part: int, losses: Unused) -> Part:
    found = scan(text)
    for code, reason in _REASONS.items():
        losses.add(reason, part, found.numbers[found.what == code])
    heads = _heads(found.remarks, found.numbers[found.what == HEAD].tolist())
    says_something = len(found.events) > 0 or bool((found.what != grammar.BLANK).any())
    return Part(found.events, found.remarks, heads, found.lines, says_something)


def _table(data: bytes) -> pl.DataFrame | None:
    """The events of `data`, which has the header; None if a line of it is no event."""
    try:
        frame = pl.read_csv(data, comment_prefix="#", quote_char=None, schema=FIELDS).rechunk()
    except pl.exceptions.PolarsError:
        return None
    if any(frame[column].null_count() for column in ("time", "core", "event")):
        return None
    return frame if only_words(frame, "subject", "value") else None


def _heads(remarks: list[tuple[int, str]], headers: list[int]) -> list[int]:
    """The numbers of the lines that only the head of a log has."""
    versions = [number for number, text in remarks if text.startswith(VERSION_START)]
    return sorted([*headers, *versions])


def _numbers(rows: int, others: np.ndarray) -> pl.Series | pl.Expr:
    """The line numbers of the events, where the lines `others`, in order, are none."""
    before = others - 1 - np.arange(len(others))  # events before each
    if not len(others) or before[-1] == 0:
        first = len(others) + 1
        return pl.int_range(first, first + rows, dtype=pl.UInt32).alias("line")
    steps = np.ones(rows + 1, np.uint32)
    np.add.at(steps, before, np.uint32(1))
    return as_column(np.cumsum(steps, out=steps)[:-1], "line")

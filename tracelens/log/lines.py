"""From the bytes of one part to its events as columns, its `#` lines, and what could not be used.

A good line gives the same event whatever stands around it. One pass over the bytes takes the
events and finds the lines that are none; it is made for machine code. Where it would run as plain
Python, a log without damage is read as a table, as it stands, which is faster then.
"""

import codecs
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
import polars as pl

from tracelens.log import grammar, unused
from tracelens.log.scan import in_machine_code, scan
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
_BLOCK: Final = 1 << 16  # octets decoded at once: what one that is no text makes us decode again
_NEWLINE: Final = 10
_SUBSTITUTE: Final = 0x1A  # the control character that stands for an octet that is no text


@dataclass(frozen=True, slots=True)
class Part:
    """One part of a log, taken apart.

    `events`: the columns of `FIELDS`, then `line`; one row an event. `remarks`: every line that
    begins with '#', with its number. `headers`: the numbers of the lines that only the head of a
    log has, `#tracelens` and the columns' names. `lines`: how many there are, of whatever kind.
    """

    events: pl.DataFrame
    remarks: list[tuple[int, str]]
    headers: list[int]
    lines: int


def take_apart(data: bytes, part: int, losses: Unused) -> Part:
    """Read one part. Lines that cannot be used are added to `losses` under the index `part`."""
    undamaged = None if in_machine_code(data) else _undamaged(data)
    return undamaged or _scanned(data, part, losses)


def line_at(data: bytes, number: int) -> str:
    """The text of a line, counted from 1, for a message."""
    start = 0
    for _ in range(number - 1):
        start = data.find(b"\n", start) + 1
    end = data.find(b"\n", start)
    return data[start : end if end >= 0 else len(data)].decode(errors="replace").rstrip("\r")


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
    return Part(events, texts, _heads(texts, [header]), len(frame) + len(others))


def _remarks_after(data: bytes, start: int) -> Iterator[int]:
    """Where the lines after `start` begin that begin with '#'."""
    at = data.find(b"#", start)
    while at >= 0:
        if data[at - 1] == _NEWLINE:
            yield at
            at = data.find(b"#", at + 1)
        else:  # a word has it: from here the two octets are sought, which is slower
            at = data.find(b"\n#", at) + 1 or -1


def _scanned(data: bytes, part: int, losses: Unused) -> Part:
    text, noise = _without_noise(data)
    found = scan(text)
    starts, ends, numbers, what = found.others.T
    noisy = np.searchsorted(noise, ends) > np.searchsorted(noise, starts)
    is_header = _headers(data, found.others)
    is_torn = (ends == len(text)) & (what != grammar.BLANK) & ~is_header
    is_remark = (what == grammar.REMARK) & ~noisy & ~is_torn
    remarks = [
        (number, data[start:end].decode().rstrip("\r"))
        for start, end, number, _ in found.others[is_remark].tolist()
    ]
    losses.add(unused.TORN, part, numbers[is_torn])
    losses.add(unused.NOT_UTF8, part, numbers[noisy & ~is_torn])
    for code, reason in grammar.REASONS.items():
        losses.add(reason, part, numbers[(what == code) & ~noisy & ~is_header & ~is_torn])
    heads = _heads(remarks, numbers[is_header].tolist())
    return Part(found.events, remarks, heads, found.lines)


def _headers(data: bytes, others: np.ndarray) -> np.ndarray:
    """Which of `others` are the line with the columns' names."""
    length = others[:, 1] - others[:, 0]
    is_header = (length == len(_HEADER)) | (length == len(_HEADER) + 1)
    for row in np.flatnonzero(is_header):
        start, end = others[row, :2]
        is_header[row] = data[start:end].rstrip(b"\r") == _HEADER
    return np.asarray(is_header)


def _without_noise(data: bytes) -> tuple[bytes | bytearray, np.ndarray]:
    """`data` with every octet replaced that is not UTF-8, and where those are, in order."""
    noise: list[int] = []
    if not data.isascii():
        at, octets = 0, memoryview(data)
        while at < len(data):
            try:
                block = octets[at : at + _BLOCK]
                _, used = codecs.utf_8_decode(block, "strict", len(block) < _BLOCK)
                at += used
            except UnicodeDecodeError as error:
                noise.extend(range(at + error.start, at + error.end))
                at += error.end
    if not noise:
        return data, np.empty(0, np.int64)
    clean, places = bytearray(data), np.array(noise, np.int64)
    np.frombuffer(clean, np.uint8)[places] = _SUBSTITUTE
    return clean, places


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
    return pl.Series("line", np.cumsum(steps, out=steps)[:-1])

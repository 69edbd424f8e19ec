"""The stream of frames that the probe sends, taken apart.

A frame is `[sequence][event | core << 5][body][CRC-16]`, freed of zeros by consistent overhead
byte stuffing (S. Cheshire and M. Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Transactions
on Networking 7(2), 1999) and ended by a zero; the CRC is that of ITU-T V.41 begun with all ones,
its low byte first. A damaged byte therefore costs the frame that it stands in, or two if it was
the zero between them, and no more. Numbers in a body are base 128, the low seven bits first.
"""

import binascii
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from tracelens.probe.records import CODES, COUNT, TEXT

Bytes = NDArray[np.uint8]
Integers = NDArray[np.int64]

LONGEST: Final = 254
"""Bytes of the longest frame, its final zero not counted: one block of the stuffing."""

_SHORT: Final = 17
"""Bytes of the longest frame that holds a record; longer ones hold text."""


@dataclass(frozen=True, slots=True, eq=False)
class Frames:
    """The whole frames of a piece of a stream, in order.

    Columns of one row a frame with a record or a count: `place` (number of the frame in the
    piece), `sequence`, `core`, `code`, `time`, `subject`, `value` (of a count the number itself),
    `valued`. `texts`: (place, declaration). `damaged`: frames that no probe has sent so. `rest`:
    bytes after the last zero, to be put before the next piece.
    """

    place: Integers
    sequence: Integers
    core: Integers
    code: Integers
    time: Integers
    subject: Integers
    value: Integers
    valued: NDArray[np.bool_]
    texts: list[tuple[int, str]]
    damaged: int
    rest: bytes


def take_apart(data: bytes) -> Frames:
    """Every whole frame of `data`, which begins where a frame does, or in noise."""
    stream = np.frombuffer(data, np.uint8)
    ends = np.flatnonzero(stream == 0)
    starts = np.concatenate(([0], ends[:-1] + 1)) if len(ends) else ends
    rest = data[ends[-1] + 1 :] if len(ends) else data
    lengths = ends - starts
    texts: list[tuple[int, str]] = []
    damaged = 0
    # one pass: a frame longer than a record is a declaration, or noise, and there are few of both
    for place in np.flatnonzero(lengths > _SHORT):
        text = _text(data[starts[place] : ends[place]]) if lengths[place] <= LONGEST else None
        if text is None:
            damaged += 1
        else:
            texts.append((int(place), text))
    places = np.flatnonzero((lengths <= _SHORT) & (lengths > 0))
    content, length, whole = _unstuffed(stream, starts[places], lengths[places])
    event, fields, valued, fits = _fields(content, length)
    for row in np.flatnonzero(whole & (event == TEXT)):
        body = content[row, 2 : length[row] - 2].tobytes()
        if body.isascii():
            texts.append((int(places[row]), body.decode()))
        else:
            damaged += 1
    good = whole & fits & (((event > 0) & (event < len(CODES))) | (event == COUNT))
    damaged += int(np.count_nonzero(~good & ~(whole & (event == TEXT))))
    head = content[good, :2].astype(np.int64)
    time, subject, value = (column[good] for column in fields)
    return Frames(
        place=places[good],
        sequence=head[:, 0],
        core=head[:, 1] >> 5,
        code=event[good],
        time=time,
        subject=subject,
        value=value,
        valued=valued[good],
        texts=sorted(texts),
        damaged=damaged,
        rest=rest,
    )


def _text(stuffed: bytes) -> str | None:
    """The declaration in one stuffed frame; None if it is damaged or something else."""
    content, at = bytearray(), 0
    while at < len(stuffed):
        code = stuffed[at]
        block = stuffed[at + 1 : at + code]
        if len(block) != code - 1:
            return None
        content += block
        at += code
        if at < len(stuffed):
            content.append(0)
    body = bytes(content[:-2])
    if len(body) < 3 or body[1] & 31 != TEXT or not body[2:].isascii():
        return None
    if binascii.crc_hqx(body, 0xFFFF) != int.from_bytes(content[-2:], "little"):
        return None
    return body[2:].decode()


def _unstuffed(
    stream: Bytes, starts: Integers, lengths: Integers
) -> tuple[Bytes, Integers, NDArray[np.bool_]]:
    """Rows of content, their lengths, and which are whole (stuffing and CRC both right)."""
    columns = np.arange(_SHORT)
    inside = columns < lengths[:, None]
    at = np.minimum(starts[:, None] + columns, max(0, len(stream) - 1))
    rows = np.where(inside, stream[at], 0).astype(np.uint8)
    every = np.arange(len(rows))
    code = rows[:, 0].astype(np.int64) if len(rows) else np.zeros(0, np.int64)
    while (active := every[code < lengths]).size:
        step = rows[active, code[active]].astype(np.int64)
        rows[active, code[active]] = 0
        code[active] += step
    content = rows[:, 1:]
    length = lengths - 1
    whole = (code == lengths) & (length >= 5)
    return content, length, whole & (_crc(content, length - 2) == _sent_crc(content, length))


def _crc(content: Bytes, length: Integers) -> Integers:
    """CRC-16 of the first `length` bytes of each row."""
    crc = np.full(len(content), 0xFFFF, np.int64)
    for column in range(content.shape[1]):
        step = ((crc << 8) & 0xFFFF) ^ _TABLE[(crc >> 8) ^ content[:, column]]
        crc = np.where(column < length, step, crc)
    return crc


def _sent_crc(content: Bytes, length: Integers) -> Integers:
    rows = np.arange(len(content))
    low = content[rows, np.maximum(length - 2, 0)].astype(np.int64)
    return low | content[rows, np.maximum(length - 1, 0)].astype(np.int64) << 8


def _table() -> Integers:
    return np.array([binascii.crc_hqx(bytes([octet]), 0) for octet in range(256)], np.int64)


_TABLE: Final = _table()


def _fields(content: Bytes, length: Integers) -> tuple[Integers, tuple[Any, ...], Any, Any]:
    """(event, (time, subject, value), valued, fits) of each row; what does not fit is noise."""
    event = (content[:, 1] & 31).astype(np.int64)
    is_count = event == COUNT
    end = length - 2
    time = sum(content[:, 2 + i].astype(np.int64) << 8 * i for i in range(4))
    at = np.where(is_count, 2, 6)
    first, after = _number(content, at, end)
    valued = ~is_count & (after < end)
    second, last = _number(content, np.where(valued, after, at), end)
    value = np.where(is_count, first, np.where(valued, second, 0))
    subject = np.where(is_count, 0, first)
    fits = np.where(valued, last, after) == end
    fits &= (subject < 1 << 16) & (value < 1 << 32)
    return event, (time, subject, value), valued, fits


def _number(content: Bytes, at: Integers, end: Integers) -> tuple[Integers, Integers]:
    """(number, place after it) at a place in each row; a place beyond `end` if it is cut off."""
    rows = np.arange(len(content))
    number = np.zeros(len(content), np.int64)
    going = np.ones(len(content), np.bool_)
    after = at.copy()
    for shift in range(0, 35, 7):
        octet = content[rows, np.minimum(after, content.shape[1] - 1)].astype(np.int64)
        number = np.where(going, number | (octet & 127) << shift, number)
        after = after + going
        going &= octet >= 128
    return number, np.where(going | (after > end), content.shape[1] + 1, after)

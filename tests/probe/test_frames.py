"""Frames taken apart: against an encoder written byte by byte, and published check values."""

import binascii

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.probe.encoder import frame, record, stuffed, text
from tracelens.probe.frames import _crc, take_apart

RECORD = st.tuples(
    st.integers(0, 255),
    st.integers(1, 28),
    st.integers(0, 7),
    st.integers(0, 2**32 - 1),
    st.integers(0, 2**16 - 1),
    st.none() | st.integers(0, 2**32 - 1),
)


def test_the_check_value_of_the_crc() -> None:
    """CRC of the ASCII digits 1 to 9 with polynomial 0x1021 begun with all ones is 0x29B1: the
    check value that the public catalogues of parametrised CRCs give for it (from memory); the
    polynomial is that of ITU-T V.41."""
    digits = np.frombuffer(b"123456789", np.uint8)[None, :]
    assert _crc(digits, np.array([9]))[0] == 0x29B1 == binascii.crc_hqx(b"123456789", 0xFFFF)


@pytest.mark.parametrize(
    ("content", "expected"),
    [
        ("00", "01 01"),
        ("00 00", "01 01 01"),
        ("11 22 00 33", "03 11 22 02 33"),
        ("11 22 33 44", "05 11 22 33 44"),
        ("11 00 00 00", "02 11 01 01 01"),
    ],
)
def test_published_examples_of_the_stuffing(content: str, expected: str) -> None:
    """Examples that go with descriptions of the method of Cheshire & Baker 1999 (from memory)."""
    assert stuffed(bytes.fromhex(content)) == bytes.fromhex(expected)


@given(st.lists(RECORD, max_size=12), st.binary(max_size=5).filter(lambda b: 0 not in b))
def test_what_was_framed_comes_out(written: list, tail: bytes) -> None:
    frames = take_apart(b"".join(record(*each) for each in written) + tail)
    assert frames.rest == tail
    assert (frames.damaged, frames.texts) == (0, [])
    got = zip(
        frames.sequence, frames.code, frames.core, frames.time, frames.subject,
        frames.value, frames.valued, strict=True,
    )  # fmt: skip
    assert [(*row[:5], int(row[5]) if row[6] else None) for row in got] == written


@given(st.lists(st.text(st.characters(codec="ascii", exclude_characters="\0"), max_size=80)))
def test_declarations_of_any_length_come_out_in_their_place(said: list[str]) -> None:
    said = [line or "x" for line in said]
    data = b"".join(text(i, line) + record(i, 2, 0, i, 1) for i, line in enumerate(said))
    frames = take_apart(data)
    assert [line for _, line in frames.texts] == said
    assert frames.damaged == 0
    assert list(frames.place) == [place + 1 for place, _ in frames.texts]


@given(st.binary(max_size=400))
def test_noise_is_survived(noise: bytes) -> None:
    frames = take_apart(noise + b"\0" + record(5, 2, 1, 77, 3))
    assert (frames.time[-1], frames.core[-1]) == (77, 1)


@given(RECORD, st.integers(0, 200), st.integers(1, 255))
def test_a_flipped_byte_is_noticed(each: tuple, place: int, flip: int) -> None:
    """A CRC of 16 bits finds every burst of up to 16 bits (Peterson & Brown 1961), so every byte;
    flips in the stuffing move zeros about, and are found by its lengths or by the CRC."""
    whole = record(*each)
    damaged = bytearray(whole)
    damaged[place % (len(whole) - 1)] ^= flip
    frames = take_apart(bytes(damaged) + record(1, 2, 0, 7, 1))
    told = list(zip(frames.time, frames.subject, strict=True))
    assert told[-1] == (7, 1)
    assert len(told) == 1


@pytest.mark.parametrize("code", [0, 29])
def test_a_code_that_no_probe_sends_is_noise(code: int) -> None:
    assert take_apart(frame(0, code, 0, b"\1\1\1\1\1")).damaged == 1

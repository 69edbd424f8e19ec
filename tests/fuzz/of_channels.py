"""Readers of what the probe sends, of its memory, and of a capture."""

import io
import os
import struct
import time

from tests.cli.conftest import INVERSION
from tests.fuzz.of_logs import tried
from tests.fuzz.target import Target
from tests.probe import encoder
from tests.probe.test_dump import state
from tracelens.capture.channels import VanishedError
from tracelens.capture.intake import Unknown
from tracelens.capture.recorder import Bounds, record
from tracelens.log import read_bytes
from tracelens.probe.dump import read_dump
from tracelens.probe.stream import Stream


def stream(data: bytes) -> None:
    """The probe's stream at once and in a few pieces; all lines that come out are of a log."""
    whole, pieces = Stream(), Stream()
    at_once = whole.feed(data) + whole.end()
    assert at_once.count(b"\n") >= whole.counters.events
    size = 1 + len(data) // 5 + sum(data) % 7
    bit_by_bit = [pieces.feed(data[at : at + size]) for at in range(0, len(data), size)]
    _is_undamaged(at_once)
    _is_undamaged(b"".join(bit_by_bit) + pieces.end())


def _is_undamaged(lines: bytes) -> None:
    """Whatever noise came, what is made of it is no noise."""
    if lines:
        tried(lambda: _read(lines))


def _read(lines: bytes) -> None:
    told = set(read_bytes(lines, "made").unused["reason"])
    assert not told - {
        "no subject", "no lock named", "no queue named", "a declaration that is not key=value",
        "a declaration without id", "a declared value does not fit", "not a declaration",
        "mask is neither irq nor sched", "priority is not a whole number",
        "stack is not a number of bytes", "lost without a count",
    }, told  # fmt: skip


def frames(data: bytes) -> None:
    """The same of a stream whose frames are whole: each line of the input says one."""
    out = bytearray()
    for line in data.split(b"\n")[:200]:
        kind, _, rest = line.partition(b" ")
        if kind == b"t":
            out += encoder.text(len(out), rest[:200].decode("ascii", "ignore")) if rest else b""
            continue
        numbers = [int(word) % (1 << 40) for word in rest.split() if word.isdigit()][:6]
        numbers += [0] * (6 - len(numbers))
        sequence, code, core, at, subject, value = numbers
        if kind == b"r":
            out += encoder.record(sequence, code % 32, core % 8, at, subject, value or None)
        elif kind == b"c":
            out += encoder.count(core % 8, sequence)
        elif kind == b"n":
            out += rest + b"\0"
    stream(bytes(out))


def _frames() -> list[bytes]:
    head = b"t tracelens 1\nt clock hz=1000000 bits=32\nt priority order=higher_first\n"
    rows = b"".join(b"r %d %d 0 %d 9 %d\n" % (n, 1 + n % 29, 1000 + 10 * n, n) for n in range(30))
    return [
        head + b't task id=o9 name="a" priority=3\nt phase id=o7 name="warm up"\nc 0 0 0\n' + rows,
        head + rows.replace(b" 0 1", b" 1 1") + b"c 30 0 0\nc 64 0 1\n" + rows + head + rows,
        head + b"r 0 2 0 4294967290 1\nr 1 2 0 3 1\nr 255 28 0 9 1 5\nr 0 2 0 20 1\nn \x01\x02\n",
    ]


def streams() -> list[bytes]:
    """Streams of frames, whole and cut."""
    whole = encoder.stream(70) + encoder.stream(9, core=2, first=70, time=5000)
    return [whole, encoder.stream(5), whole[11:], whole.replace(b"\x05", b"\x00", 9)]


def dump(data: bytes) -> None:
    """The probe's memory."""
    tried(lambda: _is_undamaged(read_dump(data, "dump.bin").text))


def dumps() -> list[bytes]:
    """Memories of both byte orders, of one core and of two."""
    two = bytearray(state("<", written=6, size=4))
    struct.pack_into("<B", two, 6, 2)
    ring = bytes(two[-(16 + 12 * 4) :])
    return [state("<"), state(">"), state("<", written=6, size=4, dropped=3), bytes(two) + ring]


def capture(data: bytes) -> None:
    """What a capture makes of a channel's bytes, whose gaps are told by the input too."""
    with Channel(data) as channel, io.FileIO(os.memfd_create("log"), "w+") as file:
        until = Bounds(octets=1 << 20, from_mark="go" if data[:1] == b"m" else "")
        done = record(channel, lambda: channel, Unknown(), file, until)
        assert done.reason in ("the input ended", "the size was reached")
        file.seek(0)
        kept = file.read()
    if kept:
        tried(lambda: read_bytes(kept, "captured"))


class Channel:
    """Gives an input in pieces of drawn lengths; at the byte 0x01 it vanishes for a moment."""

    def __init__(self, data: bytes) -> None:
        self.pieces = [part[at : at + 97] for part in data.split(b"\x01\x01\x01") for at in
                       range(0, len(part) + 97, 97)]  # fmt: skip
        self.gaps = data.count(b"\x01\x01\x01")
        self.until = time.monotonic() + 5

    def __enter__(self) -> "Channel":
        return self

    def __exit__(self, *_: object) -> None:
        pass

    def read(self) -> bytes:
        """The next piece."""
        if not self.pieces:
            raise VanishedError(final=True)
        piece = self.pieces.pop(0)
        if not piece and self.gaps:
            self.gaps -= 1
            raise VanishedError(final=False)
        return piece

    def close(self) -> None:
        """Nothing to give up."""


def _captures() -> list[bytes]:
    text = INVERSION.encode()
    return [
        text, text[:500] + b"\x01\x01\x01" + text[500:], streams()[0], b"\x00\xff" * 60 + text,
        text.replace(b"\n", b"\r\n"), b"m" + text + b"1000,0,mark,go,\n" + text,
    ]  # fmt: skip


TARGETS = {
    "stream": Target(stream, streams, text=False),
    "frames": Target(frames, _frames, (b"r 1 2 0 1000 9 4", b"c 64 0 0", b"t tracelens 1")),
    "dump": Target(dump, dumps, text=False),
    "capture": Target(capture, _captures, (b"\x01\x01\x01", b"1,0,start,t1,")),
}

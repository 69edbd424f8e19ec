"""The probe's frames made the slow and obvious way: byte by byte, after the papers."""

import binascii


def stuffed(content: bytes) -> bytes:
    """Consistent overhead byte stuffing of less than 254 bytes (Cheshire & Baker 1999)."""
    out = bytearray()
    for block in content.split(b"\0"):
        assert len(block) < 254
        out.append(len(block) + 1)
        out += block
    return bytes(out)


def number(value: int) -> bytes:
    out = bytearray()
    while value > 127:
        out.append(value & 127 | 128)
        value >>= 7
    return bytes([*out, value])


def frame(sequence: int, code: int, core: int, body: bytes) -> bytes:
    content = bytes([sequence % 256, code | core << 5]) + body
    crc = binascii.crc_hqx(content, 0xFFFF)
    return stuffed(content + crc.to_bytes(2, "little")) + b"\0"


def record(
    sequence: int, code: int, core: int, time: int, subject: int, value: int | None = None
) -> bytes:
    body = (time % (1 << 32)).to_bytes(4, "little") + number(subject)
    return frame(sequence, code, core, body + (b"" if value is None else number(value)))


def count(core: int, written: int) -> bytes:
    return frame(written, 30, core, number(written))


def text(sequence: int, declaration: str) -> bytes:
    return frame(sequence, 31, 0, declaration.encode())


HEAD = b"".join(
    text(i, line)
    for i, line in enumerate(
        ["tracelens 1", "clock hz=1000000 bits=32", "priority order=higher_first",
         'task id=o1 name="needle_select" priority=6', 'phase id=o9 name="warm up"']
    )
)  # fmt: skip


def stream(records: int, *, core: int = 0, first: int = 0, time: int = 1000) -> bytes:
    """A head and `records` records of one core, with a count before each 64."""
    out = [HEAD]
    for i in range(first, first + records):
        if (i - first) % 64 == 0:
            out.append(count(core, i))
        out.append(record(i, 24, core, time + 10 * i, 9, i))
    return b"".join(out)

"""Dumps that are cut, of the other byte order, or of something else."""

import struct

import pytest

from tests.probe import build
from tracelens.errors import InputError
from tracelens.probe.dump import read_dump

EVENTS = [
    (4_294_967_290, 2, 1, None),
    (4_294_967_294, 4, 1, 0xFFFF),
    (3, 2, 2, None),
    (9, 20, 1, 7),
]


def state(order: str, *, written: int = 4, size: int = 8, dropped: int = 0) -> bytes:
    """A state written after the C header, member by member."""
    magic = b"TLP1" if order == "<" else b"1PLT"
    head = struct.pack(order + "4sHBBIHBBIIII", magic, 1, 1, 8, size, 3, 0, 1, 1000, 5, 0, 0)
    objects = b"".join(
        struct.pack(order + "IIIiIBBBB8s", 0, 1800, 64, -2, 0, kind, 1, 0, 0, b"name" + bytes([n]))
        for n, kind in ((48, 0), (49, 1), (50, 1))
    )
    rows = [struct.pack(order + "IIHBB", 0, 0, 0, 0, 0)] * size
    for i in range(max(0, written - size), written):
        time, code, subject, value = EVENTS[i % 4]
        rows[i % size] = struct.pack(
            order + "IIHBB", time, value or 0, subject, code, value is not None
        )
    return head + objects + struct.pack(order + "IIII", written, 0, dropped, 9) + b"".join(rows)


@pytest.mark.parametrize("order", ["<", ">"])
def test_both_byte_orders(order: str) -> None:
    dump = read_dump(b"TLP1 is not enough" + state(order), "d")
    assert dump.text.decode() == (
        "#tracelens 1\n#clock hz=1000 bits=32\n#priority order=higher_first\n"
        "#run probe_ticks_for_64_events=5\n"
        '#task id=o1 name="name1" priority=-2 deadline_us=1800 stack_bytes=64\n'
        '#task id=o2 name="name2" priority=-2 deadline_us=1800 stack_bytes=64\n'
        "time,core,event,subject,value\n"
        "4294967290,0,start,o1,\n4294967294,0,wait,o1,delay\n3,0,start,o2,\n9,0,priority,o1,7\n"
    )


def test_the_oldest_comes_first_where_the_ring_went_round() -> None:
    assert read_dump(state("<", written=6, size=4), "d").text.decode().splitlines()[-4:] == [
        "3,0,start,o2,", "9,0,priority,o1,7", "4294967290,0,start,o1,",
        "4294967294,0,wait,o1,delay",
    ]  # fmt: skip


def test_what_found_no_room_at_the_end_is_told() -> None:
    assert read_dump(state("<", dropped=3), "d").text.decode().endswith("9,0,lost,,3\n")


@pytest.mark.parametrize("data", [b"", b"TLP1", state("<")[:-1], b"\0" * 4000])
def test_what_is_no_state_is_an_error(data: bytes) -> None:
    with pytest.raises(InputError) as error:
        read_dump(data, "d.bin")
    assert str(error.value) == (
        "d.bin: no memory of the probe: found none of its states, expected the whole of tl_state, "
        "whose first bytes are 'TLP1'"
    )


def test_the_layout_is_that_of_the_compiler() -> None:
    data, _ = build.run(build.program("-O2"), "dump", "1", "0")
    ring = 16 + 12 * 8192
    assert len(data) == struct.calcsize("<4sHBBIHBBIIII") + 16 * (24 + 20) + 2 * ring

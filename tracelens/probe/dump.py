"""The probe's memory, read by a debugger or by the next boot: its records as an event log.

The state stands anywhere in a dump, in the byte order of its target (`tl_state_t` of the C header,
whose members need no padding). The log that comes out begins with the oldest record that the ring
still holds; what was written before it has been overwritten and is not said to be lost.
"""

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
import polars as pl

from tracelens.errors import InputError
from tracelens.log.render import VERSION_LINE
from tracelens.probe.records import CODES, NO_TEXT, heading, lines, records

_MAGIC: Final = {"<": b"TLP1", ">": b"1PLT"}
_VERSION: Final = 1
# magic version cores name_bytes records objects mode higher_first hz cost_ticks frozen check
_HEAD: Final = "4sHBBIHBBIIII"
# period_us deadline_us size priority released kind told watched sent
_OBJECT: Final = "IIIiIBBBB"
# head tail dropped last_time
_RING: Final = "IIII"
_KINDS: Final = ("", "task", "isr", "lock", "queue")
_SIZES: Final = {"task": "stack_bytes", "lock": "ceiling", "queue": "depth"}
_PHASE: Final = 5
_CODE: Final = 1 << 32


@dataclass(frozen=True, slots=True)
class Dump:
    """A log made from a dump: its lines, and how many events are in it."""

    text: bytes
    events: int


def read_dump(data: bytes, name: str) -> Dump:
    """The log of the first probe state that stands in `data`.

    Raises `InputError` if there is none, or its rings are not whole.
    """
    for order, at in _candidates(data):
        state = _state(data, order, at)
        if state is not None:
            return state
    raise InputError(
        "no memory of the probe: found none of its states, expected the whole of tl_state, whose "
        "first bytes are 'TLP1'",
        place=name,
        hint="dump all of the variable tl_state; the linker's map has its address and size",
    )


def _candidates(data: bytes) -> Iterator[tuple[str, int]]:
    for order, magic in _MAGIC.items():
        at = data.find(magic)
        while at >= 0:
            yield order, at
            at = data.find(magic, at + 1)


def _state(data: bytes, order: str, at: int) -> Dump | None:
    head = struct.Struct(order + _HEAD)
    if len(data) < at + head.size:
        return None
    _, version, cores, name_bytes, size, objects, _, higher, hz, cost, _, _ = head.unpack_from(
        data, at
    )
    ring_bytes = struct.calcsize(order + _RING) + 12 * size
    object_bytes = struct.calcsize(order + _OBJECT) + name_bytes
    first_ring = at + head.size + objects * object_bytes
    plausible = version == _VERSION and 1 <= cores <= 8 and size and not size & (size - 1)
    if not plausible or len(data) < first_ring + cores * ring_bytes:
        return None
    declared = [
        f"clock hz={hz} bits=32",
        f"priority order={'higher' if higher else 'lower'}_first",
        f"run probe_ticks_for_64_events={cost}",
    ]
    phases: dict[int, str] = {}
    for number in range(1, objects):
        place = at + head.size + number * object_bytes
        _declare(data[place : place + object_bytes], order, number, declared, phases)
    taken = _in_order(
        [
            _ring(data[first_ring + core * ring_bytes :][:ring_bytes], order, core, size)
            for core in range(cores)
        ]
    )
    text = "".join(f"#{line}\n" for line in (VERSION_LINE[1:], *declared)).encode()
    return Dump(text + heading() + lines(taken, phases), taken.height)


def _declare(
    packed: bytes, order: str, number: int, declared: list[str], phases: dict[int, str]
) -> None:
    period, deadline, size, priority, _, kind, told, _, _ = struct.unpack_from(
        order + _OBJECT, packed
    )
    name = packed[struct.calcsize(order + _OBJECT) :].split(b"\0")[0].decode("utf-8", "replace")
    name = NO_TEXT.sub("_", name)
    if kind == _PHASE:
        phases[number] = "_".join(name.replace(",", " ").split()) or f"o{number}"
    if not 0 < kind < len(_KINDS):
        return
    what = _KINDS[kind]
    line = f'{what} id=o{number} name="{name}"'
    line += f" priority={priority}" if told == 1 else ""
    line += f" period_us={period}" if period else ""
    line += f" deadline_us={deadline}" if deadline else ""
    line += f" {_SIZES[what]}={size}" if size and what in _SIZES else ""
    declared.append(line + (" idle=yes" if told == 2 else ""))


def _ring(packed: bytes, order: str, core: int, size: int) -> pl.DataFrame:
    """The records of one ring, oldest first."""
    written, _, dropped, last_time = struct.unpack_from(order + _RING, packed)
    layout = np.dtype(
        [("time", order + "u4"), ("value", order + "u4"), ("subject", order + "u2"),
         ("event", "u1"), ("valued", "u1")]
    )  # fmt: skip
    ring = np.frombuffer(packed, layout, size, struct.calcsize(order + _RING))
    kept = min(written, size)
    row = (written - kept + np.arange(kept)) % size
    ring = ring[row]
    ring = ring[(ring["event"] > 0) & (ring["event"] < len(CODES))]
    native = {
        name: ring[name].astype(layout[name].newbyteorder("=")) for name in layout.names or ()
    }
    taken = records(
        native["time"],
        np.full(len(ring), core),
        native["event"],
        native["subject"],
        native["value"],
        native["valued"] != 0,
    )
    if not dropped:
        return taken
    last = np.array([last_time])
    gone = records(
        last, np.array([core]), np.array([CODES.index("lost")]), np.array([0]),
        np.array([dropped]), np.array([True]),
    )  # fmt: skip
    return pl.concat([taken, gone])


def _in_order(rings: list[pl.DataFrame]) -> pl.DataFrame:
    """The rings' records in one order of time; the counter may wrap within a ring."""
    newest = [int(ring["time"][-1]) for ring in rings if ring.height]
    if not newest:
        return pl.concat(rings)
    # Ages count back from the newest record of all: the one that no other is just ahead of.
    now = newest[0]
    for time in newest:
        now = time if (time - now) % _CODE < _CODE // 2 else now
    placed = []
    for ring in rings:
        times = ring["time"].to_numpy().astype(np.int64)
        steps = np.diff(times) % _CODE
        back = np.concatenate((np.cumsum(steps[::-1])[::-1], [0])) if len(times) else times
        age = (now - int(times[-1])) % _CODE + back if len(times) else times
        placed.append(ring.with_columns(age=pl.Series(-age)))
    return pl.concat(placed).sort("age", maintain_order=True).drop("age")

"""What kind of recording some bytes are, and how each becomes the text of an event log."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from tracelens.convert import parquet, text, vcd_in
from tracelens.convert.mapping_toml import Mapping
from tracelens.errors import InputError, LogError, UsageError
from tracelens.log.messages import beginning
from tracelens.log.render import VERSION_LINE
from tracelens.probe.dump import read_dump
from tracelens.probe.frames import take_apart
from tracelens.probe.stream import Stream

_LOOK: Final = 1 << 16
_VCD_WORDS: Final = (b"$date", b"$version", b"$timescale", b"$comment", b"$scope", b"$var")


@dataclass(frozen=True, slots=True)
class Made:
    """A log made from something: its text, what it was, and remarks that a person should see."""

    text: bytes
    kind: str
    remarks: tuple[str, ...] = ()


def to_log(data: bytes, name: str, mapping: Mapping | None) -> Made:
    """The event log that `data` holds, whatever it is.

    With a mapping it is a value change dump or any text; without, what it is shows in its bytes.
    Raises `InputError` for what it cannot be, `UsageError` if a mapping is needed.
    """
    kind = kind_of(data)
    if kind == "value change dump":
        if mapping is None:
            raise UsageError(
                f"{name} is a value change dump: found no mapping, expected one",
                hint="say with --map M.toml which signal means what; see MAPPING.md",
            )
        made, _ = vcd_in.convert_vcd(data, mapping, name)
        return Made(made, kind)
    if mapping is not None:
        converted = text.convert(data, mapping, name)
        return Made(converted.text, "text", _unmatched(converted))
    reader = _READERS.get(kind)
    if reader is None:
        raise LogError(
            f"no recording that shows by itself: found {beginning(data)}, expected an event log, "
            "the probe's stream or memory, a value change dump or Parquet",
            place=name,
            hint="say with --map M.toml what its lines mean; see MAPPING.md",
        )
    return reader(data, name)


def kind_of(data: bytes) -> str:
    """What it is, in words; '' if that does not show."""
    if data.startswith(b"PAR1"):
        return "Parquet"
    if data.lstrip().startswith(_VCD_WORDS):
        return "value change dump"
    if VERSION_LINE.encode() in data[:_LOOK].split(b"\n") or b"time,core,event," in data[:_LOOK]:
        return "event log"
    frames = take_apart(data[:_LOOK])
    if len(frames.place) > frames.damaged or frames.texts:
        return "the probe's stream"
    if b"TLP1" in data or b"1PLT" in data:
        return "the probe's memory"
    return ""


def _stream(data: bytes, name: str) -> Made:
    reader = Stream()
    made = reader.feed(data) + reader.end()
    counted = reader.counters
    told = (
        f"{counted.lost} events lost, {counted.damaged} frames damaged, "
        f"{counted.repeated} records repeated"
    )
    noisy = counted.lost or counted.damaged or counted.repeated
    return Made(made, "the probe's stream", (told,) if noisy else ())


def _memory(data: bytes, name: str) -> Made:
    return Made(read_dump(data, name).text, "the probe's memory")


def _parquet(data: bytes, name: str) -> Made:
    return Made(parquet.from_parquet(data, name), "Parquet")


def _log(data: bytes, _name: str) -> Made:
    return Made(data, "event log")


_READERS: Final[dict[str, Callable[[bytes, str], Made]]] = {
    "the probe's stream": _stream,
    "the probe's memory": _memory,
    "Parquet": _parquet,
    "event log": _log,
}


def _unmatched(converted: text.Converted) -> tuple[str, ...]:
    if not converted.unmatched:
        return ()
    number, line = converted.first_unmatched[0]
    return (
        f"{converted.unmatched} lines matched no rule, the first is line {number}: {line[:80]}",
    )


def need_log(data: bytes, name: str) -> bytes:
    """`data` if it is an event log. Raises `InputError` if not."""
    if kind_of(data) != "event log":
        raise InputError(
            "not an event log: expected a line '#tracelens 1' or the column names",
            place=name,
            hint="convert it first: tracelens convert IN -o LOG",
        )
    return data

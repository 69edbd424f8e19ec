"""Writing a log: declarations and events as an event log of version 1.

The writer stands beside the reader: what it writes reads back as the same events and the same
declarations. Times become counter values of the declared clock; a time that is no whole number of
its ticks is an error. (Where a tick is no whole number of nanoseconds and the first event is not at
0 ns, times were rounded twice, and may come back a nanosecond less.)
"""

import gzip
import re
import sys
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from dataclasses import replace
from os import PathLike, fspath
from pathlib import Path
from typing import Any, BinaryIO, Final

import numpy as np
import polars as pl

from tracelens.errors import LogError, unwritable
from tracelens.log import checks
from tracelens.log.axis import slept_ticks, to_ns
from tracelens.log.clock import MOST_TICKS, Counters, unwrap
from tracelens.log.render import VERSION_LINE, first_declarations, later_declarations
from tracelens.log.requirements import what_is_missing
from tracelens.log.sources import STDIN
from tracelens.log.words import only_words
from tracelens.model.events import EVENTS, HEADER
from tracelens.model.log import Log
from tracelens.model.system import Clock, Place, System
from tracelens.units import NS_PER_S

Target = str | PathLike[str] | BinaryIO

_CLOCK_OF_CORE: Final = re.compile(r"^#clock core=\S+ ")
COMMON_CLOCK: Final = Clock(hz=NS_PER_S)
"""The clock of a log whose cores had counters of their own: read, they have one time in ns."""


def write(
    log: Log | pl.DataFrame, declared: System, target: Target, *, start_ticks: int | None = None
) -> None:
    """Write events and declarations as an event log.

    `log`: a log that was read, or a table with the columns time_ns, core, event, subject, value,
    and boot if the target restarted; in order of time. `declared`: its clock gives hz and bits;
    where cores have counters of their own, one clock of 1 GHz stands for all of them. Chains are
    not part of a log. `target`: a path, compressed if it ends in .gz or .zst, '-' for standard
    output, or a binary file open for writing. `start_ticks`: the counter at the first event; by
    default 0, or what it was in the log that was read.

    A boot begins with a header; its first event has, when read, the time of the last one before.
    Raises `LogError` for what the format cannot say, before anything is written, and `UsageError`
    for a file that cannot be written.
    """
    events = log.events if isinstance(log, Log) else log
    if start_ticks is None:
        start_ticks = log.start_ticks if isinstance(log, Log) else 0
    if any(clock.core is not None for clock in declared.clocks):
        declared, start_ticks = _on_common_clock(declared), 0
    events = _checked(events)
    missing = what_is_missing(declared, [events], ("",))
    if missing:
        raise LogError(f"cannot be written: {missing.problem}", hint=missing.hint)
    table = events.select(
        pl.Series("time", _counter_values(events, declared.clocks[0], start_ticks)),
        "core",
        "event",
        "subject",
        "value",
    )
    stretches = _stretches(events, declared)
    with _opened(target) as file:
        for lines, row, end in stretches:
            file.write("".join(f"{line}\n" for line in lines).encode())
            table[row:end].write_csv(file, include_header=False, quote_style="never")


def _on_common_clock(declared: System) -> System:
    """One clock of 1 GHz; what else was said of a core's clock is said of that one."""
    unknown = tuple((at, _CLOCK_OF_CORE.sub("#clock ", text)) for at, text in declared.unknown)
    return replace(declared, clocks=(COMMON_CLOCK,), unknown=unknown)


def _checked(events: pl.DataFrame) -> pl.DataFrame:
    """The events with the event table's types. Raises `LogError` for what cannot be read back."""
    if "boot" not in events.columns:
        events = events.with_columns(pl.lit(0, pl.UInt16).alias("boot"))
    wanted = ("boot", "time_ns", "core", "event", "subject", "value")
    events = events.with_columns(pl.col(column).cast(EVENTS[column]) for column in wanted)
    if not (events["boot"].is_sorted() and events["time_ns"].is_sorted()):
        raise LogError("cannot be written: the events are not in order of time", hint="sort them")
    if not only_words(events, "subject", "value", besides=","):
        raise LogError(
            "cannot be written: a subject or value with a comma, a quote, a control character or "
            "a blank at either end",
            hint="declare a short id for the name, and write the id",
        )
    broken = checks.first_breach(events)
    if broken:
        row, reason = broken
        raise LogError(
            f"cannot be written: event {row} ({events['event'][row]}): {reason.text}: "
            f"expected {reason.expected}",
            hint="give the event what its word needs",
        )
    return events


def _counter_values(events: pl.DataFrame, clock: Clock, start: int) -> np.ndarray:
    """What the counter showed at each event (UInt64), from `start` on; in later boots from 0 on."""
    time, boot = events["time_ns"].to_numpy(), events["boot"].to_numpy()
    if not len(time):
        return np.empty(0, np.uint64)
    begins = np.flatnonzero(np.diff(boot, prepend=boot[0])).tolist()
    lengths = np.diff([0, *begins, len(time)])
    since_boot = time - np.repeat(time[[0, *begins]], lengths)
    ticks = _whole_ticks(since_boot, clock)
    slept = slept_ticks(events)
    if slept is not None:
        total = np.cumsum(slept)
        ticks = ticks - (total - np.repeat((total - slept)[[0, *begins]], lengths))
        if bool((np.diff(ticks, prepend=0)[np.diff(boot, prepend=boot[0]) == 0] < 0).any()):
            raise LogError(
                "cannot be written: a wake tells of more ticks slept than time has passed",
                hint="write the sleep event before, or leave the wake without ticks",
            )
    shown = ticks.astype(np.uint64)
    shown[: lengths[0]] += np.uint64(start % 2**clock.bits)
    if clock.bits < 64:
        shown &= np.uint64(2**clock.bits - 1)
    _read_back(shown, ticks, begins, clock)
    return shown


def _whole_ticks(ns: np.ndarray, clock: Clock) -> np.ndarray:
    """Nanoseconds from the begin of a boot as ticks, such that reading gives them back."""
    seconds, rest = np.divmod(ns, NS_PER_S)
    if int(seconds.max()) >= MOST_TICKS // clock.hz:
        raise LogError("cannot be written: the log is too long for its clock", hint="cut the log")
    ticks: np.ndarray = seconds * clock.hz + (rest * clock.hz + NS_PER_S - 1) // NS_PER_S
    off = to_ns(ticks, clock.hz, "") != ns
    if NS_PER_S % clock.hz:
        # Both ends of a distance may have been rounded down: it is then short of a nanosecond more
        # than so many ticks, and the next tick is too far.
        below = off & (ns - to_ns(np.maximum(ticks - 1, 0), clock.hz, "") == 1)
        ticks[below] -= 1
        off &= ~below
    if off.any():
        raise LogError(
            f"cannot be written: found a time of {ns[off.argmax()]} ns, expected a whole number of "
            f"ticks of the clock of {clock.hz} Hz",
            hint=f"declare a clock of {NS_PER_S} Hz",
        )
    return ticks


def _read_back(shown: np.ndarray, ticks: np.ndarray, begins: list[int], clock: Clock) -> None:
    """Raise `LogError` if the reader would not see through the wraps of so narrow a counter."""
    core = np.zeros(len(shown), np.uint8)
    counters = Counters.of((clock,), shown, core)
    back = unwrap(shown, core, counters, begins, "").ticks
    firsts = [0, *begins]
    lengths = np.diff([*firsts, len(shown)])
    back = back - np.repeat(back[firsts], lengths)
    wrong = np.flatnonzero(back != ticks - np.repeat(ticks[firsts], lengths))
    if len(wrong):
        raise LogError(
            f"cannot be written: event {wrong[0]} follows a silence that a counter of "
            f"{clock.bits} bits at {clock.hz} Hz cannot tell from a shorter one",
            hint="declare a clock of more bits",
        )


def _stretches(events: pl.DataFrame, declared: System) -> list[tuple[list[str], int, int]]:
    """(lines, first row, row after the last): what is written, stretch by stretch.

    A boot begins with a header; an id declared again stands before the first event after the
    place where it stood.
    """
    before: dict[int, list[str]] = {0: [*first_declarations(declared), HEADER]}
    boot = events["boot"].to_numpy()
    for row in np.flatnonzero(np.diff(boot, prepend=boot[:1])).tolist():
        before.setdefault(row, []).extend([VERSION_LINE, HEADER])
    for place, line in later_declarations(declared):
        before.setdefault(_row_after(events, place), []).append(line)
    rows = sorted(before)
    ends = [*rows[1:], len(events)]
    return [(before[row], row, end) for row, end in zip(rows, ends, strict=True)]


def _row_after(events: pl.DataFrame, place: Place | None) -> int:
    """The first event that stands after a place of the log; 0 if the events have no places."""
    if place is None or "line" not in events.columns:
        return 0
    after = pl.col("line") > place[1]
    if "part" in events.columns:
        after = (pl.col("part") > place[0]) | ((pl.col("part") == place[0]) & after)
    rows = events.select(after.arg_true()).to_series()
    return int(rows[0]) if len(rows) else len(events)


@contextmanager
def _opened(target: Target) -> Iterator[BinaryIO]:
    if not isinstance(target, str | PathLike):
        yield target
    elif fspath(target) == STDIN:
        yield sys.stdout.buffer
    else:
        name = fspath(target)
        try:
            with Path(name).open("wb") as file, _compressed(name, file) as packed:
                yield packed
        except OSError as error:
            raise unwritable(name, error) from None


def _compressed(name: str, file: BinaryIO) -> AbstractContextManager[Any]:
    if name.endswith(".gz"):
        return gzip.GzipFile(filename="", mode="wb", fileobj=file, mtime=0)  # the same bytes again
    if name.endswith(".zst"):
        import zstandard

        return zstandard.ZstdCompressor().stream_writer(file, closefd=False)
    return nullcontext(file)

"""The events of all files of a log as one table, in order of time."""

from dataclasses import dataclass
from itertools import combinations, pairwise

import numpy as np
import polars as pl

from tracelens.handed import as_column
from tracelens.log import messages
from tracelens.log.axis import Ticks, lay_out, slept_ticks, straight
from tracelens.log.clock import Counters, Unwrapped, silence, unwrap
from tracelens.model.events import EVENTS
from tracelens.model.system import System
from tracelens.room import empty


@dataclass(frozen=True, slots=True)
class Timed:
    """The event table, when later boots begin, the counter at the first event, and doubts."""

    events: pl.DataFrame
    restarts: tuple[int, ...]
    start_ticks: int
    doubts: list[str]


def on_one_axis(
    parts: list[pl.DataFrame], headers: list[list[int]], declared: System, names: tuple[str, ...]
) -> Timed:
    """Put the events of the parts on one time axis, from the first event of the log on.

    `parts`: the columns time, core, event, subject, value and line. `headers`: numbers of the
    lines in each part that only the head of a log has; one that stands after an event says that
    the target restarted. Parts of which each has cores of its own are merged by time; others
    follow each other.
    """
    doubts = messages.lateness(declared.clocks)
    table = pl.concat(
        part.with_columns(_constant("part", number, len(part)), _constant("boot", 0, len(part)))
        for number, part in enumerate(parts)
    )
    if table.is_empty():
        return Timed(EVENTS.to_frame(), (), 0, doubts)
    heads = [_rows(part, lines) for part, lines in zip(parts, headers, strict=True)]
    separate = _separate(parts)
    slept = slept_ticks(table)
    if len(declared.clocks) == 1 and not separate and not any(heads) and slept is None:
        clock = declared.clocks[0]
        time = straight(table, clock, names[0])
        if time is not None:
            start, end = int(table["time"][0]), int(table["time"][-1])
            if end - start >= 2**clock.bits // 2:
                quiet = silence(table["time"].to_numpy(), clock)
                doubts += [
                    messages.silent(_place(table, row, names), ticks, clock) for row, ticks in quiet
                ]
            return Timed(_as_events(table, time), (), start, doubts)
    raw, core = table["time"].to_numpy(), table["core"].to_numpy()
    counters = Counters.of(declared.clocks, raw, core)
    ends = np.cumsum([0, *map(len, parts)]).tolist()
    if separate:
        files = [
            unwrap(raw[a:b], core[a:b], counters, heads[n], names[n])
            for n, (a, b) in enumerate(pairwise(ends))
        ]
        ticks = np.concatenate([file.ticks for file in files])
        boot = np.concatenate([file.boot for file in files])
        of_file = np.repeat(np.arange(len(parts)), np.diff(ends))
    else:
        rows = [ends[n] + row for n, head in enumerate(heads) for row in head]
        files = [unwrap(raw, core, counters, rows, names[0])]
        ticks, boot, of_file = files[0].ticks, files[0].boot, None
    axis = lay_out(Ticks(ticks, boot, core, of_file, slept), counters, names[0])
    doubts += _doubts(files, table, counters, names)
    table = table.with_columns(boot=pl.Series(boot).cast(pl.UInt16))
    events = _as_events(table, as_column(axis.time_ns, "time_ns"))
    if axis.order is None:
        return Timed(events, axis.restarts, int(raw[0]), doubts)
    return Timed(events[axis.order], axis.restarts, int(raw[axis.order[0]]), doubts)


def _constant(name: str, value: int, rows: int) -> pl.Series:
    values = empty(rows, np.uint16)
    values[:] = value
    return as_column(values, name)


def _rows(part: pl.DataFrame, lines: list[int]) -> list[int]:
    """Before which rows lines of a head stand, none before the part's first event."""
    if not lines or part.is_empty() or lines[-1] < part["line"][0]:
        return []
    rows = np.searchsorted(part["line"].to_numpy(), np.array(lines, np.uint32))
    return sorted(set(rows.tolist()) - {0})


def _separate(parts: list[pl.DataFrame]) -> bool:
    """Whether each of several files has cores of its own."""
    if len(parts) == 1:
        return False
    cores = [set(part["core"].unique().to_list()) for part in parts]
    return all(cores) and all(a.isdisjoint(b) for a, b in combinations(cores, 2))


def _as_events(table: pl.DataFrame, time_ns: pl.Series) -> pl.DataFrame:
    return table.with_columns(time_ns).select(EVENTS.names()).rechunk()


def _doubts(
    files: list[Unwrapped], table: pl.DataFrame, counters: Counters, names: tuple[str, ...]
) -> list[str]:
    """What is doubtful about the times: silences, unannounced restarts, boots that do not match."""
    sentences, stepped, at = [], [], 0
    for file in files:
        for row, ticks in file.silences:
            clock = counters.clocks[counters.of_core[table["core"][at + row]]]
            sentences.append(messages.silent(_place(table, at + row, names), ticks, clock))
        stepped += [_place(table, at + row, names) for row, header in file.restarts if not header]
        at += len(file.ticks)
    if stepped:
        sentences.append(messages.stepped_back(stepped))
    boots = {len(file.restarts) + 1 for file in files}
    if len(boots) > 1:
        sentences.append(messages.unequal_boots(min(boots), max(boots)))
    return sentences


def _place(table: pl.DataFrame, row: int, names: tuple[str, ...]) -> str:
    return f"{names[table['part'][row]]}:{table['line'][row]}"

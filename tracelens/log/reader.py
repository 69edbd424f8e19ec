"""Reading a log: from files to events on one time axis, what is declared, and what was no use."""

from collections.abc import Sequence
from contextlib import ExitStack
from os import PathLike
from typing import IO

import numpy as np
import polars as pl

from tracelens.errors import LogError
from tracelens.files import share_of_memory
from tracelens.log import checks, messages, unused
from tracelens.log.clock import counters_of_cores
from tracelens.log.declarations import Declarations
from tracelens.log.lines import VERSION_START, Part, take_apart
from tracelens.log.merge import on_one_axis
from tracelens.log.requirements import what_is_missing
from tracelens.log.sources import SHARE, Source, opened, unpack
from tracelens.log.text import Text
from tracelens.log.unused import Unused, refusal
from tracelens.model.events import HEADER
from tracelens.model.log import Log
from tracelens.model.system import System

LogPath = str | PathLike[str]


def read(paths: LogPath | Sequence[LogPath], *, strict: bool = False) -> Log:
    """Read an event log of version 1.

    `paths`: a file, plain or compressed with gzip or Zstandard, or '-' for standard input; or
    several. Files of which each has cores of its own are read side by side and merged by time;
    others are parts of one log, in this order, read end to end.

    Damage is worked around and counted in `Log.unused`; with `strict` the first line that cannot
    be used is an error. Raises `LogError` for what is no log, and for a log that lacks what
    nothing can stand in for: the clock, or the order of the priorities it uses.
    """
    listed = [paths] if isinstance(paths, str | PathLike) else list(paths)
    if not listed:
        raise LogError("no log given", hint="name a file, or - for standard input")
    with ExitStack() as stack:
        sources: list[Source] = []
        for path in listed:
            taken = sum(source.text.in_memory for source in sources)
            sources.append(opened(path, stack, share_of_memory(SHARE) - taken))
        return _assemble(sources, strict)


def read_bytes(
    data: bytes | IO[bytes], name: str, strict: bool = False, *, most: int | None = None
) -> Log:
    """Read a log from its bytes, plain or compressed; messages call it `name`. As `read`.

    A log that has more bytes than `most`, unpacked, is refused with `LogError`; if it is not
    given, a quarter of the machine's memory.
    """
    octets = data if isinstance(data, bytes) else data.read()
    return _assemble([unpack(name, octets, most)], strict)


def _assemble(sources: list[Source], strict: bool) -> Log:
    names = tuple(source.name for source in sources)
    texts = _joined([source.text for source in sources])
    losses = Unused()
    warnings = [f"{source.name}: {source.torn}" for source in sources if source.torn]
    if strict and warnings:
        raise LogError(warnings[0], hint="without --strict what could be unpacked is read")
    parts = [take_apart(text, number, losses) for number, text in enumerate(texts)]
    declared, said = _declared(names, texts, parts, losses)
    events = [_usable(parts, text, number, declared, losses) for number, text in enumerate(texts)]
    missing = what_is_missing(declared, events, names)
    if missing is None:
        events = [_within_bits(frame, n, declared, losses) for n, frame in enumerate(events)]
    first = losses.first()
    if strict and first:
        place = first[1]
        raise refusal(*first, names[place.part], texts[place.part].line(place.line))
    if missing:
        raise missing
    timed = on_one_axis(events, [part.headers for part in parts], declared, names)
    return Log(
        sources=names,
        declared=declared,
        events=timed.events,
        unused=losses.table(names),
        lines=sum(part.lines for part in parts),
        start_ticks=timed.start_ticks,
        restarts=timed.restarts,
        warnings=(*warnings, *said, *timed.doubts),
    )


def _joined(texts: list[Text]) -> list[Text]:
    """The texts of the parts; a line that was cut between two of them is whole.

    A part that does not begin like a log continues the one before. Its first line moves there and
    leaves a blank line, so that lines keep their numbers.
    """
    for number in range(1, len(texts)):
        before, after = texts[number - 1], texts[number]
        begin = after.read(0, len(HEADER))
        if not before.is_cut or begin.startswith((b"#", HEADER.encode())):
            continue
        line, rest = after.without_first_line()
        texts[number - 1], texts[number] = Text(*before.stretches, *line.stretches), rest
    return texts


def _declared(
    names: tuple[str, ...], texts: list[Text], parts: list[Part], losses: Unused
) -> tuple[System, list[str]]:
    """What the parts declare, in order, and sentences about it."""
    declarations = Declarations(names, losses)
    for number, part in enumerate(parts):
        declarations.known = False
        for line, text in part.remarks:
            declarations.add((number, line), text)
        known = declarations.known or part.headers or len(part.events)
        if not known and part.says_something:
            raise messages.not_a_log(names[number], texts[number].read(0, 40))
    warnings = declarations.warnings()
    if not any(text.startswith(VERSION_START) for _, text in parts[0].remarks):
        warnings.append(f"{names[0]}: no line '#tracelens 1'; read as an event log of version 1")
    if not any(len(part.events) for part in parts):
        warnings.append("the log has no events")
    return declarations.system(), warnings


def _usable(
    parts: list[Part], text: Text, number: int, declared: System, losses: Unused
) -> pl.DataFrame:
    """The events of a part without a torn last line and those that do not say enough."""
    part = parts[number]
    events, others = part.events, [one.events for one in parts if one is not part]
    is_last = len(events) and events["line"][-1] == part.lines
    last = text.last_line() if is_last else b""  # which may be long, if it is no event
    if last and checks.is_torn(events, last, _ids(declared), others):
        losses.add(unused.TORN, number, [part.lines])
        events = events.head(-1)
    return checks.drop_meaningless(events, number, losses)


def _ids(declared: System) -> set[str]:
    kinds = (declared.tasks, declared.isrs, declared.locks, declared.queues)
    return {word for things in kinds for thing in things for word in (thing.id, thing.name)}


def _within_bits(
    events: pl.DataFrame, number: int, declared: System, losses: Unused
) -> pl.DataFrame:
    """The events whose time the counter of `bits` can show."""
    most = [2**clock.bits - 1 for clock in declared.clocks]
    if not len(events) or int(events["time"].to_numpy().max()) <= min(most):
        return events
    which = counters_of_cores(declared.clocks)[events["core"].to_numpy()]
    beyond = events["time"].to_numpy() > np.array(most, np.uint64)[which]
    losses.add(unused.BEYOND_BITS, number, events["line"].to_numpy()[beyond])
    return events.filter(pl.Series(~beyond))

"""The mapping file: which lines of somebody else's text are which events.

    [source]
    skip = '^#'                     lines that say nothing
    time = "ticks"                  or s, ms, us, ns: then the log's clock counts nanoseconds

    [log]
    declare = ["clock hz=25000000 bits=32", "priority order=higher_first"]

    [[line]]
    pattern = '^(?P<time>\\d+),(?P<core>\\d+),ready,(?P<who>\\w+)'
    events = ["release {who}"]

    [[signal]]
    name = "running_a"              a signal of a value change dump
    rise = ["start a"]
    fall = ["start -"]

The rules are tried in their order; the first that fits a line takes it. A rule without events
swallows its lines. `{group}` stands for what a named group of the pattern took; the groups `time`
and `core` are the event's own. With `first_per = "who"` a rule takes of the lines that it
fits only the first of each value of that group. `declare` of a rule makes a declaration of a line.
"""

import re
from itertools import chain
from pathlib import Path
from typing import Any, Final, Literal

import msgspec

from tracelens.errors import SystemFileError
from tracelens.formats.toml_schema import Strict, table_of
from tracelens.formats.toml_text import tables_of, text_of
from tracelens.model.events import CODE

MOST_RULES: Final = 1000
"""Each is held against each line that no rule before it took."""

_FIELD: Final = re.compile(r"\{(\w*)\}")
_GROUP: Final = re.compile(r"\(\?P?<(\w+)>")

TimeUnit = Literal["ticks", "s", "ms", "us", "ns"]


class SourceTable(Strict, frozen=True):
    """[source]"""

    skip: str | None = None
    time: TimeUnit = "ticks"


class LogTable(Strict, frozen=True):
    """[log]"""

    declare: tuple[str, ...] = ()


class LineTable(Strict, frozen=True):
    """[[line]]"""

    pattern: str
    events: tuple[str, ...] = ()
    declare: str | None = None
    first_per: str | None = None


class SignalTable(Strict, frozen=True):
    """[[signal]]: `values` maps what the signal becomes, in binary digits, to events."""

    name: str
    rise: tuple[str, ...] = ()
    fall: tuple[str, ...] = ()
    values: dict[str, tuple[str, ...]] = msgspec.field(default_factory=dict)
    core: int = 0


class Mapping(Strict, frozen=True):
    """A whole mapping file; `place` is its name in messages."""

    place: str
    source: SourceTable = SourceTable()
    log: LogTable = LogTable()
    lines: tuple[LineTable, ...] = ()
    signals: tuple[SignalTable, ...] = ()


_PARTS: Final = ("source", "log", "line", "signal")


def read_mapping(path: str | Path) -> Mapping:
    """Read a mapping file. Raises `SystemFileError`, one line a mistake."""
    return parse_mapping(text_of(path), str(path))


def parse_mapping(text: str, place: str = "mapping") -> Mapping:
    """The same for text that is in memory already."""
    raw = tables_of(text, place)
    for word in raw:
        if word not in _PARTS:
            raise SystemFileError(
                f"{word} is not a key", place=place, hint=f"the keys are {', '.join(_PARTS)}"
            )
    for word in ("line", "signal"):
        if len(_rows(raw, word)) > MOST_RULES:
            raise SystemFileError(
                f"{word}: found {len(_rows(raw, word))} rules, expected at most {MOST_RULES}",
                place=place,
                hint="a group of the pattern takes what differs from line to line",
            )
    lines = [table_of(entry, LineTable, f"line {i}", place) for i, entry in _rows(raw, "line")]
    signals = [
        table_of(entry, SignalTable, f"signal {i}", place) for i, entry in _rows(raw, "signal")
    ]
    mapping = Mapping(
        place=place,
        source=table_of(raw.get("source", {}), SourceTable, "source", place),
        log=table_of(raw.get("log", {}), LogTable, "log", place),
        lines=tuple(lines),
        signals=tuple(signals),
    )
    for declared in mapping.log.declare:
        _check_declaration(declared, "log.declare", place)
    if mapping.source.skip is not None:
        _pattern(mapping.source.skip, "source.skip", place)
    for number, rule in enumerate(lines, 1):
        _check_rule(rule, f"line {number}", place)
    for number, signal in enumerate(signals, 1):
        if signal.values and (signal.rise or signal.fall):
            raise SystemFileError(
                f"signal {number}: found values beside rise or fall, expected one of the two",
                place=place,
            )
        valued = chain.from_iterable(signal.values.values())
        for event in (*signal.rise, *signal.fall, *valued):
            _check_event(event, set(), f"signal {number}", place)
    return mapping


def _rows(raw: dict[str, Any], word: str) -> "list[tuple[int, Any]]":
    rows = raw.get(word, [])
    return list(enumerate(rows if isinstance(rows, list) else [rows], 1))


def _pattern(text: str, where: str, place: str) -> set[str]:
    """The names of the groups of a pattern that the table library can compile."""
    import polars as pl

    try:
        pl.select(pl.lit("").str.contains(text))
    except pl.exceptions.ComputeError as error:
        # Of its message the last line of the first part, which is the reason.
        what = str(error).partition("\n\n")[0].splitlines()[-1].split("error: ")[-1]
        raise SystemFileError(f"{where}: not a pattern: {what}", place=place) from None
    return set(_GROUP.findall(text))


def _check_rule(rule: LineTable, where: str, place: str) -> None:
    groups = _pattern(rule.pattern, f"{where}.pattern", place)
    if rule.events and "time" not in groups:
        raise SystemFileError(
            f"{where}: found a pattern without a time, expected a group (?P<time>…)",
            place=place,
            hint="a rule without events needs none",
        )
    if rule.first_per is not None and rule.first_per not in groups:
        raise SystemFileError(
            f"{where}.first_per: found {rule.first_per}, expected a group of the pattern "
            f"({', '.join(sorted(groups)) or 'it has none'})",
            place=place,
        )
    for event in rule.events:
        _check_event(event, groups, where, place)
    _check_declaration(rule.declare or "", where, place)
    for field in _FIELD.findall(rule.declare or ""):
        _check_field(field, groups, where, place)


def _check_declaration(text: str, where: str, place: str) -> None:
    if not text.isprintable():
        raise SystemFileError(
            f"{where}: found {text!r}, expected one declaration, a line of the log", place=place
        )


def _check_event(event: str, groups: set[str], where: str, place: str) -> None:
    words = event.split()
    if not 1 <= len(words) <= 3:
        raise SystemFileError(
            f"{where}: found the event {event!r}, expected a word, a subject and perhaps a value",
            place=place,
        )
    if words[0] not in CODE and not _FIELD.search(words[0]):
        import difflib

        near = difflib.get_close_matches(words[0], CODE, 1)
        raise SystemFileError(
            f"{where}: found the event {words[0]!r}, expected a word of the event log",
            place=place,
            hint=f"did you mean {near[0]}?" if near else f"the words are {', '.join(CODE)}",
        )
    for field in _FIELD.findall(event):
        _check_field(field, groups, where, place)


def _check_field(field: str, groups: set[str], where: str, place: str) -> None:
    if field not in groups:
        raise SystemFileError(
            f"{where}: found {{{field}}}, expected a group of the pattern "
            f"({', '.join(sorted(groups)) or 'it has none'})",
            place=place,
        )

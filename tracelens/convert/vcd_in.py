"""A value change dump (IEEE 1364, clause on VCD files) to the lines of an event log.

A logic analyser's pins say who runs: one pin a task, or several that carry a number. The mapping's
`[[signal]]` tables say what a change of which signal means. pyvcd reads the tokens.
"""

import io
from collections.abc import Iterator
from typing import Any, Final

from tracelens.convert.mapping_toml import Mapping, SignalTable
from tracelens.errors import InputError, SystemFileError
from tracelens.log.render import VERSION_LINE
from tracelens.model.events import HEADER
from tracelens.model.system import MOST_NAMES
from tracelens.units import NS_IN, NS_PER_S

_WIDEST: Final = 1 << 12
"""Digits to which a value is extended at most: a mapping has none of more."""
_MOST_ENDS: Final = 100
"""How often the library may ask for more after the end; where a bracket is left open it asks for
ever."""
_FINER: Final = {"ps": 1000, "fs": 1_000_000}


def convert_vcd(data: bytes, mapping: Mapping, name: str) -> tuple[bytes, int]:
    """(log, number of its events). Raises `InputError` for what is no dump, `SystemFileError` for a
    signal that it does not have."""
    events = list(_events(data, mapping, name))
    if not events:
        raise InputError(
            "no change of a signal is an event: found none, expected one at least",
            place=name,
            hint=f"see the [[signal]] tables of {mapping.place}",
        )
    head = "".join(f"#{line}\n" for line in (f"clock hz={NS_PER_S} bits=64", *mapping.log.declare))
    body = "".join(f"{time},{core},{event}\n" for time, core, event in events)
    return f"{VERSION_LINE}\n{head}{HEADER}\n{body}".encode(), len(events)


class _Dump(io.BytesIO):
    """The bytes of a dump. Raises `ValueError` when asked for more and more after their end."""

    _ends = 0

    def readinto(self, buffer: Any, /) -> int:
        count = super().readinto(buffer)
        self._ends += not count
        if self._ends > _MOST_ENDS:
            raise ValueError("it ends within a declaration")
        return count


def _events(data: bytes, mapping: Mapping, name: str) -> Iterator[tuple[int, int, str]]:
    """(time in ns, core, 'word,subject,value') of every change that says something."""
    from vcd.reader import TokenKind, VCDParseError, tokenize

    scale: tuple[int, int] = (1, 1)
    scopes: list[str] = []
    named: dict[str, list[str]] = {}
    widths: dict[str, int] = {}
    rules: dict[str, list[SignalTable]] = {}
    values: dict[str, str] = {}
    time = 0
    try:
        for token in tokenize(_Dump(data)):  # one pass: the library gives tokens one by one
            match token.kind:
                case TokenKind.TIMESCALE:
                    scale = _scale(int(token.timescale.magnitude), token.timescale.unit.value)
                case TokenKind.SCOPE:
                    scopes.append(token.scope.ident)
                case TokenKind.UPSCOPE:
                    scopes.pop()
                case TokenKind.VAR:
                    named.setdefault(token.var.id_code, []).append(
                        ".".join((*scopes, token.var.reference))
                    )
                    widths[token.var.id_code] = min(token.var.size, _WIDEST)
                    if len(widths) > MOST_NAMES:
                        raise InputError(
                            f"too many signals: found {len(widths)}, expected at most {MOST_NAMES}",
                            place=name,
                            hint="save those alone that the mapping names",
                        )
                case TokenKind.ENDDEFINITIONS:
                    rules = _rules(mapping, named)
                case TokenKind.CHANGE_TIME:
                    time = token.time_change * scale[0] // scale[1]
                case TokenKind.CHANGE_SCALAR | TokenKind.CHANGE_VECTOR:
                    change = (
                        token.scalar_change
                        if token.kind is TokenKind.CHANGE_SCALAR
                        else token.vector_change
                    )
                    value = _whole(change.value, widths.get(change.id_code, 1))
                    before = values.get(change.id_code)
                    values[change.id_code] = value
                    if value != before:
                        for rule in rules.get(change.id_code, ()):
                            for event in _meant(rule, before, value):
                                yield time, rule.core, event
                case _:
                    pass
    except (VCDParseError, ValueError, IndexError) as error:
        what = " ".join(str(error).split())[:120]
        raise InputError(f"not a value change dump: {what}", place=name) from None


def _scale(magnitude: int, unit: str) -> tuple[int, int]:
    """A time of the dump × first / second is nanoseconds."""
    return (magnitude * NS_IN[unit], 1) if unit in NS_IN else (magnitude, _FINER[unit])


def _whole(value: Any, width: int) -> str:
    """A value in binary digits of its full width, extended on the left as the standard says."""
    text = bin(value)[2:] if isinstance(value, int) else str(value).lower()
    filler = "0" if text[:1] in ("0", "1") else text[:1]
    return text.rjust(width, filler or "x")


def _rules(mapping: Mapping, named: dict[str, list[str]]) -> dict[str, list[SignalTable]]:
    """Id code → the tables that speak of it; a name may leave out leading scopes."""
    found: dict[str, list[SignalTable]] = {}
    for number, signal in enumerate(mapping.signals, 1):
        codes = [
            code
            for code, names in named.items()
            if any(full == signal.name or full.endswith(f".{signal.name}") for full in names)
        ]
        if len(codes) != 1:
            told = sorted(full for names in named.values() for full in names)
            raise SystemFileError(
                f"signal {number}: found {len(codes)} signals of the name {signal.name}, expected "
                f"one of {', '.join(told[:12])}",
                place=mapping.place,
                hint="write its scopes too: top.cpu.name" if codes else None,
            )
        found.setdefault(codes[0], []).append(signal)
    return found


def _meant(rule: SignalTable, before: str | None, value: str) -> Iterator[str]:
    """The events of one change. The first value of a signal is a change if it is on."""
    if rule.values:
        said = next(
            (events for key, events in rule.values.items() if key.rjust(len(value), "0") == value),
            (),
        )
    elif value.strip("0") and set(value) <= {"0", "1"}:
        said = rule.rise
    elif before is not None and not value.strip("0"):
        said = rule.fall
    else:
        said = ()
    for event in said:
        yield ",".join((*event.split(), "", "")[:3])

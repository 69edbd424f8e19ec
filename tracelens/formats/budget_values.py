"""The values of a budgets file: limits with their units, severities, reasons, waivers."""

import difflib
import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Final, TypeGuard

from tracelens.model.budgets import SEVERITIES, Measure, Unit, Waiver
from tracelens.units import NS_IN, NS_PER_US, time_ns, us_to_ns

SHARED: Final = ("severity", "reason", "waiver")
"""Keys that a table sets for all its limits, and a limit's own table for itself."""

UNIT_WORDS: Final[dict[Unit, str]] = {
    "us": "a time in µs",
    "share": "a share from 0 to 1",
    "count": "a whole number",
    "bytes": "a whole number of bytes",
    "per_s": "a number a second",
}
NO_KEY: Final = "is not a key"
"""Follows upon a path without a colon."""

_PERCENT: Final = re.compile(r"([0-9]+(?:\.[0-9]+)?)\s*%")
_BEYOND: Final = 2.0**63
_LONGEST: Final = 60
"""Characters of a value that a message shows."""


class MistakeError(Exception):
    """A value that will not do. `path` leads from the key read to the one that is wrong."""

    def __init__(self, problem: str, *path: str, hint: str | None = None) -> None:
        self.problem = problem
        self.path = path
        self.hint = hint
        super().__init__(problem)


def no_key(key: str, known: Sequence[str], *path: str) -> MistakeError:
    """The mistake of a key that is none of `known`, with the nearest of them."""
    near = difflib.get_close_matches(key, known, 1, cutoff=0.6)
    said = f"{NO_KEY}: did you mean {near[0]}?" if near else NO_KEY
    return MistakeError(said, *path, hint=None if near else f"the keys are {', '.join(known)}")


@dataclass(frozen=True, slots=True)
class Limit:
    """A limit as written: `limit` in ns where the unit is µs, `shared` what it sets for itself."""

    limit: float
    of: int | None = None
    shared: dict[str, Any] = field(default_factory=dict)


def limit(value: object, measure: Measure) -> Limit:
    """A bare number, or a table `{ at_most = N, … }` (of a least value: `at_least`).

    Raises `MistakeError`.
    """
    if not isinstance(value, Mapping):
        return Limit(_sensible(_quantity(value, measure.unit), measure, value))
    bound, other = ("at_least", "at_most") if measure.least else ("at_most", "at_least")
    known = [bound, *(["of"] if measure.patterned else []), *SHARED]
    for key in value:
        if key == other:
            raise MistakeError(f"found {other}, expected {bound}", key)
        if key not in known:
            raise no_key(key, known, key)
    if bound not in value:
        raise MistakeError(f"found no limit, expected {bound}")
    try:
        amount = _sensible(_quantity(value[bound], measure.unit), measure, value[bound])
    except MistakeError as mistake:
        raise MistakeError(mistake.problem, bound, hint=mistake.hint) from mistake
    return Limit(amount, _of(value["of"], amount) if "of" in value else None, shared(value))


def _of(value: object, at_most: float) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or value < 1:
        raise MistakeError(f"found {shown(value)}, expected a whole number from 1 on", "of")
    if at_most >= value:
        raise MistakeError(
            f"always met: found at_most = {at_most:g} of {value}, expected less", "of"
        )
    return value


def shared(table: Mapping[str, Any]) -> dict[str, Any]:
    """`severity`, `reason` and `waiver` of a table, those that it has. Raises `MistakeError`."""
    found: dict[str, Any] = {}
    if "severity" in table:
        word = table["severity"]
        if word not in SEVERITIES:
            near = difflib.get_close_matches(str(word), SEVERITIES, 1)
            raise MistakeError(
                f"found {shown(word)}, expected one of {', '.join(SEVERITIES)}"
                + (f": did you mean {near[0]}?" if near else ""),
                "severity",
            )
        found["severity"] = word
    if "reason" in table:
        found["reason"] = _sentence(table["reason"], "reason")
    if "waiver" in table:
        found["waiver"] = _waiver(table["waiver"])
    return found


def _sentence(value: object, *path: str) -> str:
    if not isinstance(value, str) or not value.strip():
        raise MistakeError(f"found {shown(value)}, expected a text", *path)
    return value


def _waiver(value: object) -> Waiver:
    example = 'waiver = { until = 2027-01-31, reason = "..." }'
    if not isinstance(value, Mapping):
        raise MistakeError(f"found {shown(value)}, expected a table", "waiver", hint=example)
    for key in value:
        if key not in ("until", "reason"):
            raise no_key(key, ("until", "reason"), "waiver", key)
    for key in ("until", "reason"):
        if key not in value:
            raise MistakeError(f"found no {key}, expected until and reason", "waiver", hint=example)
    until = value["until"]
    if isinstance(until, datetime) or not isinstance(until, date):
        raise MistakeError(
            f"found {shown(until)}, expected a date such as 2027-01-31, without quotes",
            *("waiver", "until"),
        )
    return Waiver(until, _sentence(value["reason"], "waiver", "reason"))


def is_number(value: object, scale: int = 1) -> TypeGuard[int | float]:
    """Whether it is a number that, times `scale`, 63 bits can count: not infinite, not none."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return False
    return abs(value) < _BEYOND / scale


def number(value: object) -> float:
    """A number that is none too large. Raises `MistakeError`."""
    if not is_number(value):
        raise MistakeError(f"found {shown(value)}, expected a number")
    return value


def share(value: object) -> float:
    """A number from 0 to 1. Raises `MistakeError`."""
    return _quantity(value, "share")


def _quantity(value: object, unit: Unit) -> float:
    expected = f"expected {UNIT_WORDS[unit]}"
    if not is_number(value, NS_PER_US if unit == "us" else 1):
        better = _without_unit(value, unit)
        raise MistakeError(
            f"found {shown(value)}, {expected}" + (f": did you mean {better}?" * bool(better))
        )
    if value < 0:
        raise MistakeError(f"found {value}, {expected}, not below 0")
    if unit == "share":
        if value > 1:
            better = f": did you mean {value / 100:g}?" if value <= 100 else ""
            raise MistakeError(f"found {value}, {expected}{better}")
        return float(value)
    if unit == "us":
        ns = Decimal(str(value)) * NS_PER_US
        if ns != int(ns):
            raise MistakeError(f"found {value}, {expected}, to the nanosecond at the finest")
        return us_to_ns(value)
    if unit in ("count", "bytes") and value != int(value):
        raise MistakeError(f"found {value}, {expected}")
    return value


def _sensible(amount: float, measure: Measure, value: object) -> float:
    if measure.least and amount == 0:
        raise MistakeError(f"always met: found at least {value}, expected more than 0")
    return amount


def _without_unit(value: object, unit: Unit) -> str:
    """The number to write instead of a text with a unit; '' if the text is none."""
    if not isinstance(value, str):
        return ""
    ns, percent = time_ns(value.strip()), _PERCENT.fullmatch(value.strip())
    if unit == "us" and ns is not None:
        return _plain(ns / NS_PER_US)
    return _plain(Decimal(percent[1]) / 100) if unit == "share" and percent else ""


def other_unit(
    key: str, value: object, known: Mapping[str, Measure]
) -> tuple[str, Measure, str] | None:
    """The measure of which `key` is the name with another unit: (unit, it, what to write)."""
    stem, _, said = key.rpartition("_")
    if said in NS_IN and said != "us" and f"{stem}_us" in known:
        measure = known[f"{stem}_us"]
        if isinstance(value, int | float) and not isinstance(value, bool):
            us = Decimal(str(value)) * NS_IN[said] / NS_PER_US
            return said, measure, f"{measure.key} = {_plain(us)}"
        return said, measure, measure.key
    if said in ("percent", "pct") and stem in known and known[stem].unit == "share":
        better = stem
        if isinstance(value, int | float) and not isinstance(value, bool):
            better = f"{stem} = {_plain(Decimal(str(value)) / 100)}"
        return "percent", known[stem], better
    return None


def _plain(value: Decimal) -> str:
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def shown(value: object) -> str:
    """A TOML value for a message."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, Mapping):
        return "a table"
    if isinstance(value, list):
        return "an array"
    if isinstance(value, int) and not is_number(value):
        return "a number of more than 63 bits"
    text = json.dumps(value, ensure_ascii=False) if isinstance(value, str) else str(value)
    return text if len(text) <= _LONGEST else f"{text[: _LONGEST - 1]}…"

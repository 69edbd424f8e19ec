"""Damage as words of a command line: `loss=0.02`, `bits=16`, `crlf`."""

import difflib
from collections.abc import Iterable
from dataclasses import fields
from typing import Any, Final

from tracelens.engine.damage import Damage
from tracelens.errors import UsageError

_KEYS: Final = {field.name: field for field in fields(Damage)}


def parse_damage(words: Iterable[str]) -> Damage:
    """`["loss=0.02", "bits=16", "cut"]` → `Damage`. Raises `UsageError`."""
    given: dict[str, Any] = {}
    for word in words:
        key, has_value, text = word.partition("=")
        if key not in _KEYS:
            near = difflib.get_close_matches(key, _KEYS, 1)
            raise UsageError(
                f"--damage {word}: {key!r} is no kind of damage"
                + (f": did you mean {near[0]}?" if near else ""),
                hint=None if near else f"the kinds are {', '.join(_KEYS)}",
            )
        given[key] = _value(key, text if has_value else None)
    return Damage(**given)


def _value(key: str, text: str | None) -> bool | int | float:
    kind = _KEYS[key].type
    if kind in (bool, "bool"):
        if text not in (None, "yes", "no"):
            raise UsageError(f"--damage {key}: found {text!r}, expected yes or no")
        return text != "no"
    number = float if kind in (float, "float") else int
    what = "a share such as 0.02" if number is float else "a whole number"
    try:
        return number(text or "")
    except ValueError:
        raise UsageError(f"--damage {key}: found {text or ''!r}, expected {what}") from None

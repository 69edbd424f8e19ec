"""Every declaration of the event log and its keys: what they mean and how they are written.

The parser, the renderer and the document of the format all go by the tables here.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

from tracelens.model.system import Clock, Core, Isr, Lock, Queue, Task
from tracelens.units import NS_PER_US, us_to_ns

VERSION: Final = "1"
"""The version of the format, as in `#tracelens 1`."""

MOST_HZ: Final = 9_000_000_000
"""Ticks a second, at most: a remainder of ticks times 10^9 still fits into 63 bits."""

_INT64_MAX: Final = 2**63 - 1
_DECIMAL = re.compile(r"[0-9]{1,16}(\.[0-9]{1,9})?")  # 2000 or 62.5


@dataclass(frozen=True, slots=True)
class Key:
    """One key: the field of the record that it fills, and how text and value turn into each other.

    `parse` raises ValueError, whose message is what was expected. A field that has the value
    `default` is not written.
    """

    field: str
    parse: Callable[[str], Any]
    render: Callable[[Any], str] = str
    default: Any = None


def _whole(low: int, high: int, expected: str) -> Callable[[str], int]:
    def parse(text: str) -> int:
        digits = text.removeprefix("-")
        if not (digits.isascii() and digits.isdigit() and len(digits) <= 20):
            raise ValueError(expected)
        if not low <= int(text) <= high:
            raise ValueError(expected)
        return int(text)

    return parse


def _microseconds(low: int, expected: str) -> Callable[[str], int]:
    def parse(text: str) -> int:
        if not _DECIMAL.fullmatch(text):
            raise ValueError(expected)
        ns = us_to_ns(int(text) if text.isdigit() else text)
        if not low <= ns <= _INT64_MAX:
            raise ValueError(expected)
        return ns

    return parse


def _render_us(ns: int) -> str:
    whole, rest = divmod(ns, NS_PER_US)
    return f"{whole}.{rest:03d}".rstrip("0") if rest else str(whole)


def _one_of(*words: str) -> Callable[[str], str]:
    def parse(text: str) -> str:
        if text not in words:
            raise ValueError(f"one of {', '.join(words)}")
        return text

    return parse


def _text(text: str) -> str:
    if not text:
        raise ValueError("a value")
    return text


def _yes(text: str) -> bool:
    if text not in ("yes", "no"):
        raise ValueError("yes or no")
    return text == "yes"


_COUNT = _whole(0, _INT64_MAX, "a whole number, 0 or more")
_INTEGER = _whole(-_INT64_MAX, _INT64_MAX, "a whole number")
_CORE = _whole(0, 255, "a whole number from 0 to 255")
_DURATION = _microseconds(0, "a number of microseconds, 0 or more")
_PERIOD = _microseconds(1, "a number of microseconds, more than 0")

_NAMED: Final = {"id": Key("id", _text), "name": Key("name", _text)}

TASK: Final = {
    **_NAMED,
    "priority": Key("priority", _INTEGER),
    "period_us": Key("period_ns", _PERIOD, _render_us),
    "separation_us": Key("separation_ns", _PERIOD, _render_us),
    "offset_us": Key("offset_ns", _DURATION, _render_us),
    "deadline_us": Key("deadline_ns", _PERIOD, _render_us),
    "stack_bytes": Key("stack_bytes", _COUNT),
    "activation": Key("activation", _text),
    "core": Key("core", _CORE),
    "idle": Key("idle", _yes, lambda idle: "yes" if idle else "no"),
}
ISR: Final = {**_NAMED, "priority": Key("priority", _INTEGER)}
LOCK: Final = {
    **_NAMED,
    "protocol": Key("protocol", _one_of("none", "inherit", "ceiling")),
    "ceiling": Key("ceiling", _INTEGER),
}
QUEUE: Final = {**_NAMED, "depth": Key("depth", _COUNT)}
CORE: Final = {"id": Key("id", _CORE), "name": Key("name", _text)}

CLOCK: Final = {
    "hz": Key("hz", _whole(1, MOST_HZ, f"a whole number from 1 to {MOST_HZ}")),
    "bits": Key("bits", _whole(8, 64, "a whole number from 8 to 64")),
    "late_us": Key("late_ns", _DURATION, _render_us, Clock(hz=1).late_ns),
    "core": Key("core", _CORE),
}
PRIORITY: Final = {"order": Key("order", _one_of("higher_first", "lower_first"))}
POLICY: Final = {"name": Key("policy", _one_of("fixed", "edf", "round_robin"), default="fixed")}
NOTE: Final = {"text": Key("text", _text)}

THINGS: Final[dict[str, tuple[type, dict[str, Key]]]] = {
    "core": (Core, CORE),
    "task": (Task, TASK),
    "isr": (Isr, ISR),
    "lock": (Lock, LOCK),
    "queue": (Queue, QUEUE),
}
"""Declarations of things that have an id: word → record and keys, in the order of writing."""

SETTINGS: Final = {"clock": CLOCK, "priority": PRIORITY, "policy": POLICY, "note": NOTE}
"""Declarations that are about the log as a whole. `#run` takes any key."""

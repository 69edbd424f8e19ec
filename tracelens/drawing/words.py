"""Reasons in words for people, exact times for a closer look, and times that people type."""

import re
from decimal import Decimal
from typing import Final

from tracelens.errors import UsageError
from tracelens.units import NS_PER_MS, NS_PER_S, NS_PER_US

THIN_SPACE: Final = "\u202f"

_SCALE: Final = {
    "ns": 1,
    "us": NS_PER_US,
    "µs": NS_PER_US,
    "μs": NS_PER_US,
    "ms": NS_PER_MS,
    "s": NS_PER_S,
    "min": 60 * NS_PER_S,
    "": NS_PER_S,
}
# 8.12s   8,12 s   250us   12 ms   3.5   (no unit: seconds)
_INSTANT: Final = re.compile(r"\s*([0-9]+(?:[.,][0-9]+)?)\s*(ns|us|µs|μs|ms|s|min|)\s*")


def grouped(number: int) -> str:
    """A count, digits in threes: '200 000'."""
    return f"{number:,}".replace(",", THIN_SPACE)


def exact(ns: int) -> str:
    """A time in microseconds to the nanosecond, digits in threes: '8 120 004.5 µs'."""
    text = f"{Decimal(ns).scaleb(-3):,f}".replace(",", THIN_SPACE)
    return f"{text.rstrip('0').rstrip('.') if '.' in text else text} µs"


def instant(ns: int) -> str:
    """An instant of the run, in seconds to the microsecond: '8.120 004 s'."""
    whole, part = divmod(ns // NS_PER_US, 10**6)
    return f"{whole}.{part // 1000:03}{THIN_SPACE}{part % 1000:03} s"


def read_instant(text: str) -> int:
    """The instant that a person typed, in ns: '8.12 s', '250us', a bare number in seconds.

    Raises `UsageError` for anything else.
    """
    match = _INSTANT.fullmatch(text)
    if match is None:
        raise UsageError(f"found {text.strip()[:40]!r}, expected a time such as 8.12 s or 250 us")
    return int(Decimal(match[1].replace(",", ".")) * _SCALE[match[2]])


def reason(entry: str, by: str | None, via: str | None) -> str:
    """What a ledger entry says happened meanwhile: 'archive holds flash_bus'."""
    match entry:
        case "execution":
            return "executes"
        case "blocked":
            return f"{by} holds {via}" if via else f"{by} is in the way"
        case "inversion":
            return f"{by} runs, less urgent; {via} held"
        case "interference":
            return f"{by} runs, at least as urgent"
        case "deferred":
            return f"{by} runs, less urgent" + (f": {via}" if via else "")
        case "unranked":
            return f"{by} runs, of unknown priority"
        case "isr":
            return f"interrupt {by}"
        case "suspended":
            return f"waits for {via}" if via else "waits, for what is not in the log"
        case "backlog":
            return "its earlier job is not complete"
        case "switching":
            return "the kernel switches"
        case "asleep":
            return "the core sleeps"
        case _:
            return "not known: a gap in the log"

"""Units of time: integer nanoseconds inside, µs, ms and s in the faces."""

import re
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Final

NS_PER_US: Final = 1_000
NS_PER_MS: Final = 1_000_000
NS_PER_S: Final = 1_000_000_000

NS_IN: Final = {"ns": 1, "us": NS_PER_US, "µs": NS_PER_US, "ms": NS_PER_MS, "s": NS_PER_S}
"""Nanoseconds in each unit that people write after a number."""

# 1.5s   .5 ms   250us   2 min
_TIME: Final = re.compile(r"([0-9]+(?:\.[0-9]+)?|\.[0-9]+)\s*(ns|us|[µμ]s|ms|s|min)")


def time_ns(text: str) -> Decimal | None:
    """A time that a person wrote with its unit, in nanoseconds, exactly; None for anything else."""
    match = _TIME.fullmatch(text)
    if match is None:
        return None
    unit = match[2].replace("\N{GREEK SMALL LETTER MU}", "\N{MICRO SIGN}")
    return Decimal(match[1]) * (60 * NS_PER_S if unit == "min" else NS_IN[unit])


def us_to_ns(us: float | int | str) -> int:
    """Microseconds, exact for any decimal text or integer, to the nearest nanosecond."""
    if isinstance(us, int):
        return us * NS_PER_US
    return int((Decimal(str(us)) * NS_PER_US).to_integral_value(ROUND_HALF_EVEN))


def ns_to_us(ns: int | None) -> float | None:
    """Nanoseconds as microseconds; None stays None."""
    return None if ns is None else ns / NS_PER_US

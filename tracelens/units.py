"""Units of time: integer nanoseconds inside, µs, ms and s in the faces."""

from typing import Final

NS_PER_US: Final = 1_000
NS_PER_MS: Final = 1_000_000
NS_PER_S: Final = 1_000_000_000


def us_to_ns(us: float | int | str) -> int:
    """Microseconds, exact for any decimal text or integer, to the nearest nanosecond."""
    if isinstance(us, int):
        return us * NS_PER_US
    from decimal import ROUND_HALF_EVEN, Decimal

    return int((Decimal(str(us)) * NS_PER_US).to_integral_value(ROUND_HALF_EVEN))


def ns_to_us(ns: int | None) -> float | None:
    """Nanoseconds as microseconds; None stays None."""
    return None if ns is None else ns / NS_PER_US

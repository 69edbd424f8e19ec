"""Numbers as a reader sees them: one unit a column, three significant digits, no false hundreds."""

from collections.abc import Iterable, Sequence
from typing import Final

from tracelens.units import NS_PER_MS, NS_PER_S, NS_PER_US

DIGITS: Final = 3
ABSENT: Final = "–"
"""Stands where there is no value; an empty cell would look like a fault of the table."""

# unit, nanoseconds in it, decimals that reach one nanosecond
_TIME_UNITS: Final = (("ns", 1, 0), ("µs", NS_PER_US, 3), ("ms", NS_PER_MS, 6), ("s", NS_PER_S, 9))


def significant(value: float, most_decimals: int = 9) -> str:
    """`value` rounded to three significant digits; digits before the point are never rounded away.

    `most_decimals` is where the value's own resolution ends: nothing finer is shown.
    """
    if value == 0:
        return "0"
    exponent = int(f"{value:.{DIGITS - 1}e}".partition("e")[2])  # after rounding: 9.996 is 10.0
    return f"{value:.{min(max(DIGITS - 1 - exponent, 0), most_decimals)}f}"


def time_unit(values_ns: Iterable[int | None]) -> str:
    """The unit for a group of times that stand together: the one that suits the middle one.

    The largest would not do: one outlier would turn all the others into zeros.
    """
    there = sorted(abs(ns) for ns in values_ns if ns)
    middle = there[len(there) // 2] if there else 0
    return next((unit for unit, ns_in_it, _ in _TIME_UNITS if middle < 1000 * ns_in_it), "s")


def time_in(unit: str, ns: int) -> str:
    """A duration in `unit`, without it."""
    _, ns_in_it, decimals = next(known for known in _TIME_UNITS if known[0] == unit)
    return significant(ns / ns_in_it, decimals)


def duration(ns: int) -> str:
    """A duration with its unit, for running text: '612 µs'."""
    unit = time_unit([ns])
    return f"{time_in(unit, ns)} {unit}"


def moment(ns: int) -> str:
    """A place on the time axis in seconds, without the unit.

    To the microsecond that it lies in: it is there to be found again, not to be compared.
    """
    return f"{ns // NS_PER_S}.{ns % NS_PER_S // NS_PER_US:06}"


def percent(share: float) -> str:
    """A share from 0 to 1 in percent, without the sign; neither end is reached by rounding."""
    if share <= 0 or share == 1:
        return "0" if share <= 0 else "100"
    text = significant(share * 100, 2)
    if float(text) == 0:
        return "<0.01"
    return ">99.9" if share < 1 and float(text) >= 100 else text


def signed_percent(change: float) -> str:
    """A difference of shares, or a growth, in percent without the unit: '+5.12', '−0.3'."""
    text = significant(abs(change) * 100, 2)
    if float(text) == 0:
        return "0"
    return f"{'−' if change < 0 else '+'}{text}"


def chance(p: float) -> str:
    """A probability to three decimals: '0.013', '<0.001', '1'."""
    return "<0.001" if p < 0.001 else f"{p:.3f}".rstrip("0").rstrip(".")


def aligned(cells: Sequence[str]) -> list[str]:
    """Right-aligned cells padded so that their decimal points stand under each other."""
    longest = max((len(fraction(cell)) for cell in cells), default=0)
    return [cell + " " * (longest - len(fraction(cell))) for cell in cells]


def fraction(cell: str) -> str:
    """The decimal point and what follows it; empty for a whole number."""
    return cell[cell.index(".") :] if "." in cell else ""

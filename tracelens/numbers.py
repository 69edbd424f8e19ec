"""Numbers, times and lists as a reader sees them, on every face alike.

Three significant digits, one unit a column, no false hundreds. What a machine reads (JSON, CSV,
TOML, logs) is not written here.
"""

import re
from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import Final

from tracelens.units import NS_PER_MS, NS_PER_S, NS_PER_US

DIGITS: Final = 3
ABSENT: Final = "–"
"""Stands where there is no value; an empty cell would look like a fault of the table."""
MINUS: Final = "−"
THIN_SPACE: Final = "\u202f"

# unit, nanoseconds in it, decimals that reach one nanosecond
_TIME_UNITS: Final = (("ns", 1, 0), ("µs", NS_PER_US, 3), ("ms", NS_PER_MS, 6), ("s", NS_PER_S, 9))

_BEFORE_UNIT: Final = re.compile(r"(?<=\d) (?=(?:ns|µs|ms|s|%|bytes?)(?!\w))")


def significant(value: float, most_decimals: int = 9) -> str:
    """`value` rounded to three significant digits; digits before the point are never rounded away.

    `most_decimals` is where the value's own resolution ends: nothing finer is shown.
    """
    if value == 0:
        return "0"
    exponent = int(f"{value:.{DIGITS - 1}e}".partition("e")[2])  # after rounding: 9.996 is 10.0
    return _minus(f"{value:.{min(max(DIGITS - 1 - exponent, 0), most_decimals)}f}")


# ------------------------------------------------------------------------------------ times


def duration(ns: float) -> str:
    """A length of time with its unit, the one that reads best: '1.85 ms'."""
    unit, size, decimals = next(
        (known for known in reversed(_TIME_UNITS) if abs(ns) >= 0.9995 * known[1]), _TIME_UNITS[0]
    )
    return f"{significant(ns / size, decimals)} {unit}"


def moment(ns: int) -> str:
    """A place on the time axis: '8.120345 s', as `--from` takes it."""
    return f"{seconds(ns)} s"


def seconds(ns: int) -> str:
    """A place on the time axis for a column of seconds.

    To the microsecond that it lies in: it is there to be found again, not to be compared.
    """
    return f"{ns // NS_PER_S}.{ns % NS_PER_S // NS_PER_US:06}"


def exact(ns: int) -> str:
    """A time for a closer look, to the nanosecond, digits in threes: '8 120 004.5 µs'."""
    text = f"{Decimal(ns).scaleb(-3):,f}".replace(",", THIN_SPACE)
    return f"{_minus(_short(text))} µs"


def microseconds(ns: int) -> str:
    """A time for a column of exact microseconds: '−734.25'."""
    return _minus(_short(f"{Decimal(ns).scaleb(-3):f}"))


def time_unit(values_ns: Iterable[int | None]) -> str:
    """The unit for a group of times that stand together: the one that suits the middle one.

    The largest would not do: one outlier would turn all the others into zeros.
    """
    there = sorted(abs(ns) for ns in values_ns if ns)
    middle = there[len(there) // 2] if there else 0
    return next((unit for unit, ns_in_it, _ in _TIME_UNITS if middle < 1000 * ns_in_it), "s")


def time_in(unit: str, ns: int) -> str:
    """A length of time for a column in `unit`."""
    _, ns_in_it, decimals = next(known for known in _TIME_UNITS if known[0] == unit)
    return significant(ns / ns_in_it, decimals)


# ----------------------------------------------------------------------------------- shares


def percent(share: float, decimals: int = 2) -> str:
    """A share from 0 to 1 in percent: '73.5 %'."""
    return f"{hundredths(share, decimals)} %"


def hundredths(share: float, decimals: int = 2) -> str:
    """A share from 0 to 1 for a column of percent; neither end is reached by rounding."""
    if share <= 0 or share == 1:
        return "0" if share <= 0 else "100"
    text = significant(share * 100, decimals)
    if float(text) == 0:
        return f"<{10.0**-decimals:.{decimals}f}"
    return ">99.9" if share < 1 and float(text) >= 100 else text


def stated(share: float) -> str:
    """A share that someone set, as they would write it: '5 %'."""
    return f"{100 * share:g} %"


def signed_hundredths(change: float, decimals: int = 2) -> str:
    """A difference of shares, or a growth, for a column of percent: '+5.12', '−0.30'."""
    text = significant(abs(change) * 100, decimals)
    if float(text) == 0:
        return "0"
    return f"{MINUS if change < 0 else '+'}{text}"


def chance(p: float) -> str:
    """A probability to three decimals: '0.013', '<0.001', '1'."""
    return "<0.001" if p < 0.001 else f"{p:.3f}".rstrip("0").rstrip(".")


# ------------------------------------------------------------------------ counts, lists, columns


def count(number: int, what: str) -> str:
    """'1 job', '3 jobs'."""
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def grouped(number: int) -> str:
    """A count, digits in threes: '200 000'."""
    return _minus(f"{number:,}".replace(",", THIN_SPACE))


def tied(text: str, blank: str = "\N{NO-BREAK SPACE}") -> str:
    """A text in which no line ends between a number and its unit."""
    return _BEFORE_UNIT.sub(blank, text)


def listing(names: Sequence[str], most: int = 6) -> str:
    """'a, b and c'; of many, the first and how many more."""
    if len(names) > most:
        return f"{', '.join(names[: most - 1])} and {len(names) - most + 1} more"
    return " and ".join(filter(None, (", ".join(names[:-1]), *names[-1:])))


def aligned(cells: Sequence[str]) -> list[str]:
    """Right-aligned cells padded so that their decimal points stand under each other."""
    longest = max((len(_fraction(cell)) for cell in cells), default=0)
    return [cell + " " * (longest - len(_fraction(cell))) for cell in cells]


def _fraction(cell: str) -> str:
    """The decimal point and what follows it; empty for a whole number."""
    return cell[cell.index(".") :] if "." in cell else ""


def _short(decimal: str) -> str:
    return decimal.rstrip("0").rstrip(".") if "." in decimal else decimal


def _minus(text: str) -> str:
    return text.replace("-", MINUS)

"""What the data of a figure say: packed arrays, a value or one for each point, number formats."""

import base64
import re
from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.float64]

_DTYPES: Final = {"f8": "<f8", "f4": "<f4", "i4": "<i4", "i2": "<i2", "u1": "u1"}
# %{y:.3~s}   %{text}
_PLACE: Final = re.compile(r"%\{(\w+)(?::([^}]*))?\}")
_PREFIXES: Final = {3: "G", 2: "M", 1: "k", 0: "", -1: "m", -2: "µ", -3: "n"}


def numbers(data: Any) -> Numbers:
    """A data array, packed (see `drawing.packing`) or a plain sequence."""
    if isinstance(data, dict):
        flat = np.frombuffer(base64.b64decode(data["bdata"]), _DTYPES[data["dtype"]])
        return flat.astype(np.float64)
    return np.array(data, np.float64)


def each(value: Any, count: int) -> Sequence[Any]:
    """One value a point, of a property that is a sequence or holds for all points."""
    return value if isinstance(value, list | tuple) else [value] * count


def filled(template: str, values: dict[str, float | str]) -> str:
    """A hover template with its places filled; what is in <extra> is left out.

    Raises `KeyError` for a place that has no value, `ValueError` for an unknown format.
    """
    text = template.partition("<extra>")[0]
    return _PLACE.sub(lambda place: _formatted(values[place[1]], place[2]), text)


def _formatted(value: float | str, form: str | None) -> str:
    if isinstance(value, str) or form is None:
        return str(value)
    if form == ".3g":
        return f"{value:.3g}"
    if form == ".3~s":
        return _with_prefix(value)
    raise ValueError(f"unknown number format {form}")


def _with_prefix(value: float) -> str:
    """Three significant digits and an SI prefix, without trailing zeros: 0.00437 is '4.37 m'."""
    exponent = int(f"{value:.2e}".partition("e")[2])
    power = min(max(exponent // 3, -3), 3)
    digits = f"{value / 1000.0**power:.{max(0, 2 - exponent + 3 * power)}f}"
    digits = digits.rstrip("0").rstrip(".") if "." in digits else digits
    return f"{digits} {_PREFIXES[power]}"

"""Numbers and names on their way into a plotly figure.

Arrays travel as base64 of their bytes, the form that plotly.js calls a typed array spec: a third
of the size of decimal text, and nothing is rounded. Names come from logs of any origin: plotly
reads some HTML in labels, so they are made inert first.
"""

import base64
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tracelens.plain import plain

_DTYPES = {"float64": "f8", "float32": "f4", "int32": "i4", "int16": "i2", "uint8": "u1"}


def packed(array: NDArray[Any]) -> dict[str, str]:
    """A numpy array as plotly's typed array spec; int64 becomes float64 (exact to 2**53 ns)."""
    if array.dtype == np.int64:
        array = array.astype(np.float64)
    spec = {
        "dtype": _DTYPES[array.dtype.name],
        "bdata": base64.b64encode(np.ascontiguousarray(array).tobytes()).decode(),
    }
    if array.ndim > 1:
        spec["shape"] = ", ".join(map(str, array.shape))
    return spec


def inert(text: str) -> str:
    """A name that plotly shows as it is written: no tags, no control characters."""
    text = plain(text)
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")

"""A numpy array as a column of a polars table without a copy.

A copy of a large array costs less by its reading than by the room that the machine must make for
it, and one that lies in a file (see `room`) is to stay there.
"""

import nanoarrow
import numpy as np
import polars as pl

_TYPES = {
    np.dtype(kind): getattr(nanoarrow, kind)()
    for kind in ("uint8", "uint16", "uint32", "uint64", "int8", "int16", "int32", "int64")
}


def as_column(values: np.ndarray, name: str = "") -> pl.Series:
    """The array as a column, which holds on to it: whoever hands it over no longer writes to it."""
    if values.dtype not in _TYPES or not values.flags.c_contiguous:
        return pl.Series(name, values)
    kind = _TYPES[values.dtype]
    handed = nanoarrow.c_array_from_buffers(kind, len(values), [None, values], 0)
    return pl.Series(handed).alias(name)

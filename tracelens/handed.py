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

_BLOCK = 1 << 20  # a multiple of 8: the mask of nulls has eight elements a byte


def as_column(values: np.ndarray, name: str = "") -> pl.Series:
    """The array as a column, which holds on to it: whoever hands it over no longer writes to it."""
    if values.dtype not in _TYPES or not values.flags.c_contiguous:
        return pl.Series(name, values)
    return _handed(values, name, None)


def as_column_or_null(values: np.ndarray, name: str, nothing: int | np.integer) -> pl.Series:
    """The same, and null where the array holds `nothing`; there it holds 0 afterwards.

    The array must be writable, contiguous, and of integers.
    """
    known = np.empty((len(values) + 7) // 8, np.uint8)
    for at in range(0, len(values), _BLOCK):  # no room for a mask of all
        part = values[at : at + _BLOCK]
        given = part != nothing
        part[~given] = 0
        known[at // 8 : (at + len(part) + 7) // 8] = np.packbits(given, bitorder="little")
    return _handed(values, name, known)


def _handed(values: np.ndarray, name: str, known: np.ndarray | None) -> pl.Series:
    handed = nanoarrow.c_array_from_buffers(
        _TYPES[values.dtype],
        len(values),
        [known, values],
        null_count=0 if known is None else -1,  # to be counted
    )
    return pl.Series(handed).alias(name)

"""Parquet files that are known again: a table to bytes, and those bytes, unharmed, to the table.

The table library ends the process, or panics, over a Parquet file with a few bytes changed, and no
caller can hold that up. So what this project writes to read it again is sealed: before the footer,
where Parquet (its format description, section 'File format') has room that no reader looks at,
stands a hash of everything else. What is not whole is not handed on.
"""

import hashlib
import io
from typing import Final

import polars as pl

_MAGIC: Final = b"PAR1"
_SEAL: Final = b"tracelens"
_DIGEST: Final = 16
_TAIL: Final = 8
"""Bytes after the footer: its length and the magic."""


class BrokenError(Exception):
    """The bytes are no sealed table, or not whole. The message goes on after 'a file that is'."""


def write_table(table: pl.DataFrame, metadata: dict[str, str] | None = None) -> bytes:
    """The table as a sealed Parquet file, with words of one's own beside it."""
    out = io.BytesIO()
    table.write_parquet(out, metadata=metadata)
    data = out.getvalue()
    footer = _footer(data)
    return data[:footer] + _SEAL + _digest(data[:footer], data[footer:]) + data[footer:]


def read_table(data: bytes) -> pl.DataFrame:
    """The table of a sealed file. Raises `BrokenError`."""
    _check(data)
    try:
        return pl.read_parquet(io.BytesIO(data))
    except (pl.exceptions.PolarsError, pl.exceptions.PanicException) as error:
        raise _unreadable(error) from None


def read_words(data: bytes) -> dict[str, str]:
    """The words that were written beside it. Raises `BrokenError`."""
    _check(data)
    try:
        return pl.read_parquet_metadata(io.BytesIO(data))
    except (pl.exceptions.PolarsError, pl.exceptions.PanicException) as error:
        raise _unreadable(error) from None


def _check(data: bytes) -> None:
    if not (data.startswith(_MAGIC) and data.endswith(_MAGIC)):
        raise BrokenError("no whole Parquet")
    footer = _footer(data)
    end = footer - _DIGEST
    if end < len(_SEAL) or not data.endswith(_SEAL, 0, end):
        raise BrokenError("not made by tracelens, or damaged")
    if data[end:footer] != _digest(data[: end - len(_SEAL)], data[footer:]):
        raise BrokenError("damaged")


def _unreadable(error: BaseException) -> BrokenError:
    return BrokenError(f"unreadable ({str(error).strip().partition(chr(10))[0]})")


def _footer(data: bytes) -> int:
    """Where the footer begins."""
    return max(0, len(data) - _TAIL - int.from_bytes(data[-_TAIL:-4], "little"))


def _digest(before: bytes, after: bytes) -> bytes:
    return hashlib.blake2b(before + after, digest_size=_DIGEST).digest()

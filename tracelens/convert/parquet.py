"""The event log as a Parquet file, and back, line for line.

The columns are those of the log, text that the format defines; the lines that begin with `#` stand
in the file's metadata with the number of the event before which each of them stood.
"""

from operator import itemgetter
from typing import Annotated, Final

import msgspec
import polars as pl

from tracelens.errors import InputError
from tracelens.model.events import HEADER
from tracelens.sealed import BrokenError, read_table, read_words, write_table

_KEY: Final = "tracelens.declarations"
_COLUMNS: Final = HEADER.split(",")
_SCHEMA: Final[dict[str, pl.DataType]] = {
    "time": pl.UInt64(),
    "core": pl.UInt8(),
    "event": pl.Categorical(),
    "subject": pl.Categorical(),
    "value": pl.Categorical(),
}

Declared = list[tuple[Annotated[int, msgspec.Meta(ge=0)], str]]
"""(number of the event that follows, line)."""


def to_parquet(text: bytes, name: str) -> bytes:
    """A whole log as Parquet.

    `text` is a log as this project writes it: it has no damage, since Parquet has no place for it.
    Raises `InputError` for another.
    """
    lines = pl.Series("line", [text.decode()]).str.split("\n").explode().to_frame()
    lines = lines.filter(pl.col("line") != "")
    said = pl.col("line").str.starts_with("#")
    heads = pl.col("line") == HEADER
    lines = lines.with_columns(row=(~said & ~heads).cum_sum())
    declared = lines.filter(said | heads).select("row", "line").rows()  # few rows: declarations
    body = lines.filter(~said & ~heads)["line"]
    try:
        fields = body.str.split_exact(",", 4).struct.unnest()
        fields.columns = _COLUMNS
        events = fields.with_columns(
            pl.col(column).cast(dtype) for column, dtype in _SCHEMA.items()
        )
    except pl.exceptions.PolarsError as error:
        raise InputError(
            f"not a clean log: {str(error).splitlines()[0]}",
            place=name,
            hint="tracelens convert LOG -o CLEAN.csv writes what can be read of it",
        ) from None
    return write_table(events, {_KEY: msgspec.json.encode(declared).decode()})


def from_parquet(data: bytes, name: str) -> bytes:
    """The log that `to_parquet` was given. Raises `InputError` for another Parquet file."""
    try:
        declared = read_words(data).get(_KEY)
        events = read_table(data)
        if declared is None or dict(events.schema) != _SCHEMA:
            raise BrokenError("of other columns")
        lines = msgspec.json.decode(declared, type=Declared)
    except (BrokenError, msgspec.DecodeError) as error:
        raise InputError(
            f"no event log: found Parquet that is {error}, expected what tracelens convert made",
            place=name,
            hint="write your table as text, one event a line, and its declarations above it",
        ) from None
    out, done = [], 0
    for row, line in sorted(lines, key=itemgetter(0)):  # few rows: declarations
        out.append(_body(events.slice(done, row - done)))
        out.append(f"{line}\n".encode())
        done = row
    out.append(_body(events.slice(done)))
    return b"".join(out)


def _body(events: pl.DataFrame) -> bytes:
    if events.is_empty():
        return b""
    return events.write_csv(include_header=False, quote_style="never").encode()

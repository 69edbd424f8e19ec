"""The outcomes of many runs as tables in files, in the order of the runs."""

from collections.abc import Iterable
from itertools import islice
from pathlib import Path
from typing import Final

import polars as pl

from tracelens.batch.tables import TABLES
from tracelens.batch.work import REPORTS, UNFINISHED, Outcome
from tracelens.errors import unwritable
from tracelens.model.columns import Table
from tracelens.report import tables

TOGETHER: Final = 64
_NUMBER: Final = " number"  # no column of a contract has a blank in its name


def prepare(directory: Path) -> None:
    """Make the directory before the work begins. Raises `UsageError` if that cannot be done."""
    try:
        (directory / REPORTS).mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise unwritable(str(directory), error) from error


def collect(outcomes: Iterable[Outcome]) -> dict[str, pl.DataFrame]:
    """Every table of `TABLES`, its rows in order of the runs, whoever was done first.

    What comes is put together in between: hundreds of tables of a few rows each take many times
    the memory of their rows.
    """
    parts: dict[str, list[pl.DataFrame]] = {name: [] for name in TABLES}
    coming = iter(outcomes)
    while some := list(islice(coming, TOGETHER)):
        for name, part in parts.items():
            told = [_numbered(o.tables[name], o.number) for o in some if name in o.tables]
            if told:
                part.append(pl.concat(told, rechunk=True))
    return {name: _in_order(table, parts[name]) for name, table in TABLES.items()}


def _numbered(frame: pl.DataFrame, number: int) -> pl.DataFrame:
    return frame.with_columns(pl.lit(number, pl.Int64).alias(_NUMBER))


def _in_order(table: Table, parts: list[pl.DataFrame]) -> pl.DataFrame:
    empty = _numbered(pl.DataFrame(schema=table.schema()), 0)
    return pl.concat([empty, *parts]).sort(_NUMBER, maintain_order=True).drop(_NUMBER)


def write(made: dict[str, pl.DataFrame], directory: Path) -> None:
    """Write NAME.parquet and NAME.csv of each table, and columns.md, which explains them.

    Raises `UsageError` if something cannot be written.
    """
    for left in (directory / REPORTS).rglob(f"*{UNFINISHED}"):
        if left.is_file():  # not where the reports on a directory's logs are
            left.unlink(missing_ok=True)  # by a worker that was killed
    tables.write_frames(made.items(), directory, tables.page("Tables of many runs", {"": TABLES}))

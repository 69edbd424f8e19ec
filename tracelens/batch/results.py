"""The outcomes of many runs as tables in files, in the order of the runs."""

from collections.abc import Sequence
from pathlib import Path

import polars as pl

from tracelens.batch.tables import TABLES
from tracelens.batch.work import REPORTS, UNFINISHED, Outcome
from tracelens.errors import UsageError
from tracelens.report import tables


def prepare(directory: Path) -> None:
    """Make the directory before the work begins. Raises `UsageError` if that cannot be done."""
    try:
        (directory / REPORTS).mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UsageError(f"cannot be made: {error.strerror}", place=str(directory)) from error


def collect(outcomes: Sequence[Outcome]) -> dict[str, pl.DataFrame]:
    """Every table of `TABLES`, its rows in order of the runs, whoever was done first."""
    in_order = sorted(outcomes, key=lambda outcome: outcome.number)
    made = {}
    for name, table in TABLES.items():
        empty = pl.DataFrame(schema=table.schema())
        made[name] = pl.concat([empty, *(o.tables[name] for o in in_order if name in o.tables)])
    return made


def write(made: dict[str, pl.DataFrame], directory: Path) -> None:
    """Write NAME.parquet and NAME.csv of each table, and columns.md, which explains them.

    Raises `UsageError` if something cannot be written.
    """
    for left in (directory / REPORTS).rglob(f"*{UNFINISHED}"):
        left.unlink(missing_ok=True)  # by a worker that was killed
    tables.write_frames(made.items(), directory, tables.page("Tables of many runs", {"": TABLES}))

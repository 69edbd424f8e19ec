"""The outcomes of many runs as tables in files, in the order of the runs."""

from collections.abc import Sequence
from pathlib import Path

import polars as pl

from tracelens.batch.tables import TABLES
from tracelens.batch.work import Outcome
from tracelens.report import tables


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
    tables.write_frames(made.items(), directory, tables.page("Tables of many runs", {"": TABLES}))

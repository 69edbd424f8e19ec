"""Rows of a measured table as a table of the document."""

from collections.abc import Sequence
from typing import Final

import polars as pl

from tracelens.report.blocks import Cell, Column, Table

MOST_ROWS: Final = 30
"""A table for a person to read ends here; the JSON report and the tables have every row."""


def table(frame: pl.DataFrame, columns: dict[str, Column], note: str = "") -> Table:
    """The given columns of `frame`, in the order of `columns`, and a note on what they mean."""
    cells: dict[str, list[Cell]] = {name: frame[name].to_list() for name in columns}
    kept = [name for name, column in columns.items() if not column.rare or any(cells[name])]
    return Table(
        columns=tuple(columns[name] for name in kept),
        rows=tuple(zip(*(cells[name] for name in kept), strict=True)),
        note=" ".join(filter(None, (note.strip(), *map(_legend, (columns[n] for n in kept))))),
    )


def _legend(column: Column) -> str:
    return f"{column.head}: {column.means}." if column.means else ""


def most_telling(tasks: pl.DataFrame, most: int = MOST_ROWS) -> pl.DataFrame:
    """At most so many tasks in the given order: late ones, judged ones, then the busiest."""
    if tasks.height <= most:
        return tasks
    ranked = tasks.with_row_index("row").sort(
        pl.col("deadline_misses").fill_null(0) > 0,
        pl.col("deadline_ns").is_not_null(),
        "load",
        descending=True,
        nulls_last=True,
        maintain_order=True,
    )
    return ranked.head(most).sort("row").drop("row")


def left_out(shown: int, there: int, what: str, which: str) -> str:
    """What a cut table leaves out; empty if it leaves out nothing."""
    if shown == there:
        return ""
    return f"{there} {what}, of which the {which} {shown} are shown; --json has all. "


def names_of(names: Sequence[str]) -> str:
    """Names for running text; of many only the first."""
    most = 12
    more = f" and {len(names) - most} others" if len(names) > most else ""
    return ", ".join(names[:most]) + more

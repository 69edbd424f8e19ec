"""Every table of a run as Parquet and CSV, with a page that says what their columns mean."""

from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

import polars as pl
from polars.datatypes import DataTypeClass

from tracelens.errors import unwritable
from tracelens.model.columns import Name, Table
from tracelens.model.measured import MEASURED
from tracelens.model.results import Analysis
from tracelens.model.tables import RECONSTRUCTED

_BETWEEN_ITEMS = "|"


def write(analysis: Analysis, directory: Path) -> None:
    """Write NAME.parquet and NAME.csv of each table of `model.tables`, and columns.md.

    The directory is made if there is none; files of the same names are replaced. In CSV the
    items of a list are joined with '|', since CSV has no lists.

    Raises `UsageError` if something cannot be written.
    """
    write_frames(frames(analysis), directory, columns_page())


def write_frames(frames: Iterable[tuple[str, pl.DataFrame]], directory: Path, columns: str) -> None:
    """Write named tables as Parquet and CSV, and `columns` as the page that explains them.

    Raises `UsageError` if something cannot be written.
    """
    try:
        directory.mkdir(parents=True, exist_ok=True)
        for name, frame in frames:
            frame.write_parquet(directory / f"{name}.parquet")
            _flat(frame).write_csv(directory / f"{name}.csv")
        (directory / "columns.md").write_text(columns, encoding="utf-8")
    except OSError as error:
        raise unwritable(str(directory), error) from error


def frames(analysis: Analysis) -> Iterator[tuple[str, pl.DataFrame]]:
    """Each table by name, with names as plain strings: no reader needs the log's own Enum."""
    for name in RECONSTRUCTED:
        yield name, _strings(getattr(analysis.timeline, name))
    for name in MEASURED:
        yield name, _strings(getattr(analysis, name))


def _strings(frame: pl.DataFrame) -> pl.DataFrame:
    return frame.with_columns(pl.col(pl.Enum, pl.Categorical).cast(pl.String))


def _flat(frame: pl.DataFrame) -> pl.DataFrame:
    lists = [name for name, dtype in frame.schema.items() if isinstance(dtype, pl.List)]
    return frame.with_columns(
        pl.col(name).cast(pl.List(pl.String)).list.join(_BETWEEN_ITEMS) for name in lists
    )


def columns_page() -> str:
    """What each table and column of a run means."""
    parts = {"What happened": RECONSTRUCTED, "Measures": MEASURED}
    return page("Tables of a run", parts, "`part` counts the files of the log from 0.")


def page(title: str, parts: Mapping[str, Mapping[str, Table]], more: str = "") -> str:
    """What each table and column means, generated from the contracts that the tables keep.

    `parts` are tables by name, under headings; a heading may be empty.
    """
    lines = [
        f"# {title}",
        "",
        "Times are integer nanoseconds from the first event of the log. Intervals are half-open:",
        "`start_ns` is inside, `end_ns` is not. Names, never ids. A share is a number from 0 to 1.",
        "An empty cell means 'there is none' or 'not known'. In CSV the items of a list are joined",
        f"with `{_BETWEEN_ITEMS}`. {more}".rstrip(),
    ]
    for heading, tables in parts.items():
        lines += ["", f"## {heading}"] if heading else []
        for name, table in tables.items():
            lines += ["", f"### {name}", "", f"A row is {table.row}.", "", *_columns(table)]
    return "\n".join(lines) + "\n"


def _columns(table: Table) -> Iterator[str]:
    yield "| column | type | meaning |"
    yield "| :-- | :-- | :-- |"
    for column, (dtype, meaning) in table.columns.items():
        yield f"| {column} | {_type(dtype)} | {meaning or column} |"


def _type(dtype: pl.DataType | DataTypeClass) -> str:
    if dtype == Name:
        return "name"
    if isinstance(dtype, pl.Enum):
        return f"one of {', '.join(dtype.categories)}"
    if isinstance(dtype, pl.List):
        return f"list of {_type(dtype.inner)}"
    words = ((pl.String, "text"), (pl.Boolean, "true or false"), (pl.Float64, "number"))
    return next((word for known, word in words if dtype == known), "integer")

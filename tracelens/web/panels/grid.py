"""Tables of a panel: what is shown of them, in which order, and where each number leads."""

from dataclasses import dataclass
from typing import Final

import polars as pl

from tracelens.numbers import THIN_SPACE, exact
from tracelens.report.blocks import Cell, Column, Table

MOST_ROWS: Final = 200
"""A table on the page ends here; its CSV file has every row."""


@dataclass(frozen=True, slots=True)
class Head:
    """One column: how it is shown, and the column of places that its cells lead to ('': none).

    A `bar` is a share that is drawn as well as written.
    """

    column: Column
    leads: str = ""
    bar: bool = False


@dataclass(frozen=True, slots=True)
class Order:
    """By which column the reader sorts."""

    column: str
    down: bool = True


@dataclass(frozen=True, slots=True)
class Grid:
    """A table of a panel: raw values, how they are shown, and a note beneath.

    `order` is how the rows stand until the reader sorts them otherwise; None: as they come.
    Columns of `frame` that `columns` does not name hold places (see `places`), or only go into
    the file.
    """

    frame: pl.DataFrame
    columns: dict[str, Head]
    note: str = ""
    order: Order | None = None


@dataclass(frozen=True, slots=True)
class Page:
    """The rows of a grid that are shown, as text. `exact` is what a cell says on a closer look.

    `order` is how they are sorted; `left_out` says which rows are not shown, '' if all are.
    """

    grid: Grid
    order: Order | None
    table: Table
    exact: tuple[tuple[str, ...], ...]
    places: tuple[tuple[str | None, ...], ...]
    left_out: str


def page(grid: Grid, order: Order | None = None) -> Page:
    """The first `MOST_ROWS` rows in the order that is asked for; nulls go last."""
    order = order if order is not None and order.column in grid.columns else grid.order
    frame = grid.frame
    if order is not None:
        key = pl.col(order.column)
        if isinstance(frame.schema[order.column], pl.Enum | pl.Categorical):
            key = key.cast(pl.String)
        frame = frame.sort(key, descending=order.down, nulls_last=True, maintain_order=True)
    shown = frame.head(MOST_ROWS)
    cells: dict[str, list[Cell]] = {name: shown[name].to_list() for name in grid.columns}
    kept = {n: h for n, h in grid.columns.items() if not h.column.rare or any(cells[n])}
    columns = tuple(head.column for head in kept.values())
    places = (
        shown[head.leads].to_list() if head.leads else [None] * shown.height
        for head in kept.values()
    )
    grid = Grid(grid.frame, kept, grid.note, grid.order)
    return Page(
        grid=grid,
        order=order,
        table=Table(columns, tuple(zip(*(cells[name] for name in kept), strict=True))),
        exact=tuple(
            zip(
                *([_exact(cell, head.column) for cell in cells[n]] for n, head in kept.items()),
                strict=True,
            )
        ),
        places=tuple(zip(*places, strict=True)),
        left_out=_left_out(grid, order),
    )


def _left_out(grid: Grid, order: Order | None) -> str:
    rows = grid.frame.height
    if rows <= MOST_ROWS:
        return ""
    by = "" if order is None else f" by “{grid.columns[order.column].column.head}”"
    return f"The first {MOST_ROWS} of {rows} rows{by} are shown; the CSV file has all."


def _exact(cell: Cell, column: Column) -> str:
    """Unrounded, with a unit; '' where the cell itself says all."""
    if cell is None or isinstance(cell, bool | str):
        return ""
    if column.kind in ("time", "moment"):
        return exact(int(cell))
    if column.kind == "share":
        return f"{100 * cell:.9g} %"
    return f"{cell:,}".replace(",", THIN_SPACE)

"""Tables: order, what is left out, units, and places on their way to the browser and back."""

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracelens.report.blocks import Column
from tracelens.web.panels import places
from tracelens.web.panels.grid import MOST_ROWS, Grid, Head, Order, page
from tracelens.web.panels.panel import addressed, short
from tracelens.web.panels.places import LONGEST_LANE, Place, place
from tracelens.web.table import component

COLUMNS = {
    "who": Head(Column("who")),
    "ns": Head(Column("for", "time"), leads="place"),
    "share": Head(Column("share", "share"), bar=True),
}


def grid(rows: int = 3, order: Order | None = None) -> Grid:
    frame = pl.DataFrame(
        {
            "who": [f"t{i:04}" for i in range(rows)],
            "ns": [None if i == 1 else 1000 * i for i in range(rows)],
            "share": [i / rows for i in range(rows)],
            "place": [None if i == 1 else f"{i}:{i}::" for i in range(rows)],
        }
    )
    return Grid(frame, COLUMNS, order=order)


@pytest.mark.parametrize(
    ("order", "expected"),
    [
        (None, ["t0000", "t0001", "t0002"]),
        (Order("ns"), ["t0002", "t0000", "t0001"]),
        (Order("ns", down=False), ["t0000", "t0002", "t0001"]),
        (Order("who"), ["t0002", "t0001", "t0000"]),
        (Order("no such column"), ["t0000", "t0001", "t0002"]),
    ],
)
def test_rows_are_sorted_and_what_is_null_goes_last(
    order: Order | None, expected: list[str]
) -> None:
    assert [row[0] for row in page(grid(), order).table.rows] == expected


def test_a_reader_s_order_goes_before_the_panel_s() -> None:
    own = grid(order=Order("ns"))
    assert page(own).table.rows[0][0] == "t0002"
    assert page(own, Order("who", down=False)).table.rows[0][0] == "t0000"


def test_a_long_table_says_what_it_leaves_out() -> None:
    """Of all rows those with the largest values, not of the first."""
    shown = page(grid(1000), Order("ns"))
    assert len(shown.table.rows) == MOST_ROWS
    assert shown.table.rows[0][1] == 999_000
    assert shown.left_out == (
        "The first 200 of 1000 rows by “for” are shown; the CSV file has all."
    )
    assert page(grid(MOST_ROWS)).left_out == ""


def test_cells_are_text_with_the_exact_value_beside() -> None:
    shown = page(grid())
    assert shown.table.shown().units == ("", "µs", "%")
    assert shown.exact[2] == ("", "2 µs", "66.6666667 %")
    assert shown.places[2] == (None, "2:2::", None)


def test_only_what_has_a_place_is_a_button() -> None:
    body = component(page(grid())).children[0].children[1]
    buttons = [
        [part for part in cell.children if getattr(part, "_type", "") == "Button"]
        if isinstance(cell.children, list)
        else []
        for row in body.children
        for cell in row.children
    ]
    places_of = [getattr(found[0], "data-place") for found in buttons if found]
    assert places_of == ["0:0::", "2:2::"]


@given(
    st.integers(0, 2**62),
    st.integers(0, 2**62),
    st.none() | st.integers(0, 2**40),
    st.text(st.characters(codec="utf-8"), max_size=LONGEST_LANE + 5),
)
def test_places_come_back(start: int, end: int, job: int | None, lane: str) -> None:
    frame = pl.DataFrame(
        {"a": [start], "b": [end], "job": [job], "lane": [lane]},
        schema={"a": pl.Int64, "b": pl.Int64, "job": pl.Int64, "lane": pl.String},
    )
    text = frame.select(place("a", "b", job="job", lane="lane")).item()
    kept = lane if 0 < len(lane) <= LONGEST_LANE else None
    assert places.read(text) == Place(start, end, job, kept)


def test_names_in_the_address() -> None:
    long = "x" * 61
    assert addressed(["a", long]) == {"a": "a", "#1": long}
    assert short(long) == "x" * 59 + "…"
    assert short("\x1b[2J") == r"\x1b[2J"

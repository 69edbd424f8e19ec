"""The exact share of each state in each pixel column, against counting the nanoseconds."""

from itertools import pairwise

import numpy as np
import polars as pl
from hypothesis import given
from hypothesis import strategies as st

from tracelens.drawing.runs import Episodes
from tracelens.drawing.window import Track, column_edges, share_in, time_in

Spans = list[tuple[int, int, int]]


@st.composite
def spans(draw: st.DrawFn) -> Spans:
    """(key, start, end) of up to three things, disjoint within each, in any order."""
    made = []
    for key in draw(st.sets(st.integers(0, 2))):
        cuts = sorted(draw(st.sets(st.integers(0, 200), max_size=12)))
        made += [(key, a, b) for a, b in zip(cuts[::2], cuts[1::2], strict=False)]
    return draw(st.permutations(made))


def track(rows: Spans) -> Track:
    return Track.of(
        pl.DataFrame(rows, schema={"key": pl.UInt8, "start_ns": pl.Int64, "end_ns": pl.Int64},
                     orient="row"),
        "key",
    )  # fmt: skip


@given(spans(), st.integers(0, 2), st.integers(0, 150), st.integers(1, 100), st.integers(1, 40))
def test_time_in_columns_is_exact(
    rows: Spans, key: int, start: int, width: int, columns: int
) -> None:
    edges = column_edges(start, start + width, columns)
    inside = [any(k == key and a <= t < b for k, a, b in rows) for t in range(400)]
    expected = [sum(inside[a:b]) for a, b in pairwise(edges)]
    assert time_in(track(rows), key, edges).tolist() == expected
    shares = share_in(track(rows), key, edges)
    for share, ns, a, b in zip(shares, expected, edges[:-1], edges[1:], strict=True):
        assert share == (ns / (b - a) if b > a else 0)


@given(spans(), st.integers(0, 2), st.integers(0, 220), st.integers(1, 100))
def test_visible_is_what_shares_time_with_the_window(
    rows: Spans, key: int, start: int, width: int
) -> None:
    end = start + width
    expected = sorted((a, b) for k, a, b in rows if k == key and a < end and b > start)
    found = track(rows).visible(key, start, end)
    assert list(zip(found["start_ns"], found["end_ns"], strict=True)) == expected
    assert track(rows).count(key, start, end) == len(expected)


@given(st.integers(0, 2**61), st.integers(1, 2**61), st.integers(1, 5000))
def test_edges_are_equal_to_a_nanosecond_and_never_leave_64_bits(
    start: int, width: int, columns: int
) -> None:
    edges = column_edges(start, start + width, columns)
    assert (edges[0], edges[-1], len(edges)) == (start, start + width, columns + 1)
    steps = {int(step) for step in np.diff(edges)}
    assert steps <= {width // columns, width // columns + 1}


def test_a_name_that_no_interval_has_takes_no_time() -> None:
    assert time_in(track([]), 1, column_edges(0, 10, 5)).tolist() == [0] * 5
    assert track([(0, 1, 2)]).visible(1, 0, 10).is_empty()


def test_episodes_of_jobs_come_in_order_of_job_and_time() -> None:
    table = pl.DataFrame(
        {"job_id": [2, 0, 2, 1, 0], "start_ns": [50, 10, 40, 30, 5], "end_ns": [60, 20, 50, 40, 10]}
    )
    found = Episodes.of(table)
    assert found.of_jobs(0, 2)["start_ns"].to_list() == [5, 10, 30, 40, 50]
    assert found.of_jobs(2, 2)["start_ns"].to_list() == [40, 50]
    assert found.of_jobs(3, 9).is_empty()

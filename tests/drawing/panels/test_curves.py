"""Load in windows, step functions in pixel columns, dots in cells: against the obvious way."""

from itertools import pairwise

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.drawing import machine, scene
from tests.drawing.scene import MS
from tracelens.drawing.figures import outline, thinned
from tracelens.drawing.panels import load
from tracelens.drawing.panels.load import curves
from tracelens.measures.load import load_windows


@pytest.mark.parametrize("window_ns", [MS, 3 * MS, 10 * MS, 60 * MS])
def test_curves_are_the_loads_that_the_measure_gives(window_ns: int) -> None:
    run = scene.run()
    drawn = curves(run, 0, run.span_ns, 100, window_ns, "needle_select")
    windows = tuple(zip(drawn.edges[:-1].tolist(), drawn.edges[1:].tolist(), strict=True))
    told = load_windows(run.analysis.timeline.occupancy, windows)
    core, task = drawn.curves
    assert core.load == pytest.approx(told.filter(pl.col("who").is_null())["load"].to_numpy())
    assert task.load == pytest.approx(told.filter(who="needle_select")["load"].to_numpy())


def test_windows_too_short_for_the_view_are_lengthened(monkeypatch: pytest.MonkeyPatch) -> None:
    run = scene.run()
    monkeypatch.setattr(load, "MOST_WINDOWS", 50)
    drawn = curves(run, 0, run.span_ns, 100, 1000)
    assert drawn.window_ns == 2 * MS
    assert len(drawn.edges) - 1 <= 50


def test_other_states_than_busy_ones() -> None:
    run = machine.run()
    drawn = curves(run, 0, 10 * MS, 1, 10 * MS, states=("asleep",))
    assert drawn.curves[0].load == pytest.approx([9050 / 10_000])


@given(
    st.lists(st.tuples(st.integers(0, 60), st.integers(0, 9)), min_size=30, max_size=80),
    st.integers(0, 40),
    st.integers(2, 30),
    st.integers(1, 4),
)
def test_an_outline_holds_the_least_and_the_greatest_of_each_column(
    changes: list[tuple[int, int]], start: int, width: int, columns: int
) -> None:
    changes = sorted(changes, key=lambda change: change[0])
    at = np.array([t for t, _ in changes], np.int64)
    values = np.array([v for _, v in changes], np.float64)
    edges = np.unique(np.linspace(start, start + width, columns + 1).astype(np.int64))
    x, high, low = outline(at, values, edges)
    if low is None:
        assert len(x) == len(high)
        return
    for i, (left, right) in enumerate(pairwise(edges)):
        held = [v for t, v in changes if left <= t < right]
        held += [v for t, v in changes if t < left][-1:]
        assert (high[i], low[i]) == ((max(held), min(held)) if held else (None, None)) or (
            not held and np.isnan(high[i])
        )


def test_an_outline_of_few_changes_is_every_change() -> None:
    at, values = np.array([0, 5, 7]), np.array([1.0, 2.0, 0.0])
    x, high, low = outline(at, values, np.array([3, 6, 9]))
    assert low is None
    assert (x.tolist(), high.tolist()) == ([3, 5, 7, 9], [1, 2, 0, 0])
    x, high, _ = outline(np.array([], np.int64), np.array([]), np.array([3, 9]))
    assert np.isnan(high).all()


def test_of_the_dots_in_a_cell_the_highest_stays() -> None:
    points = pl.DataFrame({"x": [0, 1, 12, 13], "y": [3, 5, 1, 9], "late": [False] * 3 + [True]})
    kept = thinned(points, "x", "y", 10, 10, "late")
    assert kept.rows() == [(1, 5, False), (12, 1, False), (13, 9, True)]

"""The exact peak load, against a search over every placement."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tracelens.measures.peak import peak
from tracelens.model.columns import OCCUPANTS

TASK, IDLE, UNKNOWN = (OCCUPANTS.index(name) for name in ("task", "idle", "unknown"))


def by_search(tiles: list[tuple[int, int]], first: int, window: int) -> tuple[Fraction, int] | None:
    """Try every integer placement, counting nanosecond by nanosecond."""
    line = [occupant for occupant, size in tiles for _ in range(size)]
    best = None
    for t in range(len(line) - window + 1):
        part = line[t : t + window]
        known = sum(OCCUPANTS[o] != "unknown" for o in part)
        busy = sum(OCCUPANTS[o] in ("isr", "task", "switching") for o in part)
        if 2 * known >= window and (best is None or Fraction(busy, known) > best[0]):
            best = (Fraction(busy, known), first + t)
    return best


def of_tiles(tiles: list[tuple[int, int]], first: int, window: int) -> tuple[float, int] | None:
    ends = first + np.cumsum([size for _, size in tiles], dtype=np.int64)
    occupants = np.array([occupant for occupant, _ in tiles], np.uint8)
    return peak(ends, occupants, first, window)


tiles = st.lists(st.tuples(st.integers(0, 5), st.integers(0, 12)), min_size=1, max_size=14)


@settings(max_examples=400)
@given(tiles, st.integers(0, 50), st.data())
def test_no_placement_is_higher_and_the_first_highest_is_given(tiles, first, data):
    span = sum(size for _, size in tiles)
    if span == 0:
        return
    window = data.draw(st.integers(1, span))
    found, searched = of_tiles(tiles, first, window), by_search(tiles, first, window)
    assert (found is None) == (searched is None)
    if found and searched:
        assert found == (float(searched[0]), searched[1])


def test_the_peak_lies_between_the_points_of_a_grid():
    # Busy [7, 10) and [12, 15) in 20 ns. Windows of 8: [7, 15) holds 6 of 8; a grid of 4 or of 8
    # holds at most [4, 12): 3, and [8, 16): 5.
    tiles = [(IDLE, 7), (TASK, 3), (IDLE, 2), (TASK, 3), (IDLE, 5)]
    assert of_tiles(tiles, 0, 8) == (6 / 8, 7)


def test_a_window_counts_from_half_known_on():
    # Known and busy [0, 4), unknown [4, 20), idle [20, 24). A window of 8: the first four
    # nanoseconds are half of [0, 8); one later, only three are known.
    assert of_tiles([(TASK, 4), (UNKNOWN, 16), (IDLE, 4)], 0, 8) == (1.0, 0)
    # Idle before: at t = 3 the window [3, 11) knows idle 1, busy 3; at t = 4 it is not half known.
    assert of_tiles([(IDLE, 4), (TASK, 3), (UNKNOWN, 17)], 0, 8) == (3 / 4, 3)
    assert of_tiles([(TASK, 3), (UNKNOWN, 17)], 0, 8) is None


@pytest.mark.parametrize("way", ["TRACELENS_PLAIN", "TRACELENS_COMPILED"])
def test_compiled_and_plain_agree(way, monkeypatch):
    rng = np.random.default_rng(5)
    tiles = list(
        zip(rng.integers(0, 6, 400).tolist(), rng.integers(0, 9, 400).tolist(), strict=True)
    )
    monkeypatch.setenv(way, "1")
    searched = by_search(tiles, 10, 101)
    assert searched is not None
    assert of_tiles(tiles, 10, 101) == (float(searched[0]), searched[1])

"""Shares painted into pixels; and the picture read back by another program's decoder."""

import numpy as np
import pytest
from _plotly_utils.png import Reader  # a vendored pure-Python PNG decoder
from hypothesis import given
from hypothesis import strategies as st

from tracelens.drawing.palette import LIGHT, rgb
from tracelens.drawing.raster import PAINTED, Stack, colours, heights, paint, png


def pixels_of(shares: list[list[float]], states: tuple[str, ...], height: int) -> np.ndarray:
    """The codes of the painted columns, without their hatching: one row a pixel, top first."""
    canvas = np.zeros((height + 4, len(shares[0])), np.uint8)
    paint(canvas, np.array(shares), Stack(states, height + 2, height))
    assert not canvas[:2].any(), "above a full block"
    assert not canvas[height + 2 :].any(), "below the baseline"
    return (canvas[2 : height + 2] + 1) // 2


def test_height_is_share() -> None:
    """Half executing, a quarter ready, in 16 pixels: 8 and 4, from the baseline up."""
    column = pixels_of([[0.5], [0.25]], ("execution", "ready"), 16)[:, 0]
    execution, ready = 1 + PAINTED.index("execution"), 1 + PAINTED.index("ready")
    assert column.tolist() == [0] * 4 + [ready] * 4 + [execution] * 8


@pytest.mark.parametrize("share", [5e-6 / 0.6, 1e-12])
def test_the_shortest_execution_shows(share: float) -> None:
    """5 µs in ten minutes on a thousand columns of 0.6 s each: one pixel, not none."""
    assert (pixels_of([[share], [0.9]], ("execution", "ready"), 13)[:, 0] == 1).sum() == 1


@given(
    st.lists(st.lists(st.floats(0, 1), min_size=3, max_size=3), min_size=1, max_size=8),
    st.integers(4, 40),
)
def test_tops_are_right_within_a_pixel_for_each_state(rows: list[list[float]], height: int) -> None:
    shares = np.array(rows).T
    shares = shares / np.maximum(shares.sum(axis=0), 1)
    tops = heights(shares, height)
    assert (tops <= height).all()
    assert (np.diff(tops, axis=0, prepend=0) >= 0).all()
    assert (tops[0][shares[0] > 0] >= 1).all()
    exact = np.cumsum(shares, axis=0) * height
    assert (np.abs(tops - exact) <= 0.5 + np.arange(1, 4)[:, None]).all()


def test_another_decoder_reads_the_picture() -> None:
    canvas = np.arange(12, dtype=np.uint8).reshape(3, 4)
    width, height, rows, info = Reader(bytes=png(canvas, colours(LIGHT))).asRGBA8()
    seen = np.array([list(row) for row in rows]).reshape(3, 4, 4)
    assert (width, height, info["alpha"]) == (4, 3, True)
    assert seen[0, 0, 3] == 0, "index 0 is transparent"
    assert seen[0, 1].tolist() == [*rgb(LIGHT.states["execution"].fill), 255]
    assert (seen.reshape(-1, 4)[1:, 3] == 255).all()

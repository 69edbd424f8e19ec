"""Rows of one figure: where they stand, what their names and ticks are, and that they are drawn."""

from itertools import pairwise
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.drawing import machine
from tracelens.drawing.figures import area
from tracelens.drawing.palette import LIGHT
from tracelens.drawing.panels.load import load_over_time
from tracelens.drawing.panels.rows import NAMES_PX, stacked
from tracelens.drawing.sheet import Sheet
from tracelens.drawing.svg.figure import svg


@given(st.integers(1, 40), st.integers(40, 900))
def test_rows_lie_one_under_the_other_within_the_figure(count: int, height: int) -> None:
    names = [f"core {i}" for i in range(count)]
    made, axes = stacked(Sheet(600, height), 0, 1000, names, "load, %", "")
    domains = [made[f"yaxis{axis[1:]}"]["domain"] for axis in axes]
    assert domains[0][1] == 1
    assert domains[-1][0] == pytest.approx(0)
    for upper, lower in pairwise(domains):
        assert 0 <= lower[0] < lower[1] <= upper[0] < upper[1] <= 1
    assert axes[-1] == "y", "the time axis stands under the last row"
    assert len(set(axes)) == count


def test_names_are_inert_and_cut_at_their_end() -> None:
    made, _ = stacked(Sheet(600, 150), 0, 1000, ["<b>", "n" * 30], "", "")
    said = [remark["text"] for remark in made["annotations"]]
    assert "&lt;b&gt;" in said
    assert "n" * 13 + "…" in said


def test_an_area_goes_up_and_comes_back() -> None:
    drawn = area(np.array([0, 10, 20]), np.array([0.0, 1.0]), np.array([5.0, np.nan]), LIGHT)
    figure = {"data": [drawn], "layout": stacked(Sheet(240, 146), 0, 20, ["a"], "", "")[0]}
    root = ElementTree.fromstring(svg(figure, 240, 146, "an area"))
    (path,) = [one for one in root.iter() if one.get("fill") == LIGHT.states["held"].fill]
    assert path.get("d", "").startswith(f"M{NAMES_PX} ")
    assert path.get("d", "").endswith("Z")


def test_every_row_of_load_is_in_the_picture_of_a_report() -> None:
    sheet = Sheet(900, 170, "css")
    run = machine.run()
    figure, _ = load_over_time(run, 0, run.span_ns, sheet, who="needle_select")
    assert figure is not None
    root = ElementTree.fromstring(svg(figure, sheet.width, sheet.height, "load"))
    lines = [
        path.get("d", "")
        for path in root.iter("path")
        if path.get("fill") == "none" and path.get("stroke-width") == "1.2"
    ]
    assert len(lines) == 2
    heights = [{float(part.split("H")[0]) for part in d.split("V")[1:]} for d in lines]
    assert max(heights[0]) < min(heights[1]), "each in its own row"

"""The course of a measure as a figure: its dots, the step or drift, and what a dot says."""

import numpy as np
import pytest

from tests.drawing.figure_reading import numbers
from tests.drawing.scene import TAG
from tests.history.past import CHANGED, made
from tests.history.test_trends import NILE, history
from tracelens.drawing.course import course as drawn
from tracelens.drawing.sheet import Sheet
from tracelens.history.store import History
from tracelens.history.trends import course, trends

SHEET = Sheet(800, 380)


def figure(told: History, number: int = 0, by: str = "order") -> dict:
    row = trends(told).row(number, named=True)
    return drawn(course(told, row), row, told.runs.to_dicts(), by, SHEET)


def test_the_nile_steps_down_in_1899():
    """Cobb 1978: the flow changed after 1898, the 28th year of the record."""
    flow = [float(value) for value in NILE.split()]
    line, dots = figure(history({("most_items", "Nile"): flow}, unit="items"))["data"]
    assert dots["x"] == list(range(1, 101))
    assert dots["marker"]["symbol"].index("diamond") == 28
    assert numbers(dots["y"]) == pytest.approx(flow)
    assert line["line"]["shape"] == "hvh"
    expected = np.repeat([np.median(flow[:28]), np.median(flow[28:])], [28, 72])
    assert numbers(line["y"]) == pytest.approx(expected)


def test_the_run_of_a_step_is_named_and_stands_under_its_line():
    made_of = figure(made())
    named = [note["text"] for note in made_of["layout"]["annotations"]]
    assert named[0] == "µs"
    assert "from build k12 (2026-03-13 00:00) on" in named
    assert made_of["layout"]["shapes"][0]["x0"] == CHANGED + 1
    over_time = figure(made(), by="time")
    assert over_time["layout"]["xaxis"]["type"] == "date"
    assert over_time["layout"]["shapes"][0]["x0"] == "2026-03-13 00:00:00"


def test_a_drift_is_a_dashed_line_and_no_change_none():
    rising = figure(history({("response", "t"): [1e6 + 1e4 * n for n in range(20)]}))
    assert rising["data"][0]["line"] == rising["data"][0]["line"] | {
        "dash": "dash",
        "shape": "linear",
    }
    assert numbers(rising["data"][0]["y"]) == pytest.approx([1 + 0.01 * n for n in range(20)])
    assert len(figure(made(), 1)["data"]) == 1
    assert figure(made(), 1)["layout"]["annotations"][0]["text"] == "%"


def test_a_dot_says_its_value_and_what_its_log_says_and_nothing_of_it_acts():
    said = figure(made())["data"][-1]["hovertext"]
    assert said[0].startswith("<b>100 µs</b><br>started 2026-03-01 00:00<br>log 0.csv<br>build k0")
    assert "board a.1" in said[0]
    assert "&lt;" in said[1]
    assert TAG not in said[1]


@pytest.mark.parametrize("values", [[5.0], [0.0, 0.0], [0.0] * 9])
def test_few_and_equal_runs_are_drawn(values):
    axis = figure(history({("response", "t"): values}))["layout"]["yaxis"]["range"]
    assert axis[0] < axis[1]

"""Items of queues over time: means by time, most ever, steps, and marks where a queue is full."""

from itertools import pairwise

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.drawing import queue_scene
from tests.drawing.figure_reading import blocks, numbers
from tracelens.drawing.sheet import Sheet
from tracelens.drawing.swimlanes import schedule
from tracelens.drawing.window import column_edges

US = 1000
SHEET = Sheet(1100, 420)
CHANGES = [(10, 1), (20, 1), (30, 1), (40, 1), (60, -1), (70, -1), (80, -1), (90, -1)]


@given(st.lists(st.integers(1, 40), min_size=1, max_size=30), st.integers(1, 25))
@settings(max_examples=25)
def test_levels_are_those_of_a_slow_reading(steps: list[int], columns: int) -> None:
    changes, at, items = [], 0, 0
    for i, step in enumerate(steps):
        at += step
        by = -1 if items and (i * 7 + step) % 3 == 0 else 1
        items += by
        changes.append((at, by))
    end = at + 5
    run = queue_scene.run(changes, end)
    lane = next(lane for lane in run.lanes.lanes if lane.name == "yarn")
    by_us = [sum(by for t, by in changes if t <= us) for us in range(end)]
    edges = column_edges(0, end * US, columns)
    mean = run.lanes.levels.mean(lane.key, edges)
    most = run.lanes.levels.most(lane.key, edges)
    fine = np.repeat(by_us, US)
    for i, (low, high) in enumerate(pairwise(edges)):
        assert mean[i] == np.mean(fine[low:high])
        assert most[i] == np.max(fine[low:high])


def test_a_queue_is_a_step_against_its_depth() -> None:
    run = queue_scene.run(CHANGES, 100)
    figure, arrangement = schedule(run, 0, 100 * US, SHEET)
    steps = [(s, n, w.split("<br>")[1]) for s, n, w in blocks(figure) if "of 4 items" in w]
    assert [step for step in steps if step[2] == "3 of 4 items"] == [
        (30 * US, 10 * US, "3 of 4 items"), (60 * US, 10 * US, "3 of 4 items"),
    ]  # fmt: skip
    full = [step for step in steps if step[2] == "4 of 4 items"]
    assert full == [(40 * US, 20 * US, "4 of 4 items")] * 2, "the step, and its mark"
    place = next(p for p in arrangement.places if p.lane.name == "yarn")
    heights = sorted(
        {
            round(float(height), 3)
            for trace in figure["data"] if trace["type"] == "bar"
            for height, words in zip(numbers(trace["width"]), trace["hovertext"], strict=True)
            if "of 4 items" in words
        }
    )  # fmt: skip
    assert heights[1:] == [round(place.block * n / 4, 3) for n in (1, 2, 3, 4)]
    dotted = [s for s in figure["layout"]["shapes"] if s["line"].get("dash") == "dot"]
    assert place.baseline - place.block in [line["y0"] for line in dotted]


def test_queues_stand_as_they_are_declared_with_their_depth() -> None:
    run = queue_scene.run(CHANGES, 100)
    assert [lane.label for lane in run.lanes.of("queue")] == ["yarn · 4", "spare · 2"]


def test_a_full_window_of_a_queue_tells_mean_and_most() -> None:
    changes = [(10 * i + 5 * (i % 2), 1 if i % 2 == 0 else -1) for i in range(2000)]
    run = queue_scene.run(changes, 20_100)
    figure, _ = schedule(run, 0, 20_100 * US, SHEET)
    reading = next(t for t in figure["data"] if "items on average" in t.get("hovertemplate", ""))
    told = numbers(reading["customdata"])
    assert np.all(told[:, 1][:-2] == 1)
    assert np.all(told[:, 0] <= told[:, 1])
    assert "at most %{customdata[1]:d} of 4" in reading["hovertemplate"]

"""Figures as SVG show what the figures say: the same blocks at the same pixels, names inert."""

from xml.etree import ElementTree

import numpy as np
import pytest

from tests.drawing import scene
from tests.drawing.figure_reading import blocks, numbers
from tests.drawing.scene import MS, TAG
from tracelens.drawing.panels.load import load_over_time
from tracelens.drawing.panels.responses import response_times
from tracelens.drawing.sheet import LEFT_PX, RIGHT_PX, Sheet
from tracelens.drawing.svg.figure import svg
from tracelens.drawing.svg.values import filled
from tracelens.drawing.swimlanes import schedule, whole_run
from tracelens.drawing.this_job import this_job

SHEET = Sheet(940, 420, "css")


def drawn(figure, sheet=SHEET):
    """The figure's SVG, parsed: markup that is not well-formed is an error here."""
    return ElementTree.fromstring(svg(figure, sheet.width, sheet.height, "a figure"))


def told(root, name):
    """(attributes, title) of every element of a kind that tells the pointer something."""
    return [
        (one.attrib, title.text)
        for one in root.iter(name)
        if (title := one.find("title")) is not None
    ]


def test_every_block_of_the_schedule_lies_where_its_times_are():
    start, end = 0, 5 * MS
    figure, _ = schedule(scene.run(), start, end, SHEET)
    px_per_ns = (SHEET.width - LEFT_PX - RIGHT_PX) / (end - start)
    spans = {}
    for attributes, title in told(drawn(figure), "rect"):
        x, width = float(attributes["x"]), float(attributes["width"])
        spans.setdefault(title.split("\n")[0], []).append((x, x + width))
    shown = 0
    for at, length, words in blocks(figure):
        low, high = (LEFT_PX + (t - start) * px_per_ns for t in (at, at + length))
        low, high = max(low, LEFT_PX - 4), min(high, SHEET.width - RIGHT_PX + 4)
        if high - low < 3:
            continue
        name = words.split("<br>")[0].replace("<b>", "").replace("</b>", "")
        name = name.replace("&lt;", "<").replace("&gt;", ">")
        near = [np.hypot(low - a, high - b) for a, b in spans[name]]
        assert min(near) < 0.2, (words, low, high)
        shown += 1
    assert shown > 20


def test_a_tag_in_a_name_is_text():
    figure, _ = schedule(scene.run(), 0, 10 * MS, SHEET)
    root = drawn(figure)
    assert {one.tag for one in root.iter()} <= {
        *("svg", "g", "rect", "path", "line", "text", "title", "pattern", "image")
    }
    assert any(TAG in "".join(one.itertext()) for one in root.iter("text"))


def test_a_dot_of_the_response_plot_stands_at_its_release_and_response():
    figure, _ = response_times(scene.run(), "needle_select", Sheet(940, 150, "css"))
    (late,) = [t for t in figure["data"] if t.get("marker", {}).get("symbol") == "x"]
    crosses = [
        (attributes["d"], title)
        for attributes, title in told(drawn(figure, Sheet(940, 150, "css")), "path")
        if "job" in title
    ]
    assert len([title for _, title in crosses if title.endswith(" 3.2 ms")]) == len(
        numbers(late["x"])
    )  # late jobs of the scene last from 1.0 to 4.2 ms of their cycle
    assert all(path.startswith("M") for path, _ in crosses)


def test_all_figures_of_the_package_can_be_drawn():
    run, sheet = scene.run(), Sheet(940, 150, "css")
    assert drawn(whole_run(run, sheet)).find(".//image[@class='when-dark']") is not None
    for figure, missing in (
        load_over_time(run, 0, run.span_ns, sheet),
        response_times(run, "needle_select", sheet, chosen=1),
        this_job(run, run.late["job_id"][0], sheet),
    ):
        assert missing == ""
        assert drawn(figure, sheet).findall(".//path")


def test_a_hatch_that_is_used_is_defined():
    root = drawn(schedule(scene.run(), 0, 5 * MS, SHEET)[0])
    used = {g.attrib["fill"][5:-1] for g in root.iter("g") if "url(" in g.attrib.get("fill", "")}
    assert used
    assert used <= {pattern.attrib["id"] for pattern in root.iter("pattern")}


@pytest.mark.parametrize(
    "trace",
    [
        {"type": "heatmap"},
        {"type": "scatter", "mode": "lines+markers"},
        {"type": "scatter", "mode": "markers", "x": [1], "y": [1], "marker": {"symbol": "star",
         "color": "red", "size": 3}},
    ],
)  # fmt: skip
def test_what_the_writer_does_not_know_is_refused_not_left_out(trace):
    figure, _ = load_over_time(scene.run(), 0, MS, SHEET)
    with pytest.raises(ValueError, match="unknown"):
        drawn({**figure, "data": [trace]})


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.00437, "4.37 ms"), (1.0, "1 s"), (0.0123456, "12.3 ms"), (612e-6, "612 µs"), (0, "0 s")],
)
def test_number_formats_are_those_of_the_figures(value, text):
    # d3-format's '.3~s': three significant digits, SI prefix, no trailing zeros; SI brochure,
    # 9th edition, table 7, for the prefixes. A blank stands before the unit (5.4.3 there).
    assert filled("%{y:.3~s}s<extra></extra>", {"y": value}) == text

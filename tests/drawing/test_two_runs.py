"""Two runs on one scale: lanes by name, one window, ticks from a moment of each."""

from tests.drawing import scene
from tests.drawing.scene import MS
from tracelens.drawing.sheet import Sheet
from tracelens.drawing.two_runs import height, match, one_side, relative_ticks

SHEET = Sheet(1000, 400)


def test_lanes_are_matched_by_name_and_the_others_named() -> None:
    a, b = scene.run(), scene.run(2, "flash_bus", "spi_bus")
    matched = match(a, b)
    names = [lane.name for lane in matched.a]
    assert names == [lane.name for lane in matched.b]
    assert names[:4] == ["carriage_encoder", "needle_select", "link", scene.TAG]
    assert "idle" not in names
    assert (matched.only_a, matched.only_b) == (("flash_bus",), ("spi_bus",))
    assert 200 < height(matched) < 400


def test_a_core_without_a_name_is_called_one() -> None:
    numbered = scene.run(2, " name=main", "")
    named = scene.run(2)
    matched = match(numbered, named)
    assert (matched.only_a, matched.only_b) == (("core 0",), ("main",))


def test_each_side_shows_its_own_part_of_one_window() -> None:
    run = scene.run()
    lanes = match(run, run).a
    early = one_side(run, lanes, (0, 5 * MS), 0, SHEET)["layout"]["xaxis"]
    later = one_side(run, lanes, (0, 5 * MS), 20 * MS, SHEET)["layout"]["xaxis"]
    assert later["range"] == [20 * MS, 25 * MS]
    assert early["ticktext"] == later["ticktext"]
    assert [at + 20 * MS for at in early["tickvals"]] == list(later["tickvals"])


def test_where_a_run_begins_or_ends_in_the_window_it_says_so() -> None:
    run = scene.run()
    lanes = match(run, run).a
    whole = one_side(run, lanes, (-5 * MS, 65 * MS), 0, SHEET)["layout"]
    said = {note["text"]: note["x"] for note in whole["annotations"] if "run" in note["text"]}
    assert said == {"the run begins": 0, "the run ends": 60 * MS}
    inside = one_side(run, lanes, (1 * MS, 5 * MS), 0, SHEET)["layout"]
    assert not [note for note in inside["annotations"] if "the run" in note["text"]]


def test_ticks_before_the_moment_are_negative() -> None:
    axis = relative_ticks(-2 * MS, 8 * MS, 900)
    assert axis.title == "ms"
    assert dict(zip(axis.at, axis.labels, strict=True))[-2 * MS] == "−2"
    assert dict(zip(axis.at, axis.labels, strict=True))[0] == "0"

"""Two runs: aligned as asked, or told which run lacks what; and what differs."""

import pytest

from tests.drawing import scene
from tests.drawing.scene import MS
from tests.web.test_sessions import Reader
from tracelens.drawing.two_runs import match
from tracelens.errors import UsageError
from tracelens.reading import read
from tracelens.samples import sample
from tracelens.web.loading import prepared
from tracelens.web.moves import LEAST_WIDTH_NS
from tracelens.web.rooms.two.aligned import Alignment, marks_of_both, moments, tasks_of_both
from tracelens.web.rooms.two.differs import differences
from tracelens.web.rooms.two.layout import head, missing, only
from tracelens.web.rooms.two.page import alignment, view_of


@pytest.fixture(scope="module")
def pair():
    """Before and after the repair."""
    logs = [sample("knitting_inversion"), sample("knitting_mended")]
    return tuple(prepared(read(one.log)) for one in logs)


@pytest.mark.parametrize(
    ("asked", "expected"),
    [
        (Alignment(), (0, 0)),
        (Alignment("job", "needle_select", "1", "3"), (1 * MS, 21 * MS)),
        (Alignment("job", "needle_select", "2"), (11 * MS, 11 * MS)),
        (Alignment("job", "needle_select"), (1 * MS, 1 * MS)),
        (Alignment("mark", mark="log_end"), (60 * MS, 20 * MS)),
    ],
)
def test_both_count_from_the_moment_asked_for(asked: Alignment, expected: tuple) -> None:
    shorter = scene.run(2) if asked.kind == "mark" else scene.run()
    assert moments(scene.run(), shorter, asked) == expected


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        (Alignment("job"), "no task is named"),
        (Alignment("job", "needle"), "first run has no job of needle; did you mean needle_select"),
        (Alignment("job", "link", "1", "99"), "second run has no job 99 of link: expected 1 to"),
        (Alignment("job", "link", "-1"), "found '-1', expected the number of a job"),
        (Alignment("job", "link", "9" * 5000), "expected the number of a job"),
        (Alignment("job", "link", "²"), "expected the number of a job"),
        (Alignment("job", "x" * 10**6), "first run has no job of xxx"),
        (Alignment("mark"), "no mark is named"),
        (Alignment("mark", mark="log_and"), "has no mark log_and; did you mean log_end?"),
    ],
)
def test_what_cannot_be_aligned_is_said_in_a_line(asked: Alignment, says: str) -> None:
    with pytest.raises(UsageError) as refused:
        moments(scene.run(), scene.run(), asked)
    assert says in refused.value.problem
    assert len(refused.value.problem) < 200


def test_names_to_choose_from_are_those_of_both() -> None:
    other = scene.run(2, "name=link", "name=radio")
    tasks = tasks_of_both(scene.run(), other)
    assert "needle_select" in tasks
    assert "link" not in tasks
    assert marks_of_both(scene.run(), other) == ["log_end"]


def test_what_one_run_alone_has_is_said() -> None:
    other = scene.run(2, "name=link", "name=radio")
    assert only(match(scene.run(), other)) == (
        "Only the first run has link. Only the second run has radio."
    )
    assert only(match(scene.run(), scene.run())) == ""


def test_the_numbers_of_both_stand_side_by_side(pair) -> None:
    verdict, told = differences(*pair)
    assert verdict.endswith(".")
    text = str(told)
    for run, late in zip(pair, (4, 0), strict=True):
        tasks = run.analysis.tasks.filter(task="needle_select")
        assert tasks["deadline_misses"].item() == late
        assert f"'{tasks['response_max_ns'].item() / 1e6:.2f}'" in text


def test_runs_with_nothing_in_common_are_refused_in_a_line() -> None:
    lesson = prepared(read(sample("round_robin").log))
    verdict, told = differences(scene.run(), lesson)
    assert told == []
    assert "no task" in verdict


@pytest.mark.parametrize(
    "query",
    [
        {},
        {"from": "x", "to": "1"},
        {"from": "9" * 400, "to": "-" + "9" * 400},
        {"from": "-5", "to": "-5"},
        {"from": "1e999", "to": "nan"},
    ],
)
def test_a_window_that_makes_no_sense_is_put_right(query: dict) -> None:
    view = view_of(query, scene.run(), scene.run(2))
    assert view["end"] - view["start"] >= LEAST_WIDTH_NS
    assert abs(view["start"]) <= 60 * MS
    assert view["end"] <= 240 * MS


def test_the_address_says_how_to_align() -> None:
    asked = alignment({"at": "job", "task": "t" * 999, "job_a": "2"})
    assert (asked.kind, len(asked.task), asked.job_a) == ("job", 200, "2")
    assert alignment({"at": "<script>"}).kind == "begin"


def test_a_missing_run_is_asked_for_and_the_other_kept() -> None:
    text = str(missing(scene.run(), None, {"a": "1", "b": "gone"}))
    assert "The second run is not here any more." in text
    assert "side=b&other=1" in text
    assert "side=a&other=1" in str(head("first", scene.run(), "a", {"a": "2", "b": "1"}))


def test_a_run_that_went_meanwhile_is_said(server) -> None:
    props = {
        "pair.data": {"a": "1", "b": "gone", "name": "x"},
        "view.data": {"start": 0, "end": MS},
        "moments.data": {"a": 0, "b": 0},
        "screen.data": {"width": 900, "scheme": "light"},
    }
    reply = Reader(server).ask("/two/", "only.children", props, "view.data")
    assert "is not here any more" in reply
    props["pair.data"] = {"a": "1", "b": "1", "name": "x"}
    reply = Reader(server).ask("/two/", "only.children", props, "view.data")
    assert "needle_select" in reply

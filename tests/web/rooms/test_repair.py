"""Try a repair: what is asked, replayed once, told with its fidelity, and drawn."""

import time
from urllib.parse import urlsplit

import polars as pl
import pytest

from tests.drawing import scene
from tests.drawing.scene import MS
from tests.web.test_sessions import Reader
from tracelens.drawing.moved import Moved
from tracelens.drawing.sheet import Sheet
from tracelens.drawing.two_runs import match, one_side
from tracelens.errors import UsageError
from tracelens.reading import read
from tracelens.replay import KINDS, Change, parse
from tracelens.samples import sample
from tracelens.web.loading import Loader, Progress, prepared
from tracelens.web.parts.job import explain
from tracelens.web.rooms.repair.asked import (
    MOST_CHANGES,
    changes_of,
    link,
    sentence,
    subjects,
    with_change,
    written,
)
from tracelens.web.rooms.repair.page import window_of
from tracelens.web.rooms.repair.replaying import MOST_EVENTS, Replays, too_long
from tracelens.web.rooms.repair.told import believed, both_sides, in_words, numbers
from tracelens.web.shelf import Shelf

INHERIT = Change("protocol", "flash_bus", protocol="inherit")


@pytest.fixture(scope="module")
def shelf() -> Shelf:
    held = Shelf()
    held.put(prepared(read(sample("knitting_inversion").log)), "1")
    return held


@pytest.fixture(scope="module")
def replays(shelf: Shelf) -> Replays:
    return Replays(shelf, Loader(shelf))


def done(replays: Replays, ticket: str) -> Progress:
    while not (told := replays.progress(ticket)).done:
        time.sleep(0.02)
    return told


@pytest.fixture(scope="module")
def repaired(shelf: Shelf, replays: Replays):
    """The recorded run, the predicted one, and what was said of it."""
    recorded = shelf.get("1")
    told = done(replays, replays.begin("1", recorded, (INHERIT,)))
    predicted = shelf.get(told.run)
    return recorded, predicted, replays.answer(predicted)


def test_an_address_holds_any_change_of_whatif() -> None:
    texts = {
        "priority": "a=b=3", "protocol": "l&m=ceiling", "scale": "t=0.8", "clock": "0.5",
        "period": "t=10000us", "offset": "t=500us", "core": "t=1", "without": "t",
        "section": "t/l=0.5",
    }  # fmt: skip
    changes = tuple(parse(kind, texts[kind]) for kind in KINDS)
    search = urlsplit(link("sample:x", 7, changes)).query
    assert changes_of(written(f"?{search}")) == changes
    assert "job=7" in search
    assert len(written("&".join(["clock=2"] * 99))) == MOST_CHANGES
    assert all(sentence(change) for change in changes)


def test_a_change_of_the_same_thing_takes_its_place() -> None:
    told = with_change([], "priority", "archive", " 3 ")
    told = with_change(told, "scale", "archive", "0.5")
    told = with_change(told, "priority", "archive", "4")
    told = with_change(told, "clock", "whatever", "2")
    assert told == [["scale", "archive=0.5"], ["priority", "archive=4"], ["clock", "2"]]


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        (("priority", "archive", "high"), "--priority: found 'archive=high', expected a task and"),
        (("priority", "", "3"), "no task is chosen"),
        (("protocol", "", "inherit"), "no lock is chosen"),
        (("clock", "", ""), "--clock: found '', expected a factor"),
        (("<b>", "x", "1"), "no change is chosen"),
    ],
)
def test_what_says_nothing_is_refused_in_a_line(asked: tuple, says: str) -> None:
    with pytest.raises(UsageError) as refused:
        with_change([], *asked)
    assert says in refused.value.problem


def test_the_controls_offer_what_the_run_has(shelf: Shelf) -> None:
    run = shelf.get("1")
    assert subjects(run, "protocol") == [{"value": "flash_bus", "label": "flash_bus (none)"}]
    assert {"value": "archive", "label": "archive (1)"} in subjects(run, "priority")
    assert "idle" not in str(subjects(run, "scale"))
    assert subjects(run, "clock") == []


def test_the_numbers_are_those_of_the_library(repaired) -> None:
    answer = repaired[2]
    text = str(numbers(answer.tasks))
    for ns in answer.tasks.filter(task="needle_select")["recorded_max_ns", "predicted_max_ns"].row(
        0
    ):
        assert f"'{ns / 1e6:.2f}'" in text
    assert answer.tasks.filter(change="worse")["task"].to_list() == ["yarn_tension"]
    assert text.count("B('worse')") == 1
    assert "gives 820 of 820 responses (100\N{NO-BREAK SPACE}%)" in believed(answer.document)[0]


def test_the_same_question_is_replayed_once(shelf: Shelf, replays: Replays, repaired) -> None:
    ticket = replays.begin("1", repaired[0], (INHERIT,))
    assert shelf.get(replays.progress(ticket).run) is repaired[1]
    assert replays.answer(repaired[0]) is None


def test_what_cannot_be_replayed_is_said_in_a_line(replays: Replays, repaired) -> None:
    wrong = Change("protocol", "flash_bs", protocol="inherit")
    told = done(replays, replays.begin("1", repaired[0], (wrong,)))
    assert told.problem == "no such lock: found flash_bs, expected one of the run"
    assert told.hint == "did you mean flash_bus?"
    too_long(MOST_EVENTS)
    with pytest.raises(UsageError, match=r"found 1000001 events, expected at most 1000000;"):
        too_long(MOST_EVENTS + 1)


def test_moved_jobs_are_outlined_and_named(repaired) -> None:
    recorded, predicted, answer = repaired
    start, end = 39 * MS, 45 * MS
    matched = match(recorded, predicted, ("task", "lock"))
    assert {lane.kind for lane in matched.a} == {"task", "lock"}
    mine, yours = both_sides(answer.moved)
    sheet = Sheet(1200, 260)
    for run, lanes, moved in ((recorded, matched.a, mine), (predicted, matched.b, yours)):
        drawn = one_side(run, lanes, (start, end), 0, sheet, moved)["layout"]
        boxes = {
            (box["x0"], box["x1"]) for box in drawn["shapes"] if box["line"].get("dash") == "dash"
        }
        there = moved.within(start, end)
        assert boxes == set(zip(there["start_ns"], there["end_ns"], strict=True))
        words = [note["text"] for note in drawn["annotations"]]
        assert ("−4.02 ms" in words) is (run is predicted)
    said = in_words(mine, start, end)
    assert "needle_select, job 21: 4.02 ms shorter" in said
    assert said.endswith(f"and {mine.within(start, end).height - 3} others.")
    assert in_words(Moved(mine.jobs.clear()), 0, MS).startswith("No job in this window")
    gone = pl.DataFrame(
        {"task": ["a"], "job": [1], "start_ns": [0], "end_ns": [5], "by_ns": [None]}
    )
    assert "a, job 1: not complete in the prediction" in in_words(Moved(gone), 0, MS)


def test_the_window_is_that_of_the_address_or_of_a_job(repaired) -> None:
    recorded = repaired[0]
    assert window_of(*repaired, {"from": "5000", "to": "9000"}) == {"start": 5000, "end": 9000}
    late = recorded.late["job_id"][0]
    first = dict(zip(("start", "end"), recorded.window_of(recorded.job(late)), strict=True))
    assert window_of(*repaired, {}) == window_of(*repaired, {"job": "9" * 11}) == first
    assert window_of(*repaired, {"job": "²"}) == first
    other = dict(zip(("start", "end"), recorded.window_of(recorded.job(500)), strict=True))
    assert window_of(*repaired, {"job": "500"}) == other


def test_advice_about_a_lock_leads_to_the_room() -> None:
    run = scene.run()
    late = run.late["job_id"][0]
    words = str(explain(run, late, Sheet(700, 220), "1")[3])
    assert "/repair/?run=1&job=" in words
    assert "protocol=flash_bus%3Dinherit" in words
    assert "/repair/" not in str(explain(run, late, Sheet(700, 220))[3])


def test_the_room_answers_step_by_step(server) -> None:
    reader = Reader(server)
    reply = reader.ask("/repair/", "missing.children", {"address.search": "?run=gone"}, "address")
    assert "The run is not here any more." in reply
    asked = {"run": "1", "changes": [["protocol", "flash_bus"]], "window": {}}
    reply = reader.ask("/repair/", "changes.children", {"asked.data": asked}, "asked.data")
    assert "--protocol: found" in reply
    assert "take out protocol flash_bus" in reply
    reply = reader.ask(
        "/repair/", "only.children", {"pair.data": {"a": "1", "b": "x"}}, "view.data"
    )
    assert "is not here any more" in reply

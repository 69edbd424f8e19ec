"""The classroom: textbook answers, mistakes at their cell, links that bring a set back, bounds."""

import base64
import json
import zlib
from dataclasses import replace

import pytest
from flask.testing import FlaskClient
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.web.rooms.conftest import BASE
from tests.web.test_sessions import Reader
from tracelens.engine import simulate
from tracelens.errors import UsageError
from tracelens.formats.taskset_toml import parse_taskset, read_taskset
from tracelens.model.system import PROTOCOLS
from tracelens.samples import samples
from tracelens.web.rooms.classroom.editor import said
from tracelens.web.rooms.classroom.examples import examples
from tracelens.web.rooms.classroom.exercise import (
    Exercise,
    Row,
    mistakes,
    to_toml,
)
from tracelens.web.rooms.classroom.lesson import MOST_EVENTS, play, slowest
from tracelens.web.rooms.classroom.link import pack, unpack
from tracelens.web.rooms.classroom.page import all_mistakes, changed, exercise_of, first
from tracelens.web.rooms.classroom.results import side_by_side
from tracelens.web.rooms.classroom.worst_case import worst_case
from tracelens.web.rooms.nav import CLASSROOM

ONE = Exercise(rows=(Row("a", "1", "10", steps="run 1"),))


def responses(name: str, protocol: str) -> dict[str, float]:
    """Slowest response of each task, in ms."""
    jobs = slowest(play(to_toml(examples()[name].exercise, protocol)).run)
    lengths = (jobs["end_ns"] - jobs["release_ns"]) / 1e6
    return dict(zip(jobs["task"].to_list(), lengths.to_list(), strict=True))


@pytest.mark.parametrize(
    ("protocol", "d"), [("none", 12), ("inherit", 9), ("original_ceiling", 7), ("ceiling", 6)]
)
def test_four_protocols_on_one_set(protocol: str, d: int) -> None:
    """Burns & Wellings, Real-Time Systems and Programming Languages, 4th ed., sect. 11.8."""
    assert responses("four_processes", protocol)["d"] == d


def test_the_response_time_example() -> None:
    """Buttazzo, Hard Real-Time Computing Systems, ch. 4."""
    expected = {"a": 1, "b": 2, "c": 4, "d": 10}
    assert responses("response_time_example", "none") == expected


@pytest.mark.parametrize("sample", [s for s in samples() if s.classroom], ids=lambda s: s.name)
def test_an_example_makes_the_schedule_of_its_sample(sample) -> None:
    protocol = next((p for p in PROTOCOLS if sample.name.endswith(f"_{p}")), "none")
    protocol = "original_ceiling" if sample.name.endswith("original_ceiling") else protocol
    example = examples().get(sample.name) or examples()[sample.name.removesuffix(f"_{protocol}")]
    assert all_mistakes(example.exercise) == []
    assert protocol in example.exercise.protocols
    ours = simulate(parse_taskset(to_toml(example.exercise, protocol))).truth.tables()
    theirs = simulate(read_taskset(sample.taskset)).truth.tables()
    for name in ("jobs", "episodes"):
        assert ours[name].equals(theirs[name]), name


@pytest.mark.parametrize(
    ("row", "column", "says"),
    [
        (Row("a b", "1", steps="run 1"), "name", "found 'a b', expected a short word"),
        (Row("<script>", "1", steps="run 1"), "name", "expected a short word"),
        (Row("a", "", steps="run 1"), "priority", "found nothing, expected a whole number"),
        (Row("a", "9" * 50, steps="run 1"), "priority", "expected a whole number"),
        (Row("a", "1", "0", steps="run 1"), "period", "expected a time above 0 in ms"),
        (Row("a", "1", "1e9", steps="run 1"), "period", "expected a time above 0 in ms"),
        (Row("a", "1", "5", "1, 2", steps="run 1"), "first", "found several times"),
        (Row("a", "1", first="-1", steps="run 1"), "first", "expected a time in ms"),
        (Row("a", "1", deadline="soon", steps="run 1"), "deadline", "found 'soon'"),
        (Row("a", "1"), "steps", "found nothing, expected steps such as"),
        (Row("a", "1", steps="run 1, lok Q"), "steps", "step 2: found 'lok Q'"),
        (Row("a", "1", steps="run 1, lok Q"), "steps", "did you mean lock?"),
        (Row("a", "1", steps="run"), "steps", "step 1: found nothing, expected a time"),
        (Row("a", "1", steps="lock"), "steps", "step 1: found nothing, expected a name"),
        (Row("a", "1", steps="activate b"), "steps", "expected the name of a task"),
        (Row("a", "1", steps="run 1," * 200), "steps", "expected at most"),
        # What the engine checks, once every cell is right by itself.
        (Row("a", "1", steps="run 1, lock Q, run 1"), "steps", "never unlocked"),
        (Row("a", "1", steps="run 1, unlock Q"), "steps", "'Q' is not a lock"),
        (Row("a", "1", steps="suspend 1"), "steps", "it never runs"),
    ],
)
def test_a_mistake_is_said_at_its_cell(row: Row, column: str, says: str) -> None:
    found = all_mistakes(Exercise(rows=(Row("z", "2", steps="run 1"), row)))
    assert {(mistake.row, mistake.column) for mistake in found} == {(1, column)}
    assert says in found[0].text
    assert len(said(found, 1)) == len(found)
    assert said(found, 0) == []


@pytest.mark.parametrize(
    ("exercise", "column"),
    [
        (replace(ONE, until="0"), "until"),
        (replace(ONE, until="99999999"), "until"),
        (replace(ONE, cores="9"), "cores"),
        (replace(ONE, policy="x"), "policy"),
        (replace(ONE, order="x"), "order"),
        (replace(ONE, protocols=()), "protocols"),
        (replace(ONE, protocols=("x",)), "protocols"),
        (replace(ONE, policy="round_robin", slice="0"), "slice"),
        (replace(ONE, rows=()), "rows"),
    ],
)
def test_a_mistake_in_a_setting_is_said_there(exercise: Exercise, column: str) -> None:
    assert [(mistake.row, mistake.column) for mistake in mistakes(exercise)] == [(None, column)]


def test_two_tasks_of_one_name_are_told_apart() -> None:
    found = mistakes(replace(ONE, rows=(ONE.rows[0], ONE.rows[0])))
    assert [(mistake.row, mistake.column) for mistake in found] == [(1, "name")]


@pytest.mark.parametrize(
    "exercise",
    [
        # 100 000 ms at one release a microsecond; turns of a microsecond; activations that multiply
        Exercise(rows=(Row("a", "1", "0.001", steps="run 0.001"),), until="100000"),
        Exercise(
            rows=(Row("a", "1", steps="run 90000"), Row("b", "1", steps="run 90000")),
            policy="round_robin",
            slice="0.001",
            until="100000",
        ),
        Exercise(
            rows=(
                *(
                    Row(f"t{n}", str(n + 1), steps=f"run 1{f', activate t{n + 1}' * 30}")
                    for n in range(7)
                ),
                Row("t7", "9", steps="run 1"),
            ),
            until="100000",
        ),
    ],
)
def test_an_absurd_set_is_given_up_in_one_line(exercise: Exercise) -> None:
    assert mistakes(exercise) == []
    with pytest.raises(UsageError, match=rf"too much happens: found .* {MOST_EVENTS}"):
        play(to_toml(exercise, "none"))


@settings(max_examples=40)
@given(
    st.builds(
        Exercise,
        rows=st.lists(st.builds(Row, *([st.text(max_size=40)] * 6)), max_size=12).map(tuple),
        policy=st.text(max_size=10),
        until=st.text(max_size=10),
        preemptive=st.booleans(),
        protocols=st.lists(st.sampled_from(list(PROTOCOLS))).map(tuple),
    )
)
def test_whatever_is_typed_comes_back_from_its_link_and_is_judged(exercise: Exercise) -> None:
    assert unpack(pack(exercise)) == exercise
    if not mistakes(exercise):
        parse_taskset(to_toml(exercise, "none"))


BOMB = base64.urlsafe_b64encode(zlib.compress(b'{"rows":[' + b" " * 10**6 + b"]}")).decode()
MANY = pack(Exercise(rows=(Row(),) * 13))


@pytest.mark.parametrize("word", ["", "x", "../etc", "A" * 40_000, "é", pack(ONE)[:-6], BOMB, MANY])
def test_a_damaged_link_is_said_and_an_example_shown(client: FlaskClient, word: str) -> None:
    with pytest.raises(UsageError):
        unpack(word)
    query = {"set": word, "protocol": "none"}
    reply = client.get(f"{CLASSROOM}exercise.csv", query_string=query, base_url=BASE)
    assert reply.status_code == 400
    assert reply.text.count("\n") == 1


def test_the_page_opens_on_the_first_example_and_says_what_is_wrong_with_a_link() -> None:
    table, *_, note = first("?set=x")
    assert len(table) == 8
    assert note.startswith("the link to a task set is cut or damaged")
    assert first("")[-1] == ""
    assert len(first(f"?set={pack(ONE)}")[0]) == 2
    assert len(first("?example=no_such")[0]) == 2


def test_rows_come_and_go() -> None:
    more = changed(ONE, "add")
    assert [row.name for row in more.rows] == ["a", "b"]
    assert changed(more, {"type": "remove", "row": 0}).rows == (more.rows[1],)
    full = replace(ONE, rows=(Row(),) * 12)
    assert changed(full, "add") == full


def test_cells_become_an_exercise_and_what_is_too_long_is_cut() -> None:
    cells = [{"row": 0, "column": column} for column in ("name", "priority", "steps")]
    chosen = ("edf", "higher_first", [], None, "2", "7", ["inherit", "nonsense"])
    exercise = exercise_of(cells, ["a", None, "r" * 10**6], chosen)
    assert exercise.rows[0].priority == ""
    assert len(exercise.rows[0].steps) < 1000
    assert (exercise.policy, exercise.preemptive, exercise.protocols) == (
        "edf",
        False,
        ("inherit",),
    )


def test_set_and_log_are_files_that_read_the_same(client: FlaskClient) -> None:
    word = pack(examples()["four_processes"].exercise)
    query = {"set": word, "protocol": "inherit"}
    log = client.get(f"{CLASSROOM}exercise.csv", query_string=query, base_url=BASE)
    toml = client.get(f"{CLASSROOM}exercise.toml", query_string=query, base_url=BASE)
    assert log.headers["Content-Disposition"] == 'attachment; filename="exercise.csv"'
    assert simulate(parse_taskset(toml.text)).log == log.data


def test_side_by_side_says_each_response_and_what_cannot_be_run() -> None:
    exercise = examples()["four_processes"].exercise
    sets = {protocol: to_toml(exercise, protocol) for protocol in PROTOCOLS}
    text = str(side_by_side(sets, dict.fromkeys(sets, "/"), 1000, "light"))
    for response in ("12.0 ms", "9.00 ms", "7.00 ms", "6.00 ms"):
        assert response in text
    edf = replace(exercise, policy="edf")
    text = str(side_by_side({"ceiling": to_toml(edf, "ceiling")}, {"ceiling": "/"}, 1000, "dark"))
    assert "no ceilings under earliest deadline first" in text


def test_the_analysis_stands_under_each_schedule() -> None:
    """Process set A of Burns & Wellings: c has 52 ms against a deadline of 50; load 0.82."""
    text = str(worst_case(to_toml(examples()["process_set_a"].exercise, "none")))
    assert "a deadline is missed" in text
    assert "12.0 ms → 32.0 ms → 42.0 ms → 52.0 ms" in text
    assert "load (Liu & Layland 1973): 0.823 against 1" in text
    met = str(worst_case(to_toml(examples()["response_time_example"].exercise, "none")))
    assert "every deadline is met" in met
    blocked = str(worst_case(to_toml(examples()["four_processes"].exercise, "inherit")))
    assert "there is no deadline to meet" in blocked
    assert "every deadline is met" not in blocked
    assert "a by Q" in blocked


@pytest.mark.parametrize("change", [{"cores": "9" * 12}, {"until": "1e9"}, {"policy": "x"}])
def test_a_set_with_a_mistake_is_not_run_whoever_sends_it(server, change: dict) -> None:
    props = {
        "set.data": {"word": pack(replace(ONE, **change))},
        "screen.data": {"width": 900, "scheme": "light"},
    }
    reply = Reader(server).ask("/classroom/", "results.children", props, "set.data")
    assert json.loads(reply)["response"] == {}, "nothing to show"

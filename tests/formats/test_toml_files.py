"""System files and task sets: what they mean, and what is said about their mistakes."""

from dataclasses import replace
from pathlib import Path

import pytest

from tracelens.engine import simulate
from tracelens.engine.check import check
from tracelens.errors import SystemFileError
from tracelens.formats.program_text import body, duration
from tracelens.formats.system_toml import apply, read_system
from tracelens.formats.taskset_toml import parse_taskset, read_taskset
from tracelens.formats.toml_schema import parse_toml
from tracelens.model.system import Chain, Clock, Core, Lock, Queue, System, Task
from tracelens.model.taskset import Duration, Step

SAMPLES = sorted(
    path
    for path in (Path(__file__).parents[2] / "sample_traces").rglob("*.toml")
    if path.parent.name != "mapping"
    if not path.stem.endswith("_budgets")  # limits, not the work of a system
)

SMALL = """
[priority]
order = "higher_first"
[locks.bus]
protocol = "inherit"
[queues.rows]
depth = 4
[tasks.fetch]
priority = 2
period_us = 2000
body = ["run 100", "lock bus", "run 50..80", "unlock bus", "send rows"]
[tasks.worker]
priority = 1
activation = "rows"
body = ["run 200..900 tail"]
[simulation]
until_us = 20_000
"""


def mistake(text: str) -> str:
    """The one line said about a task set."""
    with pytest.raises(SystemFileError) as caught:
        check(parse_taskset(text, "knit.toml"))
    message = str(caught.value)
    assert "\n" not in message
    return message


def test_small_set_is_fine():
    check(parse_taskset(SMALL))


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (
            "period_us",
            "perod_us",
            "knit.toml: tasks.fetch.perod_us is not a key: did you mean period_us?",
        ),
        ("[locks.bus]", "[lock.bus]", "knit.toml: lock is not a key: did you mean locks?"),
        (
            "period_us = 2000",
            'period_us = "2 ms"',
            "knit.toml: tasks.fetch.period_us: found str, expected int | float | null",
        ),
        (
            'protocol = "inherit"',
            'protocol = "inherits"',
            "knit.toml: locks.bus.protocol: found 'inherits', expected one of none, inherit, "
            "ceiling, original_ceiling",
        ),
        (
            '"lock bus"',
            '"lock buss"',
            "knit.toml: tasks.fetch.body: step 2: 'buss' is not a lock",
        ),
        (
            '"send rows"',
            '"send row"',
            "knit.toml: tasks.fetch.body: step 5: 'row' is not a queue",
        ),
        (
            'protocol = "inherit"',
            'protocol = "ceiling"\nceiling = 1',
            "knit.toml: locks.bus.ceiling: 1 is below the priority 2 of fetch, which uses it",
        ),
        (
            '"unlock bus", ',
            "",
            "knit.toml: tasks.fetch.body: the section of bus is longer than the job: "
            "it is never unlocked",
        ),
        (
            '"lock bus", ',
            "",
            "knit.toml: tasks.fetch.body: step 3: unlocks bus, which it does not hold",
        ),
        (
            '"run 100"',
            '"runs 100"',
            "knit.toml: tasks.fetch.body: step 1: found 'runs 100', expected one of run, lock, "
            "unlock, send, receive, suspend, activate, mark",
        ),
        (
            '"run 100"',
            '"run 100us"',
            "knit.toml: tasks.fetch.body: step 1: found '100us', expected a time in µs: "
            "300, 300..500 or 300..2000 tail",
        ),
        (
            '"run 50..80"',
            '"run 80..50"',
            "knit.toml: tasks.fetch.body: step 3: found '80..50': the second time is smaller "
            "than the first",
        ),
        (
            'activation = "rows"',
            'activation = "row"',
            "knit.toml: tasks.worker.activation: found 'row', expected delay, activate, or a queue",
        ),
        (
            '["run 200..900 tail"]',
            '["run 200", "send rows"]',
            "knit.toml: a cycle of releases: worker → worker",
        ),
        ("priority = 2\n", "", "knit.toml: tasks.fetch: no priority, and the policy is fixed"),
        (
            "[tasks.worker]",
            "[tasks.bus]",
            "knit.toml: locks.bus: the name 'bus' is tasks.bus already",
        ),
    ],
)
def test_each_mistake_is_one_line(old, new, message):
    assert old in SMALL
    assert mistake(SMALL.replace(old, new)) == message


def test_hint_names_the_nearest():
    with pytest.raises(SystemFileError) as caught:
        check(parse_taskset(SMALL.replace('"lock bus"', '"lock buss"')))
    assert caught.value.hint == "did you mean bus?"


def test_cycle_over_two_tasks_and_a_queue():
    text = SMALL.replace("period_us = 2000", 'activation = "activate"').replace(
        '["run 200..900 tail"]', '["run 200", "activate fetch"]'
    )
    assert mistake(text) == "knit.toml: a cycle of releases: fetch → worker → fetch"


def test_section_longer_than_its_task():
    text = """
[priority]
order = "higher_first"
[locks.bus]
[tasks.a]
priority = 1
period_us = 100
execution = 10
sections = { bus = 12 }
"""
    assert mistake(text) == (
        "knit.toml: tasks.a.sections.bus: sections of 12 µs are longer than the task, which runs 10"
    )


def test_execution_and_sections_make_a_body():
    text = """
[priority]
order = "higher_first"
[locks.bus]
[tasks.a]
priority = 1
period_us = 100
execution = 10
sections = { bus = 4 }
"""
    assert parse_taskset(text).programs["a"].body == body(
        ["lock bus", "run 4", "unlock bus", "run 6"], "a"
    )


def test_not_toml_and_not_there(tmp_path):
    with pytest.raises(SystemFileError, match=r"^knit.toml: not TOML: "):
        parse_toml("[tasks", "knit.toml")
    with pytest.raises(SystemFileError, match=r"nothing.toml: no such file"):
        read_taskset(tmp_path / "nothing.toml")


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("holder = low", 'a value is a number, true, false, or text in quotes: name = "text"'),
        ("#tracelens 1\ntime,core", "this is an event log; here a TOML file is read"),
        ("[tasks", "a line is key = value, or a [table]"),
    ],
)
def test_what_is_no_toml_says_what_to_do(text, hint):
    with pytest.raises(SystemFileError, match="not TOML: ") as caught:
        parse_toml(text, "x.toml")
    assert caught.value.hint == hint


def test_durations_are_exact_decimals():
    assert duration("300", "x") == Duration(300_000, 300_000)
    assert duration("0.1..0.3", "x") == Duration(100, 300)
    assert duration("300..2000 tail", "x") == Duration(300_000, 2_000_000, 3.0)
    assert duration(2.5, "x") == Duration(2_500, 2_500)


def test_steps():
    assert body(["suspend 5 for adc", "suspend 7", "mark row 3", "activate a"], "x") == (
        Step("suspend", "adc", Duration(5_000, 5_000)),
        Step("suspend", "pause", Duration(7_000, 7_000)),
        Step("mark", "row", value="3"),
        Step("activate", "a"),
    )


def test_ceiling_left_out_is_that_of_the_most_urgent_user():
    found = parse_taskset(SMALL.replace('"inherit"', '"ceiling"')).system.locks
    assert found == (Lock("bus", "bus", "ceiling", 2),)
    original = parse_taskset(SMALL.replace('"inherit"', '"original_ceiling"'))
    assert original.system.locks == (Lock("bus", "bus", "ceiling", None),)
    assert original.original_ceiling == {"bus"}


LOG = System(
    clocks=(Clock(1_000_000, 32),),
    order="higher_first",
    tasks=(
        Task("t1", "fetch", 2, 2_000_000, offset_ns=0, activation="delay"),
        Task("t2", "worker", 1, activation="q1"),
    ),
    locks=(Lock("m1", "bus", "inherit"),),
    queues=(Queue("q1", "rows", 4),),
)


def overridden(text: str, known: tuple[str, ...] = ()) -> System:
    return apply(LOG, parse_toml(text, "system.toml"), known)


def test_a_system_file_overrides_and_says_where_it_differs():
    found = overridden(
        """
[clock]
hz = 2_000_000
[tasks.fetch]
period_us = 1999.5
deadline_us = 1800
[locks.bus]
protocol = "none"
[cores.motion]
id = 0
[chains.stitch]
path = ["fetch", "worker"]
deadline_us = 5000
[run]
board = "bench3"
"""
    )
    assert found.tasks[0] == replace(LOG.tasks[0], period_ns=1_999_500, deadline_ns=1_800_000)
    assert found.locks == (Lock("m1", "bus", "none"),)
    assert found.clocks == (Clock(2_000_000, 32),)
    assert found.cores == (Core(0, "motion"),)
    assert found.chains == (Chain("stitch", ("fetch", "worker"), 5_000_000),)
    assert found.run == {"board": "bench3"}
    assert found.differences == (
        "clock.hz is 2000000 in the system file and 1000000 in the log",
        "tasks.fetch.period_us is 1999.5 in the system file and 2000 in the log",
        "locks.bus.protocol is none in the system file and inherit in the log",
    )


def test_a_system_file_may_name_nothing_that_the_log_lacks():
    with pytest.raises(SystemFileError) as caught:
        overridden("[tasks.fetsh]\npriority = 3\n")
    assert str(caught.value) == (
        "system.toml: tasks.fetsh: the log has no task of that name: did you mean fetch?"
    )


def test_a_system_file_may_declare_what_the_log_only_names():
    found = overridden("[tasks.radio]\npriority = 3\n", known=("radio",))
    assert found.tasks[-1] == Task("radio", "radio", 3)


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_a_task_set_is_a_system_file_of_its_own_log(path):
    """One schema: the file that made a log says nothing else than the log."""
    done = simulate(read_taskset(path), until_ns=1_000_000)
    assert apply(done.declared, read_system(path)).differences == ()


def test_more_tables_of_a_kind_than_may_be_are_one_mistake(monkeypatch):
    monkeypatch.setattr("tracelens.formats.toml_schema.MOST_NAMES", 3)
    text = "".join(f"[tasks.t{n}]\n" for n in range(4))
    with pytest.raises(SystemFileError, match=r"tasks: found 4 of them, expected at most 3$"):
        parse_toml(text)

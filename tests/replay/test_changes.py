"""A run simulated under one rule and replayed under another is the run simulated under the other.

The simulator draws by (seed, task, job) alone, so both simulated runs have the same work.
"""

import pytest

from tests.replay.again import SAMPLES, prepared, responses, same_work, simulated
from tracelens.reading import read
from tracelens.replay import parse, replay

KNITTING = (SAMPLES / "knitting_inversion.toml").read_text()
TWO_CORES = (SAMPLES / "knitting_two_cores.toml").read_text()

# Whole microseconds under every factor below, so that the simulator's clock rounds nothing.
STEADY = """
[priority]
order = "higher_first"
[kernel]
switch_us = 4
[locks.bus]
protocol = "none"
[queues.rows]
depth = 4
[isrs.encoder]
period_us = 700
body = ["run 8"]
[tasks.high]
priority = 4
period_us = 2000
deadline_us = 1500
body = ["run 100", "lock bus", "run 60", "unlock bus", "run 40"]
[tasks.middle]
priority = 3
period_us = 3000
offset_us = 300
deadline_us = 3000
body = ["run 400", "suspend 200 for adc", "run 80", "send rows"]
[tasks.eater]
priority = 2
activation = "rows"
deadline_us = 4000
body = ["run 240"]
[tasks.low]
priority = 1
period_us = 5000
offset_us = 100
deadline_us = 5000
body = ["run 120", "lock bus", "run 500", "unlock bus", "run 360"]
"""


def given(text: str, *pairs: tuple[str, str]) -> str:
    """The task set with something replaced; what is replaced must be there."""
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new)
    return text


def predicted(text: str, *changes: tuple[str, str], until_ns: int | None = None):
    replayer = prepared(text, until_ns=until_ns)
    return replayer.predict([parse(kind, told) for kind, told in changes])


def agrees(told, run) -> bool:
    """Whether each job up to the first that the record cuts is predicted as in the other run."""
    assert told.predicted.span_ns == run.span_ns
    expected = same_work(run, told.recorded)
    assert expected.height > 0.9 * responses(run).height
    return same_work(told.predicted, told.recorded).equals(expected)


SHORT = 60_000_000


@pytest.mark.parametrize("protocol", ["inherit", "ceiling"])
def test_a_protocol(protocol):
    other = given(KNITTING, ('protocol = "none"', f'protocol = "{protocol}"'))
    told = predicted(KNITTING, ("protocol", f"flash_bus={protocol}"))
    assert agrees(told, simulated(other))
    needle = told.tasks.filter(told.tasks["task"] == "needle_select").to_dicts()[0]
    assert (needle["recorded_misses"], needle["predicted_misses"]) == (4, 0)
    assert needle["change"] == "better"
    assert "yarn_tension" in told.worse  # pushed through while the archive is raised


def test_a_protocol_taken_away():
    mended = given(KNITTING, ('protocol = "none"', 'protocol = "inherit"'))
    told = predicted(mended, ("protocol", "flash_bus=none"))
    assert agrees(told, simulated(KNITTING))


def test_priorities():
    other = given(KNITTING, ("priority = 1\nperiod", "priority = 5\nperiod")).replace(
        'id = "t2"\npriority = 5', 'id = "t2"\npriority = 1'
    )
    told = predicted(KNITTING, ("priority", "archive=5"), ("priority", "yarn_tension=1"))
    assert agrees(told, simulated(other))


def test_a_ceiling_follows_the_priority_of_its_user():
    mended = given(KNITTING, ('protocol = "none"', 'protocol = "ceiling"'))
    other = given(mended, ('id = "t1"\npriority = 6', 'id = "t1"\npriority = 3'))
    told = predicted(mended, ("priority", "needle_select=3"))
    assert agrees(told, simulated(other))
    assert told.predicted.system.locks[0].ceiling == 4  # now pattern_fetch is its most urgent user


def test_the_execution_of_one_task():
    other = given(STEADY, ("run 120", "run 60"), ("run 500", "run 250"), ("run 360", "run 180"))
    told = predicted(STEADY, ("scale", "low=0.5"), until_ns=SHORT)
    assert agrees(told, simulated(other, until_ns=SHORT))


def test_one_section():
    other = given(STEADY, ("run 500", "run 100"))
    told = predicted(STEADY, ("section", "low/bus=0.2"), until_ns=SHORT)
    assert agrees(told, simulated(other, until_ns=SHORT))


def test_the_clock():
    times = ("8", "100", "60", "40", "400", "80", "240", "120", "500", "360")
    other = STEADY.replace("switch_us = 4", "switch_us = 8")
    for time in times:
        other = other.replace(f'"run {time}"', f'"run {2 * int(time)}."')
    other = other.replace('."', '"')
    told = predicted(STEADY, ("clock", "0.5"), until_ns=SHORT)
    assert agrees(told, simulated(other, until_ns=SHORT))


def test_a_period():
    other = given(STEADY, ("period_us = 5000", "period_us = 4000"))
    told = predicted(STEADY, ("period", "low=4ms"), until_ns=SHORT)
    assert agrees(told, simulated(other, until_ns=SHORT))


def test_an_offset():
    other = given(STEADY, ("offset_us = 100", "offset_us = 850"))
    told = predicted(STEADY, ("offset", "low=750us"), until_ns=SHORT)
    assert agrees(told, simulated(other, until_ns=SHORT))


def test_a_task_left_out():
    start = STEADY.index("[tasks.low]")
    told = predicted(STEADY, ("without", "low"), until_ns=SHORT)
    assert agrees(told, simulated(STEADY[:start], until_ns=SHORT))
    assert told.tasks.filter(told.tasks["task"] == "low")["change"].to_list() == ["removed"]


def test_another_core():
    other = given(
        TWO_CORES, ('id = "t6"\npriority = 2\ncore = 1', 'id = "t6"\npriority = 2\ncore = 0')
    )
    told = predicted(TWO_CORES, ("core", "panel=0"))
    assert agrees(told, simulated(other))


def test_who_waits_for_what_is_not_sent_waits():
    told = predicted(STEADY, ("without", "middle"), until_ns=SHORT)
    eater = told.tasks.filter(told.tasks["task"] == "eater").to_dicts()[0]
    assert (eater["recorded_jobs"], eater["predicted_jobs"]) == (20, None)


def test_what_the_record_cannot_show_of_a_raise_is_said():
    nested = given(STEADY, ("[queues.rows]", "[locks.pen]\n[queues.rows]")).replace(
        '"lock bus", "run 60", "unlock bus"',
        '"lock pen", "lock bus", "run 60", "unlock bus", "unlock pen"',
    )
    said = predicted(nested, until_ns=SHORT).fidelity.notes
    assert any("falls back at each unlock" in note for note in said)
    assert predicted(STEADY, until_ns=SHORT).fidelity.notes == ()


def test_the_predicted_log_reads_back(tmp_path):
    from tracelens.log import write
    from tracelens.reading import read

    told = predicted(KNITTING, ("protocol", "flash_bus=ceiling"))
    write(told.log, told.log.declared, tmp_path / "then.csv")
    back = read(tmp_path / "then.csv")
    assert responses(back).equals(responses(told.predicted))
    assert [(lock.name, lock.protocol, lock.ceiling) for lock in back.system.locks] == [
        ("flash_bus", "ceiling", 6)
    ]


def test_a_task_whose_jobs_no_longer_end_is_worse() -> None:
    """At seven tenths of the clock the run is over before the least urgent jobs are."""
    run = read(SAMPLES / "classroom" / "chained_blocking_inherit.csv")
    prediction = replay(run, [parse("clock", "0.7")])
    ended = prediction.tasks.filter(prediction.tasks["predicted_jobs"].fill_null(0) > 0)
    gone = set(prediction.tasks["task"]) - set(ended["task"])
    assert gone
    assert gone <= set(prediction.worse)

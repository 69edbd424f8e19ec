"""What a search for repairs tries, and what it puts first."""

import pytest

from tests.replay.again import SAMPLES, simulated
from tracelens.reading import read
from tracelens.replay import prepare, search

LANDER = """
[priority]
order = "higher_first"
[locks.bus]
protocol = "none"
[tasks.data]
priority = 3
period_us = 1000
offset_us = 200
deadline_us = 400
body = ["run 20", "lock bus", "run 30", "unlock bus"]
[tasks.comm]
priority = 2
period_us = 3000
offset_us = 220
deadline_us = 3000
body = ["run 700"]
[tasks.met]
priority = 1
period_us = 3000
offset_us = 100
deadline_us = 3000
body = ["lock bus", "run 150", "unlock bus"]
"""
"""The lander of 1997 in small: data is late because comm runs while met holds the bus (M. Jones,
"What really happened on Mars?", 1997; numbers our own)."""


@pytest.fixture(scope="module")
def lander():
    return prepare(simulated(LANDER, until_ns=30_000_000))


def test_the_protocol_of_the_right_lock_comes_first(lander):
    advice = search(lander, processes=1)
    assert advice.unchanged.misses == 10
    best = advice.tried[0]
    assert [str(change) for change in best.repair.changes] in (
        ["--protocol bus=inherit"],
        ["--protocol bus=ceiling"],
    )
    assert best.misses == 0
    assert best.worse == ("comm",)  # it waits while met is raised
    kinds = {change.kind for one in advice.tried for change in one.repair.changes}
    assert {"protocol", "section"} <= kinds


@pytest.mark.night
def test_the_knitting_machine():
    advice = search(prepare(read(SAMPLES / "knitting_inversion.csv")), processes=1)
    best = advice.tried[0]
    assert (best.repair.changes[0].kind, best.repair.changes[0].subject) == (
        "protocol",
        "flash_bus",
    )
    assert (advice.unchanged.misses, best.misses) == (4, 0)
    assert "yarn_tension" in best.worse
    assert [one.misses for one in advice.tried] == sorted(one.misses for one in advice.tried)


def test_the_slowest_clock_still_meets_every_deadline():
    """The only task runs 30 of 100 µs, with a deadline of 50: it is met at 0.6, not at 0.5."""
    text = """
[priority]
order = "higher_first"
[tasks.loop]
priority = 1
period_us = 100
deadline_us = 50
body = ["run 30"]
"""
    advice = search(prepare(simulated(text, until_ns=1_000_000)), processes=1)
    assert advice.slowest_clock == 0.6
    assert advice.clock.worst_lateness_ns == 0


@pytest.mark.night
def test_two_processes_find_the_same(lander, monkeypatch):
    monkeypatch.setattr("tracelens.replay.advice.WORTH_A_PROCESS", 1)
    alone, together = search(lander, processes=1), search(lander, processes=2)
    assert [one.repair for one in alone.tried] == [one.repair for one in together.tried]
    for one, other in zip(alone.tried, together.tried, strict=True):
        assert one.tasks.equals(other.tasks)

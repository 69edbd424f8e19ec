"""The task set that a run shows, against the set that the run was made from."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import tracelens as tl
from tests.theory.sets import UNIT
from tracelens.engine import simulate
from tracelens.formats.taskset_toml import parse_taskset
from tracelens.observed import observe
from tracelens.observed.arrivals import observed_stream
from tracelens.theory import analyse, analyse_set

TIMES = st.lists(st.integers(0, 5000), min_size=1, max_size=40)


@settings(max_examples=80)
@given(TIMES)
def test_no_window_holds_more_arrivals_than_the_stream_allows(times):
    stream = observed_stream(np.array(times, np.int64))
    ordered = sorted(times)
    for first in range(len(ordered)):
        for last in range(first, len(ordered)):
            assert last - first + 1 <= stream.within(ordered[last] - ordered[first])


SET = """
    [clock]
    hz = 1_000_000
    [priority]
    order = "higher_first"
    [kernel]
    switch_us = 3
    [locks.bus]
    protocol = "{protocol}"
    [isrs.edge]
    priority = 1
    every = "900..1100"
    body = ["run 20"]
    [tasks.fast]
    priority = 3
    period_us = 1000
    deadline_us = 900
    body = ["run 50", "lock bus", "run 60", "unlock bus", "run 40"]
    [tasks.middle]
    priority = 2
    period_us = 4000
    offset_us = 300
    body = ["run 200..700"]
    [tasks.slow]
    priority = 1
    period_us = 10000
    offset_us = 100
    body = ["run 300", "lock bus", "run 150", "unlock bus", "run 900..1500"]
    [simulation]
    until_us = 400_000
"""


def run_of(protocol: str, tmp_path):
    taskset = parse_taskset(SET.format(protocol=protocol))
    file = tmp_path / "run.csv"
    file.write_bytes(simulate(taskset, seed=3).log)
    return taskset, observe(tl.analyse(tl.read(file)))


@pytest.mark.parametrize("protocol", ["inherit", "ceiling"])
def test_what_is_seen_is_bounded_and_no_worse_than_what_is_declared(protocol, tmp_path):
    taskset, observation = run_of(protocol, tmp_path)
    declared = {t.name: t for t in analyse_set(taskset, margins=False).tasks}
    found = {t.name: t for t in analyse(observation.workload, margins=False).tasks}
    assert found.keys() == declared.keys()
    for name, task in found.items():
        assert task.contender.cost_ns <= declared[name].contender.cost_ns
        assert not task.exact
        if name != "edge":
            assert task.response_ns is not None
            seen = observation.seen[name].response_ns
            assert seen is not None
            assert seen <= task.response_ns <= (declared[name].response_ns or 0)


def test_the_sections_are_found(tmp_path):
    _, observation = run_of("inherit", tmp_path)
    tasks = {c.name: c for c in observation.workload.contenders}
    held = {name: [(s.lock, s.length_ns) for s in tasks[name].sections] for name in tasks}
    assert held == {
        "edge": [],
        "fast": [("bus", 60 * UNIT)],
        "middle": [],
        "slow": [("bus", 150 * UNIT)],
    }
    assert observation.workload.switch_ns == 3 * UNIT
    assert tasks["edge"].streams[0].apart_ns >= 900 * UNIT


def test_a_task_that_kept_the_core_from_a_more_urgent_one_blocks_it(tmp_path):
    """A log cannot say that its scheduler does not pre-empt; its deferrals show it."""
    text = """
        [priority]
        order = "higher_first"
        [policy]
        preemptive = false
        [tasks.high]
        priority = 2
        period_us = 1000
        body = ["run 100"]
        [tasks.low]
        priority = 1
        period_us = 3000
        offset_us = 900
        body = ["run 500"]
        [simulation]
        until_us = 30_000
    """
    file = tmp_path / "run.csv"
    file.write_bytes(simulate(parse_taskset(text)).log)
    observation = observe(tl.analyse(tl.read(file)))
    low = next(c for c in observation.workload.contenders if c.name == "low")
    assert low.masked_ns == 400 * UNIT
    high = next(t for t in analyse(observation.workload).tasks if t.name == "high")
    assert observation.seen["high"].response_ns == high.response_ns == 500 * UNIT

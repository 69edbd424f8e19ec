"""What is drawn: keyed, bounded, and of the distribution that it is said to be."""

import math

import polars as pl
import pytest

from tracelens.engine import simulate
from tracelens.engine.draws import CHUNK, Stream, TicksOf
from tracelens.formats.taskset_toml import parse_taskset
from tracelens.model.taskset import Duration

NS = TicksOf(1_000_000_000)
COUNT = 20_000

SET = """
[priority]
order = "higher_first"
[policy]
name = "POLICY"
preemptive = PREEMPTIVE
slice_us = 50
[kernel]
switch_us = SWITCH
[locks.bus]
protocol = "PROTOCOL"
[isrs.knock]
priority = 1
every = "300..900"
body = ["run 5..9"]
[tasks.a]
priority = 2
period_us = 1000
jitter_us = 100
deadline_us = 900
body = ["run 100..200", "lock bus", "run 50..900 tail", "unlock bus"]
[tasks.b]
priority = 1
every = "1500..4000"
deadline_us = 4000
body = ["lock bus", "run 300..400", "unlock bus", "run 10..300"]
"""


def make(seed=1, policy="fixed", preemptive="true", switch=0, protocol="none"):
    text = (
        SET.replace("POLICY", policy)
        .replace("PREEMPTIVE", preemptive)
        .replace("SWITCH", str(switch))
        .replace("PROTOCOL", protocol)
    )
    return simulate(parse_taskset(text), seed=seed, until_ns=50_000_000)


def work(done):
    """(task, job) → own execution, of the complete jobs; and the requests of the handler."""
    jobs = done.truth.jobs.filter(pl.col("status") == "complete")
    own = {(task, job): ns for task, job, ns in jobs.select("task", "job", "execution_ns").rows()}
    return own, done.truth.isr_runs["pend_ns"].to_list()


def test_same_input_same_bytes():
    assert make().log == make().log
    assert make(seed=1).log != make(seed=2).log


@pytest.mark.parametrize(
    "change",
    [
        {"policy": "edf"},
        {"policy": "round_robin"},
        {"preemptive": "false"},
        {"switch": 7},
        {"protocol": "inherit"},
        {"protocol": "ceiling"},
    ],
)
def test_a_change_of_policy_changes_nothing_that_is_drawn(change):
    own, requests = work(make())
    others, other_requests = work(make(**change))
    both = own.keys() & others.keys()
    assert len(both) > 50
    assert {key: own[key] for key in both} == {key: others[key] for key in both}
    assert requests == other_requests


def test_what_one_task_draws_does_not_depend_on_the_others():
    text = SET.replace("POLICY", "fixed").replace("PREEMPTIVE", "true").replace("SWITCH", "0")
    text = text.replace("PROTOCOL", "none")
    alone = text[: text.index("[tasks.b]")]
    done = simulate(parse_taskset(alone), seed=1, until_ns=50_000_000)
    first = {key: ns for key, ns in work(make())[0].items() if key[0] == "a"}
    second = work(done)[0]
    both = first.keys() & second.keys()
    assert {key: first[key] for key in both} == {key: second[key] for key in both}


def test_the_size_of_a_chunk_does_not_change_a_stream(monkeypatch):
    stream = Stream(Duration(0, 10**6), NS, 0, 1, "a")
    expected = [stream[n] for n in range(CHUNK * 2)]
    monkeypatch.setattr("tracelens.engine.draws.CHUNK", 7)
    other = Stream(Duration(0, 10**6), NS, 0, 1, "a")
    assert [other[n] for n in range(CHUNK * 2)] == expected


def test_uniform_draws_reach_both_ends_and_no_further():
    """Each of n values has probability 1/n; 5 standard deviations of the binomial count."""
    stream = Stream(Duration(3, 12), NS, 0, 1, "a")
    drawn = [stream[n] for n in range(COUNT)]
    spread = 5 * math.sqrt(COUNT * 0.1 * 0.9)
    for value in range(3, 13):
        assert abs(drawn.count(value) - COUNT / 10) < spread
    assert min(drawn) == 3
    assert max(drawn) == 12


@pytest.mark.parametrize("shape", [0.8, 1.5, 3.0])
def test_long_tails_are_bounded_pareto(shape):
    """F(x) = (1 − (L/x)^a) / (1 − (L/H)^a): the distribution's closed form, at five places."""
    low, high = 100_000, 2_000_000
    stream = Stream(Duration(low, high, shape), NS, 0, 1, "a")
    drawn = [stream[n] for n in range(COUNT)]
    assert low <= min(drawn)
    assert max(drawn) <= high
    for place in (110_000, 150_000, 300_000, 700_000, 1_500_000):
        expected = (1 - (low / place) ** shape) / (1 - (low / high) ** shape)
        found = sum(value <= place for value in drawn) / COUNT
        assert abs(found - expected) < 5 * math.sqrt(expected * (1 - expected) / COUNT)


def test_ticks_are_the_nearest():
    slow = TicksOf(32_768)
    assert [slow(ns) for ns in (0, 15_258, 15_259, 30_518, 10**9)] == [0, 0, 1, 1, 32_768]

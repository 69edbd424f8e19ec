"""No simulated response exceeds its bound: the analysis against the project's own engine.

A bound that the schedule breaks is a mistake of one of the two. Exact results are met: where the
declared system can bring about the worst case from a synchronous release, the engine does.
"""

import random

import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.engine.textbook import periodic, run
from tests.theory.random_sets import random_set
from tracelens.engine import simulate
from tracelens.formats.taskset_toml import parse_taskset
from tracelens.theory import analyse_set

SPAN = 60_000_000


def worst_seen(done) -> dict[str, int]:
    """Task or handler → its longest response; of a handler from its request on."""
    jobs = done.truth.jobs.filter(pl.col("status") == "complete")
    found = jobs.group_by(pl.col("task").cast(pl.String)).agg(pl.col("response_ns").max())
    runs = done.truth.isr_runs.filter("complete").group_by(pl.col("isr").cast(pl.String))
    handled = runs.agg((pl.col("end_ns") - pl.col("pend_ns")).max())
    return dict(found.rows()) | {name: ns for name, ns in handled.rows() if ns is not None}


def exceeded(draw: random.Random, span: int = SPAN) -> list[str]:
    """Tasks that took longer than their bound; empty for a sound analysis."""
    taskset = parse_taskset(random_set(draw))
    analysed = analyse_set(taskset, margins=False)
    seen = worst_seen(simulate(taskset, seed=draw.randint(0, 99), until_ns=span))
    return [
        f"{t.name}: {seen[t.name]} of {t.response_ns}"
        for t in analysed.tasks
        if t.response_ns is not None and seen.get(t.name, 0) > t.response_ns
    ]


@settings(
    max_examples=60,
    suppress_health_check=[HealthCheck.too_slow],
)
@given(st.randoms(use_true_random=False))
def test_no_response_exceeds_its_bound(draw):
    assert exceeded(draw) == []


@pytest.mark.parametrize("seed", [3293, 3966, 5887])
def test_sets_of_the_night_that_took_longer_than_they_should(seed):
    """Holders of immediate ceilings that wait; offsets, and a little more load than the core."""
    assert exceeded(random.Random(seed), 2 * SPAN) == []


@pytest.mark.night
@pytest.mark.parametrize("part", range(20))
def test_no_response_exceeds_its_bound_in_thousands_of_sets(part):
    seeds = range(300 * part, 300 * (part + 1))
    found = {seed: exceeded(random.Random(seed), 2 * SPAN) for seed in seeds}
    assert {seed: late for seed, late in found.items() if late} == {}


@pytest.mark.parametrize("seed", range(25))
def test_what_is_said_to_be_exact_is_reached(seed):
    """Synchronous sets without locks: each response of a first job is the computed one, or less
    only where a later job of the busy period is the worst."""
    draw = random.Random(seed)
    rows = []
    for _ in range(draw.randint(2, 5)):
        period = draw.choice([4, 5, 6, 8, 10, 12, 15, 20, 30])
        deadline = draw.choice([period, draw.randint(1, period), 2 * period])
        rows.append((period, draw.randint(1, max(1, period // 4)), deadline))
    preemptive = draw.random() < 0.8
    taskset = periodic(rows, preemptive=preemptive)
    analysed = analyse_set(taskset, margins=False)
    seen = worst_seen(run(taskset, 3000))
    for task in analysed.tasks:
        if task.exact and task.response_ns is not None:
            assert seen[task.name] == task.response_ns


@pytest.mark.parametrize("seed", range(25))
def test_deadlines_first_judges_as_the_schedule_does(seed):
    """Synchronous EDF without blocking: the demand criterion is exact over the hyperperiod."""
    draw = random.Random(seed)
    rows = []
    for _ in range(draw.randint(2, 4)):
        period = draw.choice([4, 5, 6, 8, 10, 12, 20])
        rows.append((period, draw.randint(1, max(1, period // 2)), draw.randint(2, period)))
    taskset = periodic(rows, policy="edf")
    analysed = analyse_set(taskset, margins=False)
    done = run(taskset, 480)
    assert analysed.verdict == ("unschedulable" if done.truth.jobs["late"].any() else "schedulable")
    for task in analysed.tasks:
        seen = worst_seen(done).get(task.name)
        if task.response_ns is not None and seen is not None:
            assert seen <= task.response_ns


@pytest.mark.parametrize("seed", range(15))
@pytest.mark.parametrize("policy", ["fixed", "edf"])
def test_offsets_are_exact_over_the_hyperperiod(seed, policy):
    draw = random.Random(seed)
    rows, offsets = [], {}
    for name in "abcd"[: draw.randint(2, 4)]:
        period = draw.choice([4, 5, 6, 8, 10, 12, 20])
        rows.append((period, draw.randint(1, max(1, period // 4)), period))
        offsets[name] = draw.randint(0, period)
    taskset = periodic(rows, offsets=offsets, policy=policy)
    seen = worst_seen(run(taskset, 700))
    for task in analyse_set(taskset, margins=False).tasks:
        assert seen[task.name] == task.response_ns
        assert task.bound_ns is None or task.bound_ns >= task.response_ns

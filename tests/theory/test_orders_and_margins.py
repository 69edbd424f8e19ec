"""Priority orders and margins against every order, and against the next nanosecond."""

import random
from dataclasses import replace
from fractions import Fraction
from itertools import permutations

import pytest

from tests.engine.textbook import periodic
from tests.theory.sets import UNIT, analysed, of
from tracelens.theory.accept import accepts
from tracelens.theory.assignment import audsley, reordered
from tracelens.theory.from_taskset import workload
from tracelens.theory.sensitivity import margins, stretched


def rows(draw: random.Random) -> list[tuple[float, ...]]:
    found = []
    for _ in range(4):
        period = draw.choice([5, 6, 8, 10, 12, 15, 20])
        deadline = draw.choice([period, draw.randint(3, period), 2 * period])
        found.append((period, draw.randint(1, max(1, period // 4)), deadline))
    return found


@pytest.mark.parametrize("seed", range(25))
@pytest.mark.parametrize("preemptive", [True, False])
def test_audsley_finds_an_order_if_there_is_one(seed, preemptive):
    work = workload(periodic(rows(random.Random(seed)), preemptive=preemptive))
    tasks = list(work.contenders)
    found = audsley(work, tasks)
    any_fits = any(accepts(reordered(work, order)) for order in permutations(tasks))
    assert (found is not None) == any_fits
    if found is not None:
        assert accepts(reordered(work, found))


@pytest.mark.parametrize("policy", ["fixed", "edf"])
@pytest.mark.parametrize("seed", range(8))
def test_one_nanosecond_more_than_the_margin_is_too_much(seed, policy):
    work = workload(periodic(rows(random.Random(seed)), policy=policy))
    found = margins(work)
    for growth, one in zip(found.growths, work.contenders, strict=True):
        if growth.ns is None:
            continue

        def longer(by: int, one=one):
            changed = replace(one, cost_ns=one.cost_ns + by)
            return replace(
                work, contenders=tuple(changed if c is one else c for c in work.contenders)
            )

        assert accepts(longer(growth.ns))
        assert not accepts(longer(growth.ns + 1))
    if found.stretch is not None:
        assert accepts(stretched(work, found.stretch))
        assert not accepts(stretched(work, found.stretch + Fraction(1, 1_000_000)))


def test_e5_may_take_35_34ths():
    """Buttazzo, ch. 4: U = 34/35 with deadlines at the periods' ends, so EDF has 1/34 left."""
    found = analysed([(5, 2), (7, 4)], policy="edf", margins=True).margins
    assert found is not None
    # Executions count in whole nanoseconds, of which these have a few thousand.
    assert found.stretch == pytest.approx(35 / 34, abs=2e-4)


def test_a_set_that_does_not_fit_is_told_how_much_shorter_it_must_be():
    """Process set A of Burns & Wellings misses by 2: at c = 10, w = 10 → 30 → 30 fits."""
    found = analysed([(30, 10), (40, 10), (50, 12)], margins=True)
    assert found.margins is not None
    assert found.margins.stretch is not None
    assert found.margins.stretch < 1
    (c,) = [g for g in found.margins.growths if g.name == "c"]
    assert c.ns == -2 * UNIT


def test_without_preemption_growth_is_in_the_way_of_those_above():
    """By hand: the long one of lower priority may grow until the short one waits its slack out."""
    found = analysed([(10, 2, 5), (20, 2)], preemptive=False, margins=True)
    assert found.margins is not None
    assert [g.ns for g in found.margins.growths] == [1 * UNIT, 1 * UNIT]


LIMITED = """
    [priority]
    order = "higher_first"
    [locks.all]
    protocol = "ceiling"
    ceiling = 9
    [tasks.a]
    priority = 2
    period_us = 5
    execution = 2
    [tasks.b]
    priority = 1
    period_us = 13
    body = [{body}]
"""


def test_a_last_stretch_without_preemption_shortens_a_response():
    """By hand: b starts its last 3 at 4 = 2 + 2, so the second a, at 5, waits until 7.

    Fully pre-emptive: 5 → 7 → 9 → 9. The price: a waits up to 3.
    """
    plain = of(LIMITED.format(body='"run 5"'))
    assert [t.response_ns for t in plain.tasks] == [2 * UNIT, 9 * UNIT]
    limited = of(LIMITED.format(body='"run 2", "lock all", "run 3", "unlock all"'))
    assert [t.response_ns for t in limited.tasks] == [5 * UNIT, 7 * UNIT]


def test_an_interrupt_delays_a_stretch_that_no_task_can_interrupt():
    """By hand: with a handler of 1 each 6, b starts its last 3 at 8 = 2 + 2·2 + 2·1."""
    text = LIMITED.format(body='"run 2", "lock all", "run 3", "unlock all"')
    found = of(text + '\n[isrs.i]\nperiod_us = 6\nbody = ["run 1"]\n')
    times = {t.name: t.response_ns for t in found.tasks}
    # At 5 the second a comes just when b would start its last stretch, and goes first.
    assert times == {"i": 1 * UNIT, "a": 6 * UNIT, "b": 11 * UNIT}


CHAIN = """
    [priority]
    order = "higher_first"
    [queues.rows]
    [isrs.edge]
    every = "20..25"
    body = ["run 2", "send rows"]
    [tasks.consumer]
    priority = 1
    activation = "rows"
    deadline_us = 20
    body = ["run 3"]
    [tasks.above]
    priority = 2
    period_us = 10
    body = ["run 4"]
"""


def test_the_response_of_the_one_is_the_jitter_of_the_other():
    """By hand: consumer 3, above 4, edge 2: 3 → 9 → 9; released by edge, whose response is 2."""
    found = {t.name: t for t in of(CHAIN).tasks}
    assert found["edge"].response_ns == 2 * UNIT
    assert found["consumer"].response_ns == 9 * UNIT
    assert found["consumer"].contender.triggers[0].source == "edge"


def test_a_self_suspension_counts_for_itself_and_as_jitter_for_others():
    """By hand: high runs 2 of 10, suspended 3: its response is 5, so it is up to 3 late for low:
    ⌈(w + 3) / 10⌉ 2 + 6 = 8 → 2·2 + 6 = 10 → 10."""
    text = """
        [priority]
        order = "higher_first"
        [tasks.high]
        priority = 2
        period_us = 10
        body = ["run 1", "suspend 3", "run 1"]
        [tasks.low]
        priority = 1
        period_us = 40
        body = ["run 6"]
    """
    assert [t.response_ns for t in of(text).tasks] == [5 * UNIT, 10 * UNIT]


def test_switching_costs_two_switches_a_job():
    """By hand: a: 1 + 2; b: 1 + 3 + (2 + 2·1) = 8."""
    found = analysed([(10, 2), (20, 3)], switch_ns=1 * UNIT)
    assert [t.response_ns for t in found.tasks] == [3 * UNIT, 8 * UNIT]
    assert not any(t.exact for t in found.tasks)


def test_a_large_system_has_the_common_margin_alone():
    parts = ['[priority]\norder = "higher_first"']
    for place in range(14):
        steps = '"run 1", "suspend 1", "run 1"' if place == 0 else '"run 1"'
        parts.append(
            f"[tasks.t{place}]\npriority = {20 - place}\nperiod_us = {100 + 10 * place}\n"
            f"body = [{steps}]"
        )
    found = of("\n\n".join(parts), margins=True).margins
    assert found is not None
    assert found.stretch is not None
    assert found.stretch > 1
    assert found.growths == ()

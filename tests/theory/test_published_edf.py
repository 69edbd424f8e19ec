"""Earliest deadline first against published sets.

E1: course notes on EDF. E2, E3: Buttazzo, exercises of ch. 4 (the printed list of deadlines of E3
lacks 15 and 46). E4: course notes. E5: Buttazzo, ch. 4. The criterion is that of Baruah, Rosier &
Howell, Real-Time Systems 2(4), 1990; QPA is Zhang & Burns, IEEE Trans. Computers 58(9), 2009.
"""

from fractions import Fraction

import pytest

from tests.engine.test_published_sets import E5, EDF
from tests.theory.sets import UNIT, analysed, of, responses, task

E1_DEMAND = "2:1 4:3 5:4 8:5 9:7 11:8 12:11 14:14"
E2_DEMAND = "4:2 5:4 8:8 11:10 12:12 17:14 20:20 23:22"
E3_DEMAND = (
    "4:2 5:3 8:7 10:10 15:11 16:13 17:17 20:18 22:20 25:21 26:25 28:27 30:28 34:30 35:35 40:38 "
    "44:42 45:43 46:45 50:46"
)


@pytest.mark.parametrize(
    ("name", "load", "limit", "busy", "told"),
    [
        ("E1", (199, 210), (244, 11), 14, E1_DEMAND),
        ("E2", (11, 12), (32, 1), 12, E2_DEMAND),
        ("E3", (44, 45), (50, 1), 18, E3_DEMAND),
    ],
)
def test_demand(name, load, limit, busy, told):
    found = analysed(EDF[name], policy="edf")
    (core,) = found.cores
    assert core.utilisation == Fraction(*load)
    assert core.demand.limit_ns == Fraction(*limit) * UNIT
    assert core.demand.busy_ns == busy * UNIT
    points = [f"{p.t_ns // UNIT}:{p.demand_ns // UNIT}" for p in core.demand.points]
    assert points[: len(told.split())] == told.split()
    assert core.demand.passes
    assert found.verdict == "schedulable"


def test_e1_where_the_quick_test_looks():
    visited = analysed(EDF["E1"], policy="edf").cores[0].demand.visited
    assert [t // UNIT for t in visited] == [14, 12, 11, 8, 5, 4, 3]


def test_e4_a_load_of_0_4_is_not_enough():
    found = analysed([(10, 2, 2), (10, 2, 2)], policy="edf")
    assert found.utilisation == Fraction(2, 5)
    assert [(p.t_ns // UNIT, p.demand_ns // UNIT) for p in found.cores[0].demand.points] == [(2, 4)]
    assert found.verdict == "unschedulable"


def test_e5_responses():
    """The schedule over [0, 35) shows responses up to 4 and 6; rate-monotonic is late."""
    found = analysed(E5, policy="edf")
    assert responses(found) == [4, 6]
    assert found.verdict == "schedulable"
    fixed = analysed(E5)
    assert task(fixed, "b").response_ns == 8 * UNIT
    assert fixed.verdict == "unschedulable"


def test_blocking_counts_while_the_holder_has_the_later_deadline():
    """By hand, the criterion of Baruah, RTSS 2006: h(5) + B(5) = 2 + 4 > 5, and 2 + 3 fits."""
    text = """
        [policy]
        name = "edf"
        [locks.Q]
        protocol = "ceiling"
        [tasks.a]
        period_us = 10
        deadline_us = 5
        execution = 2
        sections = {{ Q = 1 }}
        [tasks.b]
        period_us = 20
        deadline_us = 20
        execution = 6
        sections = {{ Q = {held} }}
    """
    assert of(text.format(held=3)).verdict == "schedulable"
    assert of(text.format(held=4)).verdict == "inconclusive"

"""The quick test against the criterion at every deadline, and what jitter and handlers do."""

from fractions import Fraction
from math import lcm

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.theory.sets import UNIT, of
from tracelens.theory.demand import Blocked, Claim, demand, fits
from tracelens.theory.workload import Stream

NOTHING = Blocked((), {}, {}, {})


@st.composite
def claims(draw):
    found = []
    for place in range(draw(st.integers(1, 4))):
        period = draw(st.integers(2, 12))
        cost = draw(st.integers(1, max(1, period // 2)))
        jitter = draw(st.sampled_from([0, 0, 1, 3]))
        deadline = draw(st.integers(cost + jitter, 2 * period + jitter))
        found.append(Claim(str(place), (Stream(period, jitter),), cost, deadline, jitter))
    return found


@settings(max_examples=60)
@given(claims())
def test_qpa_is_the_criterion_at_every_time(found):
    """h(t) by its definition, at every t of two hyperperiods after the longest deadline."""
    load = sum((Fraction(c.cost_ns, c.streams[0].period_ns or 1) for c in found), Fraction())
    end = 2 * lcm(*(c.streams[0].period_ns or 1 for c in found)) + max(c.deadline_ns for c in found)

    def h(t: int) -> int:
        total = 0
        for c in found:
            stream = c.streams[0]
            early = c.deadline_ns - stream.jitter_ns
            total += max(0, (t - early) // (stream.period_ns or 1) + 1) * c.cost_ns
        return total

    expected = load <= 1 and all(h(t) <= t for t in range(end + 1))
    assert fits(found, [], NOTHING) == expected
    assert demand(found, [], NOTHING).passes == expected
    for point in demand(found, [], NOTHING).points:
        assert point.demand_ns == h(point.t_ns)


def test_handlers_take_their_time_first():
    """By hand (Jeffay & Stone 1993): by 6 the handler takes 2 of it, and 4 is left, not 5."""
    text = """
        [policy]
        name = "edf"
        [isrs.i]
        period_us = 3
        body = ["run 1"]
        [tasks.a]
        period_us = 12
        deadline_us = 6
        execution = {cost}
    """
    assert of(text.format(cost=4)).verdict == "schedulable"
    assert of(text.format(cost=5)).verdict == "unschedulable"


def test_jitter_comes_off_the_deadline():
    """By hand (Spuri 1996): a, 2 late, has 4 left, and goes first: b ends at 5. Released 1 late
    it has the same deadline as b, may have to let it go first, and ends at 5, 6 from its due time.
    """
    text = """
        [policy]
        name = "edf"
        [tasks.a]
        separation_us = 20
        deadline_us = 6
        execution = 2
        jitter_us = 2
        activation = "activate"
        [tasks.b]
        separation_us = 20
        deadline_us = {deadline}
        execution = 3
        activation = "activate"
    """
    found = of(text.format(deadline=5))
    assert {t.name: t.response_ns for t in found.tasks} == {"a": 6 * UNIT, "b": 5 * UNIT}
    assert found.verdict == "schedulable"
    assert of(text.format(deadline=4)).verdict == "unschedulable"

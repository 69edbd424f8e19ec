"""Blocking terms against published tables, and the exact one against every combination.

B1: Buttazzo, *Hard Real-Time Computing Systems*, ch. 7, example of blocking times (from memory; the
exact value is by Rajkumar's search). B2, B4: exam exercises of a course on real-time systems.
"""

from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.theory.sets import UNIT, of, responses, with_sections
from tracelens.theory.blocking import most

B1 = [{"a": 1, "b": 2}, {"b": 9, "c": 3}, {"a": 8, "b": 7}, {"a": 6, "b": 5, "c": 4}]
B2 = [
    {"R2": 20},
    {"R1": 5, "R3": 10},
    {"R2": 5, "R3": 5},
    {"R3": 5},
    {"R1": 10, "R2": 3},
]
B4 = [{"R1": 3, "R3": 3}, {"R1": 3, "R2": 4}, {"R1": 4, "R2": 3, "R3": 6}]


@pytest.mark.parametrize(
    ("tasks", "sums", "exact", "ceiling"),
    [
        (B1, [17, 14, 6, 0], [17, 13, 6, 0], [9, 8, 6, 0]),
        (B2, [5, 20, 15, 10, 0], [5, 20, 15, 10, 0], [5, 10, 10, 10, 0]),
        (B4, [9, 6, 0], [9, 6, 0], [6, 6, 0]),
    ],
)
def test_published_tables(tasks, sums, exact, ceiling):
    found = [t.blocking for t in with_sections(tasks, "inherit").tasks]
    assert [b.sums_ns // UNIT for b in found] == sums
    assert [b.inherit_ns // UNIT for b in found] == exact
    assert [b.ceiling_ns // UNIT for b in found] == ceiling
    assert [b.total_ns // UNIT for b in found] == exact
    for protocol in ("ceiling", "original_ceiling"):
        held = [t.blocking.total_ns // UNIT for t in with_sections(tasks, protocol).tasks]
        assert held == ceiling


WEIGHTS = st.dictionaries(
    st.tuples(st.sampled_from(["t1", "t2", "t3", "t4"]), st.sampled_from(["a", "b", "c"])),
    st.integers(1, 9),
    max_size=9,
)


@settings(max_examples=60)
@given(WEIGHTS)
def test_the_exact_term_is_the_best_of_all_combinations(weights):
    """Rajkumar's search: for each task none of its sections or one, no lock twice."""
    tasks = sorted({task for task, _ in weights})
    choices = [[None, *(lock for owner, lock in weights if owner == task)] for task in tasks]
    best = 0
    for chosen in product(*choices):
        taken = [lock for lock in chosen if lock]
        if len(set(taken)) == len(taken):
            pairs = zip(tasks, chosen, strict=True)
            best = max(best, sum(weights[task, lock] for task, lock in pairs if lock))
    assert sum(length for _, _, length in most((*k, n) for k, n in weights.items())) == best


NESTED = """
    [priority]
    order = "higher_first"
    [locks.outer]
    protocol = "inherit"
    [locks.inner]
    protocol = "inherit"
    [tasks.high]
    priority = 3
    period_us = 100
    body = ["lock outer", "run 1", "unlock outer"]
    [tasks.mid]
    priority = 2
    period_us = 200
    body = ["lock outer", "run 2", "lock inner", "run 3", "unlock inner", "unlock outer"]
    [tasks.low]
    priority = 1
    period_us = 400
    body = ["run 1", "lock inner", "run 7", "unlock inner"]
"""


def test_who_waits_for_the_outer_lock_waits_for_what_its_holder_waits_for():
    """high never takes inner, but mid may hold outer and wait for inner, which low holds: 5 + 7."""
    high, mid, low = of(NESTED).tasks
    assert (high.blocking.total_ns, mid.blocking.total_ns) == (12 * UNIT, 7 * UNIT)
    assert low.blocking.total_ns == 0


PLAIN = """
    [priority]
    order = "higher_first"
    [locks.X]
    protocol = "none"
    [tasks.H]
    priority = 3
    period_us = 100
    body = ["lock X", "run 1", "unlock X"]
    [tasks.M]
    priority = 2
    period_us = 100
    body = ["run {mid}"]
    [tasks.L]
    priority = 1
    period_us = 100
    body = ["lock X", "run 3", "unlock X"]
"""


def test_a_plain_lock_lets_the_middle_run():
    """By hand: at worst all of M and L run while H waits, 1 + 20 + 3."""
    found = of(PLAIN.format(mid=20))
    assert responses(found)[0] == 24
    assert "plain lock" in found.tasks[0].why


def test_locks_in_circular_order_have_no_bound():
    text = NESTED.replace(
        '"run 1", "lock inner"', '"lock inner", "run 1", "lock outer", "run 1", "unlock outer"'
    )
    found = of(text)
    assert found.verdict == "inconclusive"
    assert "circular order" in found.tasks[0].why


CEILING_AROUND = """
    [priority]
    order = "higher_first"
    [locks.outer]
    protocol = "ceiling"
    [locks.inner]
    protocol = "{inner}"
    [tasks.above]
    priority = 5
    period_us = 900
    body = ["run 1"]
    [tasks.high]
    priority = 4
    period_us = 900
    body = ["lock outer", "run 1", "unlock outer"]
    [tasks.mid]
    priority = 3
    period_us = 900
    body = ["lock outer", "run 5", "lock inner", "run 1", "unlock inner", "unlock outer"]
    [tasks.between]
    priority = 2
    period_us = 900
    body = ["run 50"]
    [tasks.low]
    priority = 1
    period_us = 900
    body = ["lock inner", "run 7", "unlock inner"]
"""


@pytest.mark.parametrize("inner", ["none", "original_ceiling"])
def test_who_holds_a_lock_of_immediate_ceiling_must_not_wait(inner):
    """By hand: low has inner; mid has outer and waits; high waits for mid, and between runs."""
    above, high, *_ = of(CEILING_AROUND.format(inner=inner)).tasks
    assert above.response_ns == UNIT
    assert high.response_ns is None
    assert high.why.startswith("whoever holds outer may wait for inner")


def test_where_it_waits_for_a_lock_with_inheritance_both_sections_count():
    """By hand: 1 of above, 7 of low, which inherits high's level, 6 of mid, 1 of its own."""
    assert responses(of(CEILING_AROUND.format(inner="inherit")))[:2] == [1, 15]


def test_a_lock_that_nobody_else_takes_keeps_nobody_waiting():
    alone = CEILING_AROUND.format(inner="none").replace(
        '"lock inner", "run 7", "unlock inner"', '"run 7"'
    )
    assert responses(of(alone))[:2] == [1, 8]

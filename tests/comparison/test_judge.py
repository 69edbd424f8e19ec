"""Adjusted p, against closed testing and scipy; and that what is called detectable is detected."""

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from tracelens.comparison.judge import case_of, holm, judge
from tracelens.comparison.quantities import Quantity
from tracelens.comparison.resample import Design


@given(st.lists(st.floats(0, 1), min_size=1, max_size=6))
def test_holm_is_closed_testing_with_bonferroni(p):
    """Marcus, Peritz and Gabriel, Biometrika 63, 1976: reject where every intersection rejects."""
    m = len(p)
    expected = [
        max(
            min(1.0, min(p[k] for k in group) * size)
            for size in range(1, m + 1)
            for group in combinations(range(m), size)
            if one in group
        )
        for one in range(m)
    ]
    assert holm(np.array(p)).tolist() == pytest.approx(expected)


def design(old: int, new: int) -> Design:
    return Design(np.repeat([0.0, 1.0], [old, new]), np.zeros(old + new, int))


@pytest.mark.parametrize(
    ("old", "new", "case"),
    [(1, 1, "one_run"), (1, 2, "few_runs"), (3, 3, "few_runs"), (4, 4, "shared_out")],
)
def test_the_number_of_runs_decides_how_it_is_judged(old, new, case):
    assert case_of(design(old, new), 0.05) == case


def quantity(values: list[float], variance: float, freedom: float, name="execution") -> Quantity:
    count = len(values)
    return Quantity(
        name, "t", np.array(values), np.full(count, variance), np.full(count, freedom), None, None
    )


def test_one_run_a_side_is_welchs_test():
    """Two series of independent values, against scipy.stats.ttest_ind without equal variances."""
    a, b = np.random.default_rng(1).normal(size=20), np.random.default_rng(2).normal(1, 3, 30)
    one = Quantity(
        "execution",
        "t",
        np.array([a.mean(), b.mean()]),
        np.array([a.var(ddof=1) / 20, b.var(ddof=1) / 30]),
        np.array([19.0, 29.0]),
        None,
        None,
    )
    found = judge([one], design(1, 1), 0.05)
    reference = stats.ttest_ind(b, a, equal_var=False)
    interval = reference.confidence_interval(0.95)
    assert found.p[0] == pytest.approx(reference.pvalue)
    assert (found.low[0], found.high[0]) == pytest.approx((interval.low, interval.high))


def test_a_few_runs_are_students_test_and_holm():
    values = np.random.default_rng(3).normal(size=(3, 6))
    values[1, 3:] += 4
    found = judge([quantity(list(row), 0.0, 9.0) for row in values], design(3, 3), 0.05)
    p = stats.ttest_ind(values[:, :3], values[:, 3:], axis=1).pvalue
    assert found.p.tolist() == pytest.approx(holm(p).tolist())
    assert found.case == "few_runs"


def test_what_a_run_has_one_value_of_needs_runs_to_be_judged():
    stack = [quantity([400.0] * 3 + [300.0] * 3, float("nan"), float("nan"), "stack")]
    assert not judge(stack, design(3, 3), 0.05).judged[0]
    stack = [quantity([400.0] * 4 + [300.0] * 4, float("nan"), float("nan"), "stack")]
    assert judge(stack, design(4, 4), 0.05).p[0] == pytest.approx(2 / 70)


def test_where_chance_parts_the_runs_cleanly_nothing_is_detectable():
    """Four values of which each is the same in half of the runs: 8 of 70 ways part one of them."""
    splits = [(0, 1, 4, 5), (0, 2, 4, 6), (0, 3, 5, 6), (1, 2, 5, 6)]
    stacks = [
        quantity([float(run in rows) for run in range(8)], float("nan"), float("nan"), "stack")
        for rows in splits
    ]
    found = judge(stacks, design(4, 4), 0.05)
    assert np.isnan(found.detectable).all()
    assert (found.p > 0.05).all()

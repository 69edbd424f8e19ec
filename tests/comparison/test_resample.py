"""Sharing runs out anew, against scipy's permutation test and an obvious slow one."""

from itertools import combinations
from math import comb

import numpy as np
import pytest
from scipy import stats

from tracelens.comparison.resample import Design, chances, contrast, scores, step_down


def design(old: int, new: int, block: list[int] | None = None) -> Design:
    side = np.repeat([0.0, 1.0], [old, new])
    return Design(side, np.array(block or [0] * (old + new)))


def test_the_score_is_students_t():
    """Against scipy.stats.ttest_ind with equal variances."""
    values = np.random.default_rng(1).normal(size=(9, 5))
    plan = design(4, 5)
    found = contrast(plan.new[None], plan, values, np.zeros(5)).score[0]
    assert found == pytest.approx(stats.ttest_ind(values[4:], values[:4]).statistic)


def test_within_boards_it_is_the_paired_t():
    """One old and one new run a board: scipy.stats.ttest_rel."""
    values = np.random.default_rng(2).normal(size=(10, 3))
    plan = design(5, 5, [0, 1, 2, 3, 4, 0, 1, 2, 3, 4])
    found = contrast(plan.new[None], plan, values, np.zeros(3)).score[0]
    assert found == pytest.approx(stats.ttest_rel(values[5:], values[:5]).statistic)
    assert plan.freedom == 4


@pytest.mark.parametrize(("old", "new"), [(4, 4), (3, 6), (2, 8)])
def test_the_p_of_one_quantity_is_that_of_scipys_permutation_test(old, new):
    values = np.random.default_rng(old).normal(size=(old + new, 1))
    values[old:] += 1.0
    plan = design(old, new)
    score = scores(plan.sharings(), plan, values, np.zeros(1))

    def size_of_t(x, y, axis):
        return np.abs(stats.ttest_ind(y, x, axis=axis).statistic)

    reference = stats.permutation_test(
        (values[:old, 0], values[old:, 0]),
        size_of_t,
        vectorized=True,
        alternative="greater",
        n_resamples=np.inf,
    )
    assert step_down(score)[0] == pytest.approx(reference.pvalue)


def test_stepping_down_is_what_the_obvious_procedure_gives():
    """Westfall and Young: each quantity against the largest of those not yet accepted."""
    rng = np.random.default_rng(5)
    values = rng.normal(size=(8, 4)) + np.outer(np.repeat([0, 1], 4), [0, 3, 1, 0])
    plan = design(4, 4)
    p = step_down(scores(plan.sharings(), plan, values, np.zeros(4)))

    def t(rows):
        new = [k in rows for k in range(8)]
        old = [not yes for yes in new]
        return np.abs(stats.ttest_ind(values[new], values[old]).statistic)

    ways = [t(rows) for rows in combinations(range(8), 4)]
    actual = t((4, 5, 6, 7))
    order = sorted(range(4), key=lambda k: -actual[k])
    expected, worst = [0.0] * 4, 0.0
    for place, quantity in enumerate(order):
        rest = order[place:]
        large = [max(way[k] for k in rest) >= actual[quantity] - 1e-9 for way in ways]
        worst = max(worst, sum(large) / len(ways))
        expected[quantity] = worst
    assert p.tolist() == pytest.approx(expected)


@pytest.mark.parametrize(
    ("plan", "ways", "least"),
    [
        (design(4, 4), comb(8, 4), 2 / 70),
        (design(3, 3), 20, 0.1),
        (design(1, 19), 20, 0.05),
        (design(2, 2, [0, 1, 0, 1]), 4, 0.5),
        (design(4, 4, [0, 0, 1, 1, 0, 0, 1, 1]), 36, 2 / 36),
    ],
)
def test_how_many_ways_there_are_bounds_what_can_be_shown(plan, ways, least):
    rows = plan.sharings()
    assert (plan.ways(), len(rows)) == (ways, ways)
    assert len({tuple(row) for row in rows}) == ways
    assert rows[0].tolist() == plan.new.tolist()
    assert plan.least_p() == pytest.approx(least)
    for block in np.unique(plan.block):
        inside = plan.block == block
        assert (rows[:, inside].sum(axis=1) == plan.new[inside].sum()).all()


def test_of_very_many_ways_some_are_taken_the_actual_one_among_them():
    plan = design(12, 12)
    rows = plan.sharings()
    assert len(rows) < plan.ways()
    assert rows[0].tolist() == plan.new.tolist()
    assert (rows.sum(axis=1) == 12).all()
    assert (rows == plan.sharings()).all()


def test_equal_runs_score_nothing_and_a_clean_split_scores_most():
    plan = design(4, 4)
    values = np.stack([np.full(8, 7.0), np.repeat([1.0, 2.0], 4)], axis=1)
    score = scores(plan.sharings(), plan, values, np.zeros(2))
    assert score[0].tolist() == [0.0, np.inf]
    assert step_down(score).tolist() == [1.0, pytest.approx(2 / 70)]
    assert chances(score, np.zeros(70)).tolist() == [1.0, pytest.approx(2 / 70)]
    assert chances(score, np.full(70, np.inf)).tolist() == [1.0, 1.0]


def test_runs_that_agree_by_chance_count_as_varying_by_what_happens_within_them():
    plan = design(2, 2)
    values = np.array([[10.0], [10.0], [11.0], [11.0]])
    sure = contrast(plan.new[None], plan, values, np.array([0.5]))
    assert sure.error[0, 0] == pytest.approx((0.5 / 2 + 0.5 / 2) ** 0.5)

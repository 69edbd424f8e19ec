"""The variance of a mean of dependent values, against what theory gives for an AR(1) series."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.signal import lfilter

from tracelens.comparison.noise import LEAST, MOST, block_length, judging_length, mean_of


def ar1(memory: float, count: int, rng: np.random.Generator) -> np.ndarray:
    """x[t] = memory · x[t − 1] + e[t], e of variance 1, after it has forgotten its begin."""
    return lfilter([1.0], [1.0, -memory], rng.standard_normal(count + 500))[500:]


@pytest.mark.parametrize("memory", [0.0, 0.5, 0.8])
def test_the_variance_is_that_of_theory(memory):
    """n · var(mean) → 1 / (1 − φ)² (any textbook of time series, as Brockwell and Davis, 7.1)."""
    rng = np.random.default_rng(7)
    found = [mean_of(ar1(memory, 4000, rng)).variance * 4000 for _ in range(60)]
    assert np.mean(found) == pytest.approx(1 / (1 - memory) ** 2, rel=0.12)


def test_values_that_swing_about_make_the_mean_surer():
    """φ = −0.5: 1 / 1.5² = 0.444."""
    rng = np.random.default_rng(8)
    found = [mean_of(ar1(-0.5, 4000, rng)).variance * 4000 for _ in range(60)]
    assert np.mean(found) == pytest.approx(0.444, rel=0.15)


@pytest.mark.parametrize("memory", [0.3, 0.6])
def test_the_best_length_is_that_of_politis_and_white(memory):
    """Their formula with the true covariances of an AR(1): (2G²/D)^⅓ n^⅓.

    R(k) = φ^k / (1 − φ²), so g(0) = 1 / (1 − φ)², G = Σ|k|R(k) = 2φ / ((1 − φ²)(1 − φ)²), and
    D = 4/3 g(0)² for blocks that overlap.
    """
    curve = 2 * memory / ((1 - memory**2) * (1 - memory) ** 2)
    level = 1 / (1 - memory) ** 2
    count = 20_000
    best = (2 * curve**2 / (4 / 3 * level**2)) ** (1 / 3) * count ** (1 / 3)
    rng = np.random.default_rng(9)
    found = [block_length(ar1(memory, count, rng)) for _ in range(40)]
    assert np.median(found) == pytest.approx(best, rel=0.1)


def test_independent_values_give_the_standard_error_of_the_textbook():
    values = np.random.default_rng(3).standard_normal(5000)
    assert mean_of(values).variance == pytest.approx(values.var(ddof=1) / 5000, rel=0.25)
    assert mean_of(values).freedom > 10


def test_a_mean_of_blocks_of_one_is_exactly_the_textbooks():
    values = np.arange(LEAST, dtype=float)  # so few that a block is at least one
    assert judging_length(np.array([0.0, 1.0] * 4)) >= 1
    constant = mean_of(np.full(20, 5.0))
    assert (constant.value, constant.variance) == (5.0, 0.0)
    assert mean_of(values).value == 3.5


def test_too_few_values_tell_their_mean_and_no_more():
    few = mean_of(np.arange(LEAST - 1))
    assert few.value == 3.0
    assert np.isnan(few.variance)
    assert np.isnan(few.freedom)


def test_none_of_many_is_not_certainly_none():
    """Agresti and Caffo: one of each kind is added, so 0 of 98 varies as 1 of 100."""
    assert mean_of(np.zeros(98), share=True).variance == pytest.approx(0.01 * 0.99 / 100)


def test_a_constant_time_is_known_to_the_tick_and_no_finer():
    assert mean_of(np.full(50, 100.0), resolution=6.0).variance == pytest.approx(3.0)
    spread = np.random.default_rng(1).normal(100.0, 50.0, 500)
    assert mean_of(spread, resolution=6.0) == mean_of(spread)


def test_a_long_series_is_taken_in_groups():
    values = np.random.default_rng(4).standard_normal(3 * MOST)
    mean = mean_of(values)
    grouped = mean_of(values.reshape(-1, 3).mean(axis=1))
    assert mean.value == pytest.approx(values.mean())
    assert mean.variance == pytest.approx(grouped.variance)


@given(st.lists(st.integers(0, 10**9), min_size=LEAST, max_size=200))
def test_no_series_gives_nonsense(values):
    mean = mean_of(values, resolution=1000.0)
    assert mean.variance >= 0
    assert mean.freedom > 0
    assert 1 <= judging_length(np.array(values, float)) <= max(1, len(values) // 4)

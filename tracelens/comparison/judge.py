"""What moved beyond noise, the error counted over all comparisons; and what could have been seen.

Three cases, by what the runs can tell:

- *Enough runs to share out anew*: the permutation test of `resample`, exact for any distribution.
- *Several runs, but too few for that*: Student's t on the runs' values, then Holm ("A simple
  sequentially rejective multiple test procedure", Scandinavian Journal of Statistics 6, 1979).
- *One run a side*: how runs differ is not known, so only what happens within a run counts as
  noise (`noise`); t with the degrees of freedom of Welch and Satterthwaite, then Holm.

The detectable change is the one at which the test has its `POWER`, by the noncentral t distribution
(Cohen, "Statistical Power Analysis for the Behavioral Sciences", 1988), for the score that counts
as moved.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

from tracelens.comparison.quantities import RUN_ONLY, Quantity
from tracelens.comparison.resample import Design, chances, contrast, scores, step_down

Values = npt.NDArray[np.float64]
Case = Literal["shared_out", "few_runs", "one_run"]

POWER: Final = 0.8
"""The share of comparisons in which a change of the detectable size is found, were the noise known.

It is estimated, so the measured share is a little less: about three in four.
"""

INTERVAL: Final = 0.95

_MOST: Final = 64.0
_HALVINGS: Final = 14

NEEDS_RUNS: Final = "a run has one value of it: this needs more runs"


@dataclass(frozen=True, slots=True)
class Judged:
    """One array entry a quantity; NaN where it is not judged. `p` is adjusted.

    `detectable` is NaN too where no change at all would have been found.
    """

    case: Case
    judged: npt.NDArray[np.bool_]
    change: Values
    low: Values
    high: Values
    detectable: Values
    p: Values
    ways: int


def case_of(design: Design, rate: float) -> Case:
    """How a comparison of these runs can be judged at the error `rate`."""
    if design.freedom < 1:
        return "one_run"
    return "shared_out" if design.least_p() <= rate else "few_runs"


def judge(found: Sequence[Quantity], design: Design, rate: float) -> Judged:
    """Judge all quantities together: the chance of any false alarm is at most `rate`."""
    case = case_of(design, rate)
    judged = np.array(
        [
            one.unjudged is None and (case == "shared_out" or one.name not in RUN_ONLY)
            for one in found
        ],
        np.bool_,
    )
    values = np.array([one.value for one in found]).reshape(len(found), len(design.new)).T
    change = np.array([_difference(column, design) for column in values.T])
    p, low, high, detectable = (np.full(len(found), np.nan) for _ in range(4))
    ways = 0
    if judged.any():
        chosen = [one for one, yes in zip(found, judged, strict=True) if yes]
        if case == "one_run":
            told = _one_run(chosen, change[judged], rate)
        else:
            told = _several_runs(case, chosen, values[:, judged], design, rate)
        half = _t_above((1 - INTERVAL) / 2, told.freedom) * told.error
        change[judged] = told.change
        low[judged], high[judged] = told.change - half, told.change + half
        detectable[judged] = _detectable(told)
        p[judged] = told.p
        ways = told.ways
    return Judged(case, judged, change, low, high, detectable, p, ways)


@dataclass(frozen=True, slots=True)
class _Told:
    """Of each judged quantity; `limit` is the score from which on it counts as moved."""

    change: Values
    error: Values
    freedom: Values
    limit: Values
    p: Values
    ways: int = 0


def _one_run(found: Sequence[Quantity], change: Values, rate: float) -> _Told:
    error, freedom = _within(found)
    with np.errstate(divide="ignore", invalid="ignore"):
        score = np.where(change == 0, 0.0, change / error)
    p, limit = _by_t(score, freedom, rate)
    return _Told(change, error, freedom, limit, p)


def _several_runs(
    case: Case, found: Sequence[Quantity], values: Values, design: Design, rate: float
) -> _Told:
    # What varies within a run is not known of a quantity that has one value a run.
    within = np.array([np.nan_to_num(one.variance, nan=0.0).mean() for one in found])
    actual = contrast(design.new[None], design, values, within)
    change, error = actual.change[0], actual.error[0]
    freedom = np.full(len(found), float(design.freedom))
    if case == "few_runs":
        p, limit = _by_t(actual.score[0], freedom, rate)
        return _Told(change, error, freedom, limit, p)
    sharings = design.sharings()
    score = scores(sharings, design, values, within)
    p = step_down(score)
    largest = score[:, p > rate].max(axis=1, initial=0.0)
    rest = values - change * design.new[:, None]

    def chance(needed: Values) -> Values:
        """The p that each quantity would have with a change of so many standard errors."""
        shifted = rest + needed * error * design.new[:, None]
        return chances(scores(sharings, design, shifted, within), largest)

    return _Told(change, error, freedom, _least(chance, len(found), rate), p, len(score))


def _least(chance: Callable[[Values], Values], count: int, rate: float) -> Values:
    """The least score of each quantity with a chance of at most `rate`; infinite if none has it."""
    low, high = np.zeros(count), np.full(count, _MOST)
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        enough = chance(middle) <= rate
        high, low = np.where(enough, middle, high), np.where(enough, low, middle)
    return np.where(high < _MOST, high, np.inf)


def _detectable(told: _Told) -> Values:
    """The change that is found with `POWER`; NaN where the limit is infinite, 0 without noise.

    A standard error of few degrees of freedom is less than the true one on average, by the factor
    c₄ of control charts (Montgomery, "Introduction to Statistical Quality Control", appendix VI).
    """
    from scipy.special import gammaln, nctdtrinc

    half = told.freedom / 2
    c4 = np.exp(gammaln(half + 0.5) - gammaln(half)) / np.sqrt(half)
    finite = np.isfinite(told.limit)
    limit = np.where(finite, told.limit, 1.0)
    shift = nctdtrinc(told.freedom, 1 - POWER, limit) * told.error / c4
    return np.where(told.error == 0, 0.0, np.where(finite, shift, np.nan))


def holm(p: Values) -> Values:
    """Adjusted p by Holm's procedure: the k-th smallest of m times m − k + 1, never falling."""
    order = np.argsort(p, kind="stable")
    factor = np.arange(len(p), 0, -1)
    adjusted = np.empty(len(p))
    adjusted[order] = np.minimum(np.maximum.accumulate(p[order] * factor), 1.0)
    return adjusted


def _by_t(score: Values, freedom: Values, rate: float) -> tuple[Values, Values]:
    """Adjusted p, and the score that the first of all comparisons must reach."""
    from scipy.special import stdtr

    p = 2 * stdtr(freedom, -np.abs(score))
    return holm(p), _t_above(rate / 2 / len(score), freedom)


def _t_above(share: float, freedom: Values) -> Values:
    """The value that Student's t exceeds with this probability."""
    from scipy.special import stdtrit

    return np.asarray(stdtrit(freedom, 1 - share), np.float64)


def _within(found: Sequence[Quantity]) -> tuple[Values, Values]:
    """Standard error of the difference of two runs and its degrees of freedom."""
    variance = np.array([one.variance for one in found])
    freedom = np.array([one.freedom for one in found])
    total = variance.sum(axis=1)
    parts = (variance**2 / freedom).sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        together = np.where(parts > 0, total**2 / parts, freedom.min(axis=1))
    return np.sqrt(total), together


def _difference(value: Values, design: Design) -> float:
    """Difference of the means over the runs that have a value."""
    there = ~np.isnan(value)
    new = design.new == 1
    return float(value[new & there].mean() - value[~new & there].mean())

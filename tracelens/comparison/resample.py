"""Differences between two sides of runs, and how often chance alone gives such a large one.

If both sides are of the same kind, any other sharing out of the runs would have done as well. So
the runs are shared out anew, in every way or in many ways at random, and the largest difference of
all quantities is noted each time; a quantity's p is the share of the ways in which the largest is
at least its own. That holds whatever the distributions are and however the quantities depend on
each other, and the error is counted over all of them together (step-down maxT: Westfall and Young,
"Resampling-Based Multiple Testing", 1993; as in Ge, Dudoit and Speed, "Resampling-based multiple
testing for microarray data analysis", Test 12, 2003; from memory). Where boards are blocks, runs
are exchanged within their board only (Fisher, "The Design of Experiments", 1935).
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations, product
from math import comb, prod
from typing import Final

import numpy as np
import numpy.typing as npt

Values = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]

MOST: Final = 5_000
"""Up to so many ways all are taken; of more so many at random, and the actual one."""

_SEED: Final = 20_250_101
_CHUNK: Final = 2_000


@dataclass(frozen=True, slots=True)
class Design:
    """Which side each run is on (`new` is 1.0 for the new one), and its block (0, 1, …)."""

    new: Values
    block: Integers

    @property
    def freedom(self) -> int:
        """Degrees of freedom that are left for what runs differ by."""
        return len(self.new) - len(np.unique(self.block)) - 1

    def ways(self) -> int:
        """In how many ways the runs can be shared out, sides and blocks as large as they are."""
        return prod(comb(size, new) for size, new in self._sizes())

    def least_p(self) -> float:
        """The smallest p that any data could have; 1 if nothing can be exchanged."""
        mirrored = all(2 * new == size for size, new in self._sizes())
        return min(1.0, (2 if mirrored else 1) / self.ways())

    def sharings(self) -> Values:
        """Ways × runs, each row a sharing out as `new` is. The actual one comes first."""
        if self.ways() <= MOST:
            rows = np.array([self.new, *self._others()])
            return rows[np.sort(np.unique(rows, axis=0, return_index=True)[1])]
        rng = np.random.default_rng(_SEED)
        rows = np.tile(self.new, (MOST, 1))
        for block in np.unique(self.block):
            inside = np.flatnonzero(self.block == block)
            rows[1:, inside] = rng.permuted(rows[1:, inside], axis=1)
        return rows

    def _sizes(self) -> list[tuple[int, int]]:
        """Of each block the number of runs, and of new ones."""
        return [
            (int((self.block == block).sum()), int(self.new[self.block == block].sum()))
            for block in np.unique(self.block)
        ]

    def _others(self) -> Iterator[Values]:
        blocks = [np.flatnonzero(self.block == block) for block in np.unique(self.block)]
        chosen = [combinations(inside, int(self.new[inside].sum())) for inside in blocks]
        for pick in product(*chosen):
            row = np.zeros(len(self.new))
            row[[run for part in pick for run in part]] = 1.0
            yield row


@dataclass(frozen=True, slots=True)
class Contrast:
    """Ways × quantities: the difference new − old, and its standard error."""

    change: Values
    error: Values

    @property
    def score(self) -> Values:
        """Differences in standard errors; 0 where both are 0."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.nan_to_num(self.change / self.error, nan=0.0, posinf=np.inf, neginf=-np.inf)


def contrast(sharings: Values, design: Design, values: Values, within: Values) -> Contrast:
    """Differences between the sides for each way of sharing out; `values` is runs × quantities.

    The line of least squares on the side, blocks apart: with one block the difference of two means
    with their pooled variance. `within` is, for each quantity, the variance of a run's value that
    what happens within a run explains; runs that agree better than that do so by chance, and count
    as varying by that much.
    """
    side = _centred(sharings.T, design.block).T
    outcome = _centred(values, design.block)
    weight = (side**2).sum(axis=1, keepdims=True)
    moment = np.zeros((len(side), outcome.shape[1]))
    for run, values_of_run in enumerate(outcome):  # a product of matrices adds in any order
        moment += side[:, run, None] * values_of_run
    change = moment / weight
    # The rest of a difference without any noise may come out a little below 0.
    rest = np.maximum((outcome**2).sum(axis=0) - moment**2 / weight, 0.0)
    rest[rest < 1e-20 * np.maximum(1.0, (values**2).sum(axis=0))] = 0.0
    variance = rest / design.freedom if design.freedom > 0 else np.zeros_like(rest)
    return Contrast(change, np.sqrt(np.maximum(variance, within) / weight))


def scores(sharings: Values, design: Design, values: Values, within: Values) -> Values:
    """Size of each difference in standard errors, ways × quantities."""
    parts = [
        np.abs(contrast(sharings[at : at + _CHUNK], design, values, within).score)
        for at in range(0, len(sharings), _CHUNK)
    ]
    return np.concatenate(parts)


def step_down(score: Values) -> Values:
    """The adjusted p of each quantity; row 0 of `score` is the actual way."""
    order = np.argsort(-score[0], kind="stable")
    ranked = score[:, order]
    largest = np.maximum.accumulate(ranked[:, ::-1], axis=1)[:, ::-1]
    stepped = np.maximum.accumulate(_share_as_large(largest, ranked[0]))
    adjusted = np.empty(len(order))
    adjusted[order] = stepped
    return adjusted


def chances(score: Values, others: Values) -> Values:
    """The p of each quantity by itself beside the largest score of `others`, way by way."""
    return _share_as_large(np.maximum(score, others[:, None]), score[0])


def _share_as_large(score: Values, actual: Values) -> Values:
    """In which share of the ways a score is as large; equal ones may differ by rounding."""
    return np.asarray((score >= actual * (1 - 1e-9)).mean(axis=0), np.float64)


def _centred(rows: Values, block: Integers) -> Values:
    """Rows less the mean of their block."""
    out = rows.astype(np.float64)
    for one in np.unique(block):
        inside = block == one
        out[inside] -= out[inside].mean(axis=0)
    return out

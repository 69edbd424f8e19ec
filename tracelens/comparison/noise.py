"""How far the mean of a series would be off by chance, if its values depend on earlier ones.

The variance of the mean is that of the moving block bootstrap (Künsch, "The jackknife and the
bootstrap for general stationary observations", Annals of Statistics 17, 1989), which for a mean
need not be resampled: it has a closed form, known in simulation as overlapping batch means
(Meketon and Schmeiser, "Overlapping batch means: something for nothing?", Winter Simulation
Conference 1984; there also its degrees of freedom). The block's length comes from the series
itself (Politis and White, "Automatic block-length selection for the dependent bootstrap",
Econometric Reviews 23, 2004, with the correction of Patton, Politis and White, 28, 2009), and for
judging is made longer (`judging_length`). Formulas from memory.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

Values = npt.NDArray[np.float64]

LEAST: Final = 8
"""Of fewer values nothing is told."""

MOST: Final = 1 << 17
"""A longer series is taken in groups of consecutive values, by their means."""

_BLOCKS: Final = 12

_FLAT: Final = 2.0
"""Correlations below this many standard errors count as none (Politis and White use 2)."""


@dataclass(frozen=True, slots=True)
class Mean:
    """A mean, the variance of it, and the degrees of freedom that the variance has."""

    value: float
    variance: float
    freedom: float


def mean_of(values: npt.ArrayLike, *, share: bool = False, resolution: float = 0.0) -> Mean:
    """The mean of a series in order of time, and how sure it is.

    Variance and freedom are NaN for fewer than `LEAST` values. `resolution` is that of the clock,
    in the values' unit: where the values vary by less than half of it, rounding does not average
    out (Widrow and Kollár, "Quantization Noise", 2008), and the variance is not less than
    resolution² / 12. With `share` the values are 0 and 1: where all are equal, that
    does not make their share certain, and one of each kind is added (Agresti and Caffo, "Simple
    and effective confidence intervals for proportions", The American Statistician 54, 2000).
    """
    series = np.asarray(values, np.float64)
    count = len(series)
    if count < LEAST:
        value = float(series.mean()) if count else float("nan")
        return Mean(value, float("nan"), float("nan"))
    value = float(series.mean())
    grouped = _grouped(series)
    length = judging_length(grouped)
    variance = _block_variance(grouped, length)
    if share:
        softened = (value * count + 1) / (count + 2)
        variance = max(variance, softened * (1 - softened) / (count + 2))
    if series.std() < resolution / 2:
        variance = max(variance, resolution**2 / 12)
    return Mean(value, variance, 1.5 * (len(grouped) / length - 1))


def judging_length(series: Values) -> int:
    """The length of the blocks for judging a difference: longer than for a least error.

    The length that estimates a variance best is too short for a test, which then errs more often
    than it says. With blocks of a fixed share of the series it errs as often as it says, if few
    degrees of freedom are counted (Kiefer and Vogelsang, "A new asymptotic theory for
    heteroskedasticity-autocorrelation robust tests", Econometric Theory 21, 2005).
    """
    count = len(series)
    longer = max(2 * block_length(series), -(-count // _BLOCKS))
    return max(1, min(longer, count // 4))


def block_length(series: Values) -> int:
    """The length at which the variance of the mean is estimated best; at most a third of all."""
    count = len(series)
    centred = series - series.mean()
    least_lag = max(5, int(np.ceil(np.sqrt(np.log10(count)))))
    most_lag = min(int(np.ceil(np.sqrt(count))) + least_lag, count - 1)
    covariance = _autocovariance(centred, most_lag)
    if covariance[0] <= 0:
        return 1
    small = np.abs(covariance / covariance[0]) < _FLAT * np.sqrt(np.log10(count) / count)
    last = _last_correlated(small[1:], least_lag)
    width = min(2 * max(last, 1), most_lag)
    lag = np.arange(1, width + 1)
    weight = np.minimum(1.0, 2 * (1 - lag / width))
    curve = 2 * float((weight * lag * covariance[1 : width + 1]).sum())
    level = float(covariance[0] + 2 * (weight * covariance[1 : width + 1]).sum())
    if level <= 0:
        return 1
    best = (2 * curve**2 / (4 / 3 * level**2)) ** (1 / 3) * count ** (1 / 3)
    return max(1, int(np.ceil(min(best, 3 * np.sqrt(count), count / 3))))


def _last_correlated(small: npt.NDArray[np.bool_], run: int) -> int:
    """The lag before the first `run` small correlations in a row; lags count from 1."""
    total = np.concatenate(([0], np.cumsum(small)))
    if len(small) < run:
        return len(small)
    quiet = np.flatnonzero(total[run:] - total[:-run] == run)
    return int(quiet[0]) if len(quiet) else len(small)


def _autocovariance(centred: Values, most_lag: int) -> Values:
    """At lags 0 to `most_lag`, by the Fourier transform: no loop over a long series."""
    size = 1 << (2 * len(centred) - 1).bit_length()
    spectrum = np.fft.rfft(centred, size)
    whole = np.fft.irfft(spectrum * spectrum.conj(), size)
    return np.asarray(whole[: most_lag + 1] / len(centred), np.float64)


def _block_variance(series: Values, length: int) -> float:
    """Variance of the mean from the means of all blocks of `length`; unbiased if length is 1."""
    count = len(series)
    total = np.concatenate(([0.0], np.cumsum(series - series.mean())))
    means = (total[length:] - total[:-length]) / length
    blocks = count - length + 1
    return float((means**2).sum() * length / (blocks * (count - length)))


def _grouped(series: Values) -> Values:
    size = -(-len(series) // MOST)
    if size == 1:
        return series
    whole = len(series) // size * size
    return np.asarray(series[:whole].reshape(-1, size).mean(axis=1), np.float64)

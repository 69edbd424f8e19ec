"""Does a quantity drift through the run, how fast, and is it more than chance?

The run is divided into `BINS` equal times and each is stood for by one value, so a few pairs tell
of any number of observations. The slope is the median of the slopes of all pairs (Theil 1950; Sen,
"Estimates of the Regression Coefficient Based on Kendall's Tau", JASA 63, 1968); whether there is
a trend at all says the excess of rising pairs over falling ones (Mann, "Nonparametric tests
against trend", Econometrica 13, 1945; Kendall 1975). Formulas from memory.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from tracelens.spans import Integers

BINS: Final = 24
_LEAST: Final = 12


@dataclass(frozen=True, slots=True)
class Trend:
    """`slope` per ns; `z` of Mann and Kendall; `last` is what the line says at the end."""

    slope: float
    z: float
    first: float
    last: float

    def reaches(self, limit: float, end_ns: int) -> int | None:
        """When the line reaches `limit` after `end_ns`; None if it moves away from it."""
        ahead = (limit - self.last) / self.slope if self.slope else -1.0
        return end_ns + round(ahead) if ahead >= 0 else None


def binned(
    time_ns: Integers, values: npt.NDArray[np.float64], start_ns: int, end_ns: int, share: float
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """(middle of each bin that has values, the quantile `share` of its values); time ascending."""
    edges = np.linspace(start_ns, end_ns, BINS + 1)
    cut = np.searchsorted(time_ns, edges)
    cut[-1] = len(time_ns)
    some = [k for k in range(BINS) if cut[k + 1] > cut[k]]
    told = [float(np.quantile(values[cut[k] : cut[k + 1]], share)) for k in some]
    return (edges[:-1] + edges[1:])[some] / 2, np.array(told)


def trend(at_ns: npt.NDArray[np.float64], values: npt.NDArray[np.float64], end_ns: int) -> Trend:
    """The line through a few values; a slope of 0 and z of 0 if there are too few of them."""
    count = len(values)
    if count < _LEAST:
        return Trend(0.0, 0.0, 0.0, 0.0)
    i, k = np.triu_indices(count, 1)
    rises = values[k] - values[i]
    slope = float(np.median(rises / (at_ns[k] - at_ns[i])))
    excess = float(np.sign(rises).sum())
    # Ties make the variance less (Kendall 1975).
    _, ties = np.unique(values, return_counts=True)
    variance = count * (count - 1) * (2 * count + 5) - (ties * (ties - 1) * (2 * ties + 5)).sum()
    z = (excess - np.sign(excess)) / max(1.0, float(variance) / 18) ** 0.5
    level = float(np.median(values - slope * at_ns))
    return Trend(slope, float(z), level + slope * float(at_ns[0]), level + slope * end_ns)

"""Has a quantity grown for a part of the run? A level against the usual one, without a model.

The values' ranks, less their mean, are cumulated. Where the values are high for a while, the sum
climbs: the stretch between its least and its greatest point is where they are highest above the
rest. Its range over σ√n is that of a Brownian bridge if the values are in random order (Kuiper,
"Tests concerning random points on a circle", 1960; for a change in between: Levin and Kline,
"The CUSUM test of homogeneity with an application in spontaneous abortion epidemiology",
Statistics in Medicine 4, 1985; both from memory). Ranks make it robust against single long values.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

Values = npt.NDArray[np.float64]

LEAST: Final = 8
"""Values below which nothing is said."""

_MOST: Final = 1000


@dataclass(frozen=True, slots=True)
class Rise:
    """A stretch with higher values: from index `first` on, with medians inside and outside.

    The `_high` ones are the ninth tenths, for a stretch in which only some values are higher.
    `apart`: nine tenths of the values inside exceed nine tenths of those outside.
    """

    first: int
    usual: float
    risen: float
    usual_high: float
    risen_high: float
    score: float
    apart: bool


def rise(values: npt.ArrayLike) -> Rise | None:
    """The stretch in which the values are highest above the rest; None if there is none.

    Many values are taken in groups of consecutive ones, by their means.
    """
    value = np.asarray(values, np.float64)
    size = -(-len(value) // _MOST)
    if size > 1:
        first = np.arange(0, len(value), size)
        value = np.add.reduceat(value, first) / np.diff(np.append(first, len(value)))
    count = len(value)
    if count < LEAST:
        return None
    ordered = np.sort(value)
    rank = (np.searchsorted(ordered, value, "left") + np.searchsorted(ordered, value, "right")) / 2
    spread = float(rank.std())
    if spread == 0:
        return None
    total = np.concatenate(([0.0], np.cumsum(rank - rank.mean())))
    total[-1] = 0.0
    low, high = int(total.argmin()), int(total.argmax())
    index = np.arange(count)
    inside = (index >= low) & (index < high) if low < high else (index >= low) | (index < high)
    if inside.all() or not inside.any():
        return None
    return Rise(
        first=low % count * size,  # a fall first: the later of the two stretches
        usual=float(np.median(value[~inside])),
        risen=float(np.median(value[inside])),
        usual_high=float(np.quantile(value[~inside], 0.9)),
        risen_high=float(np.quantile(value[inside], 0.9)),
        score=float(np.ptp(total)) / (spread * count**0.5),
        apart=bool(np.quantile(value[inside], 0.1) > np.quantile(value[~inside], 0.9)),
    )

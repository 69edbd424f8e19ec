"""Arrivals as they were observed, as a stream that none of them breaks."""

import numpy as np
from numpy.typing import NDArray

from tracelens.theory.workload import Stream


def observed_stream(times_ns: NDArray[np.int64]) -> Stream:
    """The stream of arrivals at `times_ns`, in any order.

    Its period is their mean distance, rounded down; its jitter the least with which any so many in
    a row are no closer than the stream allows; its least distance that of two neighbours. One
    arrival alone comes once.
    """
    times = np.sort(times_ns)
    if len(times) < 2:
        return Stream(None, most=len(times))
    period = int((times[-1] - times[0]) // (len(times) - 1))
    if period == 0:
        return Stream(None, most=len(times))
    early = np.arange(len(times), dtype=np.int64) * period - times
    jitter = int((early - np.minimum.accumulate(early)).max())
    return Stream(period, jitter, int(np.diff(times).min()))

"""A window of time and a width in pixels → how much of each state falls into each pixel column.

Never a sample: each column carries the exact time of each state, so that the shortest execution
of the longest run still counts in its column.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from tracelens.spans import Integers, SpentTime


@dataclass(frozen=True, slots=True, eq=False)
class Track:
    """The intervals of many things in one state, ready to be asked about any window.

    `spans` has `start_ns`, `end_ns` and whatever a closer look wants to say about an interval; its
    rows stand in the order of `spent`: by thing, then by time.
    """

    spans: pl.DataFrame
    spent: SpentTime

    @classmethod
    def of(cls, spans: pl.DataFrame, key: str) -> "Track":
        """Index disjoint intervals by the thing in column `key`: an Enum, or an integer."""
        spans = spans.drop_nulls(key)
        codes = spans[key].to_physical().cast(pl.UInt16).to_numpy()
        if np.any(codes[1:] < codes[:-1]):
            # A stable sort of 16-bit numbers is a radix sort. It is enough where the rows of each
            # thing are in order of time already.
            spans = spans[np.argsort(codes, kind="stable")]
            codes = spans[key].to_physical().cast(pl.UInt16).to_numpy()
        starts = spans["start_ns"].to_numpy()
        if np.any((starts[1:] < starts[:-1]) & (codes[1:] == codes[:-1])):
            spans = spans.sort(pl.col(key).to_physical(), "start_ns")
        return cls(spans, SpentTime.of(spans, key))

    def visible(self, key: int, start_ns: int, end_ns: int) -> pl.DataFrame:
        """The intervals of one thing that share time with [start_ns, end_ns), uncut."""
        first, last = self._rows(key, start_ns, end_ns)
        return self.spans.slice(first, last - first)

    def count(self, key: int, start_ns: int, end_ns: int) -> int:
        """How many intervals `visible` would give."""
        first, last = self._rows(key, start_ns, end_ns)
        return last - first

    def range_of(self, key: int) -> tuple[int, int]:
        """The rows [first, last) of `spans` that are of one thing."""
        where = int(np.searchsorted(self.spent.keys, key))
        if where == len(self.spent.keys) or self.spent.keys[where] != key:
            return 0, 0
        return int(self.spent.first[where]), int(self.spent.first[where + 1])

    def _rows(self, key: int, start_ns: int, end_ns: int) -> tuple[int, int]:
        low, high = self.range_of(key)
        first = low + int(np.searchsorted(self.spent.ends[low:high], start_ns, side="right"))
        last = low + int(np.searchsorted(self.spent.starts[low:high], end_ns, side="left"))
        return first, max(first, last)


def codes(names: pl.Series) -> dict[str, int]:
    """Name → physical value, of an Enum column: what keys a track."""
    assert isinstance(names.dtype, pl.Enum)
    return {name: code for code, name in enumerate(names.dtype.categories)}


def column_edges(start_ns: int, end_ns: int, columns: int) -> Integers:
    """The `columns` + 1 boundaries of equal columns over [start_ns, end_ns), in whole ns.

    Column i is [start + ⌊i·w/n⌋, start + ⌊(i + 1)·w/n⌋) with w the window and n the columns;
    quotient and remainder are kept apart so that no product leaves 64 bits.
    """
    whole, rest = divmod(end_ns - start_ns, columns)
    i = np.arange(columns + 1, dtype=np.int64)
    return start_ns + whole * i + rest * i // columns


def time_in(track: Track, key: int, edges: Integers) -> Integers:
    """Time (ns) that one thing spends in the track's state in each [edges[i], edges[i + 1])."""
    return track.spent.between(edges[:-1], edges[1:], key)


def share_in(track: Track, key: int, edges: Integers) -> npt.NDArray[np.float64]:
    """The same as a share of each column; 0 in a column narrower than a nanosecond."""
    return time_in(track, key, edges) / np.maximum(np.diff(edges), 1)

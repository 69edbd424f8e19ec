"""Half-open intervals on frames, and the one question that nearly every measure asks.

A table of spans has the columns `start_ns` and `end_ns`: integers, the start inside, the end not.
*Windows* are the times that a measure is taken over: disjoint, not empty, in ascending order.

The question is: how much time did X spend in S between a and b? A frame filtered to S answers it
for every X and any number of pairs (a, b) through `SpentTime`: the starts, sorted, with the running
total of the lengths; then two binary searches and a subtraction.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

Windows = tuple[tuple[int, int], ...]
"""Disjoint, non-empty [start, end) in ascending order."""

Integers = npt.NDArray[np.int64]

LENGTH = pl.col("end_ns") - pl.col("start_ns")
"""The length of a span."""


def union(windows: Sequence[tuple[int, int]]) -> Windows:
    """The same time as disjoint windows in ascending order; touching ones are one.

    >>> union([(50, 60), (0, 20), (10, 30), (30, 40), (45, 45)])
    ((0, 40), (50, 60))
    """
    merged: list[tuple[int, int]] = []
    for start, end in sorted(windows):
        if start >= end:
            continue
        if merged and start <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(end, merged[-1][1]))
        else:
            merged.append((start, end))
    return tuple(merged)


def common(some: Windows, others: Windows) -> Windows:
    """The time that lies in both.

    >>> common(((0, 30), (40, 60)), ((20, 50),))
    ((20, 30), (40, 50))
    """
    return union([(max(a, c), min(b, d)) for a, b in some for c, d in others])


def length(windows: Windows) -> int:
    """How much time the windows hold."""
    return sum(end - start for start, end in windows)


def clip(spans: pl.DataFrame, windows: Windows) -> pl.DataFrame:
    """Cut spans to the windows.

    A span that reaches into several windows becomes several rows. The columns and the order stay;
    what a cut leaves empty is dropped, and so is a span that was empty before.

    >>> clip(pl.DataFrame({"start_ns": [0, 50, 60], "end_ns": [40, 90, 70]}), ((20, 60),)).to_dict(
    ...     as_series=False
    ... )
    {'start_ns': [20, 50], 'end_ns': [40, 60]}
    """
    if len(windows) == 1:
        low, high = windows[0]
        return spans.filter(
            (pl.col("start_ns") < high) & (pl.col("end_ns") > low) & (LENGTH > 0)
        ).with_columns(pl.col("start_ns").clip(low), pl.col("end_ns").clip(upper_bound=high))
    lows, highs = _edges(windows)
    row, window = meetings(lows, highs, spans["start_ns"].to_numpy(), spans["end_ns"].to_numpy())
    return (
        spans[row]
        .with_columns(
            pl.max_horizontal("start_ns", pl.Series(lows[window])).alias("start_ns"),
            pl.min_horizontal("end_ns", pl.Series(highs[window])).alias("end_ns"),
        )
        .filter(LENGTH > 0)
    )


def inside(
    rows: pl.DataFrame, windows: Windows, start: str = "start_ns", end: str = "end_ns"
) -> pl.DataFrame:
    """The rows that begin and end within one window; an end on the window's end is within.

    >>> rows = pl.DataFrame({"start_ns": [0, 20, 30, 60], "end_ns": [25, 60, 61, 60]})
    >>> inside(rows, ((20, 60),)).to_dict(as_series=False)
    {'start_ns': [20], 'end_ns': [60]}
    """
    if len(windows) == 1:
        low, high = windows[0]
        return rows.filter((pl.col(start) >= low) & (pl.col(start) < high) & (pl.col(end) <= high))
    lows, highs = _edges(windows)
    window = np.searchsorted(lows, rows[start].to_numpy(), side="right") - 1
    high_of = np.append(highs, -1)[window]  # before the first window: index −1, the sentinel
    return rows.filter((pl.col(start) < pl.Series(high_of)) & (pl.col(end) <= pl.Series(high_of)))


def at(rows: pl.DataFrame, windows: Windows, time: str = "at_ns") -> pl.DataFrame:
    """The rows whose moment lies within a window."""
    return inside(rows, windows, time, time)


def meetings(
    starts: Integers, ends: Integers, a: Integers, b: Integers
) -> tuple[Integers, Integers]:
    """All (i, k) where [a[i], b[i]) shares time with [starts[k], ends[k]), by i, then by k.

    `starts` and `ends` are of disjoint spans in ascending order; the pairs may be any.
    """
    first = np.searchsorted(ends, a, side="right")
    after = np.searchsorted(starts, b, side="left")
    counts = np.maximum(after - first, 0)
    i = np.repeat(np.arange(len(counts)), counts)
    ordinal = np.arange(len(i)) - np.repeat(np.cumsum(counts) - counts, counts)
    return i, first[i] + ordinal


@dataclass(frozen=True, slots=True)
class SpentTime:
    """The time that each key has spent up to any moment; answers `between` for many pairs.

    `keys` are ascending; the spans of keys[i] are the rows first[i] to first[i + 1] of `starts` and
    `ends`, ascending and disjoint; `before` is the running total of the lengths before each row.
    """

    keys: Integers
    first: Integers
    starts: Integers
    ends: Integers
    before: Integers

    @classmethod
    def of(cls, spans: pl.DataFrame, key: str | None = None) -> "SpentTime":
        """Index spans by the column `key` (an Enum counts by its physical value), or as one.

        The spans of one key must be disjoint; they need not be in order. A null key is left out.
        """
        if key is not None:
            spans = spans.drop_nulls(key)
        starts = spans["start_ns"].to_numpy()
        ends = spans["end_ns"].to_numpy()
        codes = (
            np.zeros(len(starts), np.uint16)
            if key is None
            else spans[key].to_physical().cast(pl.UInt16).to_numpy()
        )
        if not _ascending(codes, starts, ends):
            # A stable sort of 16-bit keys is a radix sort: linear, unlike one on (key, start).
            order = np.argsort(codes, kind="stable")
            codes, starts, ends = codes[order], starts[order], ends[order]
            if not _ascending(codes, starts, ends):
                order = np.lexsort((ends, starts, codes))  # an empty one before what begins there
                codes, starts, ends = codes[order], starts[order], ends[order]
        bounds = np.flatnonzero(codes[1:] != codes[:-1]) + 1
        first = np.concatenate(([0], bounds, [len(codes)])).astype(np.int64)
        keys = codes[first[:-1]].astype(np.int64) if len(codes) else np.empty(0, np.int64)
        lengths = ends - starts
        return cls(keys, first, starts, ends, np.cumsum(lengths) - lengths)

    def between(self, a: npt.ArrayLike, b: npt.ArrayLike, key: int = 0) -> Integers:
        """Time (ns) that `key` spent within each [a, b); 0 for a key without spans."""
        where = int(np.searchsorted(self.keys, key))
        if where == len(self.keys) or self.keys[where] != key:
            return np.zeros(np.shape(a), np.int64)
        part = slice(self.first[where], self.first[where + 1])
        return self._until(np.asarray(b), part) - self._until(np.asarray(a), part)

    def _until(self, moments: npt.NDArray[np.int64], part: slice) -> Integers:
        starts = self.starts[part]
        row = np.maximum(np.searchsorted(starts, moments, side="right") - 1, 0)
        partial = np.clip(moments - starts[row], 0, self.ends[part][row] - starts[row])
        return np.asarray(self.before[part][row] + partial)


def _edges(windows: Windows) -> tuple[Integers, Integers]:
    edges = np.array(windows, np.int64).reshape(-1, 2)
    return edges[:, 0], edges[:, 1]


def _ascending(codes: npt.NDArray[np.uint16], starts: Integers, ends: Integers) -> bool:
    """Whether rows are in order of code, and each begins where those of its code before it ended.

    An empty span that comes after the one that begins with it is thereby out of order.
    """
    up = codes[1:] > codes[:-1]
    level = codes[1:] == codes[:-1]
    return bool(np.all(up | (level & (starts[1:] >= ends[:-1]))))

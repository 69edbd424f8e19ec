"""How many items each queue held, ready to be asked about any window."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from tracelens.drawing.window import Track, codes
from tracelens.model.results import Timeline
from tracelens.spans import LENGTH, Integers


@dataclass(frozen=True, slots=True, eq=False)
class Levels:
    """The items of every queue over time.

    `held` has the intervals with items, each with its number `items`; `lost` those in which the
    number is not known. `before` is the running total of items × ns before each row of `held`.
    `full` is the number of items that is drawn a block high: the depth, else the most ever seen;
    `depth` has the declared ones.
    """

    held: Track
    lost: Track
    before: Integers
    full: dict[int, int]
    depth: dict[int, int]

    @classmethod
    def of(cls, run: Timeline) -> "Levels":
        """Index the levels of a run."""
        spans = run.queue_levels.sort(
            pl.col("queue").to_physical(), "at_ns", maintain_order=True
        ).select(
            "queue",
            "items",
            start_ns="at_ns",
            end_ns=pl.col("at_ns").shift(-1).over("queue").fill_null(run.span_ns),
        )
        spans = spans.filter(LENGTH > 0)
        held = Track.of(spans.filter(pl.col("items") > 0), "queue")
        most = spans.group_by("queue").agg(pl.col("items").max())
        seen = zip(most["queue"].to_physical(), most["items"], strict=True)
        code = codes(run.queue_levels["queue"])
        depth = {
            code[queue.name]: queue.depth
            for queue in run.system.queues
            if queue.depth and queue.name in code
        }
        weighted = held.spans.select(total=LENGTH * pl.col("items"))["total"].to_numpy()
        return cls(
            held=held,
            lost=Track.of(spans.filter(pl.col("items").is_null()), "queue"),
            before=np.cumsum(weighted) - weighted,
            full={key: max(items or 1, 1) for key, items in seen} | depth,
            depth=depth,
        )

    def mean(self, key: int, edges: Integers) -> npt.NDArray[np.float64]:
        """Items on average over each [edges[i], edges[i + 1]), by time."""
        low, high = self.held.range_of(key)
        if low == high:
            return np.zeros(len(edges) - 1)
        starts, ends = self.held.spent.starts[low:high], self.held.spent.ends[low:high]
        items = self.held.spans["items"].slice(low, high - low).to_numpy()
        row = np.maximum(np.searchsorted(starts, edges, side="right") - 1, 0)
        inside = np.clip(edges - starts[row], 0, ends[row] - starts[row])
        total = self.before[low:high][row] + items[row] * inside
        return np.asarray(np.diff(total) / np.maximum(np.diff(edges), 1))

    def most(self, key: int, edges: Integers) -> Integers:
        """The most items at any moment of each [edges[i], edges[i + 1])."""
        low, high = self.held.range_of(key)
        starts, ends = self.held.spent.starts[low:high], self.held.spent.ends[low:high]
        items = self.held.spans["items"].slice(low, high - low).to_numpy()
        first = np.searchsorted(ends, edges[:-1], side="right")
        last = np.searchsorted(starts, edges[1:], side="left")
        found = np.zeros(len(edges) - 1, np.int64)
        some = np.flatnonzero(last > first)
        if len(some):
            bounds = np.stack([first[some], last[some]], axis=1).ravel()
            # The end of the last piece may be the end of the array, which is no place in it.
            found[some] = np.maximum.reduceat(np.append(items, 0), bounds)[::2]
        return found

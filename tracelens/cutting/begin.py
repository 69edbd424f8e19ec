"""Where to begin: a moment near by at which little needs to be put into its state.

What is under way when a log begins cannot be measured there: a handler's run or a hold is too
short, and an item in a queue seems to have been put in at the begin. So the cut begins, within
reach, where least of that is under way.
"""

import numpy as np
import polars as pl

from tracelens.model.results import Timeline
from tracelens.spans import Integers


def quiet_begin(run: Timeline, boot: int, low_ns: int, high_ns: int) -> int | None:
    """The time (ns) of the first event to keep, from `low_ns` to `high_ns` if there is one.

    All events of that time are kept. It is a time of the boot, at which its first event is not;
    None says that the boot must be kept from its begin.
    """
    events = run.log.events.lazy().filter(pl.col("boot") == boot)
    first = events.select(pl.col("time_ns").min()).collect().item()
    times = (
        events.filter((pl.col("time_ns") > first) & (pl.col("time_ns") <= high_ns))
        .select(pl.col("time_ns").unique(maintain_order=True))
        .collect()["time_ns"]
        .to_numpy()
    )
    if not len(times):
        return None
    near = times[times >= low_ns]
    if not len(near):
        near = times[-1:]
    cost = np.zeros(len(near), np.int64)
    for weight, starts, ends in _burdens(run):
        cost += weight * _under_way(near, starts, ends)
    return int(near[np.flatnonzero(cost == cost.min())[-1]])


def _burdens(run: Timeline) -> list[tuple[int, Integers, Integers]]:
    """(weight, starts, ends) of what is better not under way at the begin."""
    by_items = [task.name for task in run.system.tasks if task.activation not in (None, "delay")]
    in_line = run.jobs.filter(pl.col("task").cast(pl.String).is_in(by_items)).select(
        start_ns="release_ns", end_ns=pl.coalesce("start_ns", "end_ns")
    )
    items = run.queue_items.select(start_ns="send_ns", end_ns="receive_ns")
    asleep = run.occupancy.filter(pl.col("occupant") == "asleep")
    weighed = (
        (16, in_line),
        (16, items),
        (8, run.isr_runs),
        (8, asleep),
        (4, run.lock_waits),
        (4, run.masks),
        (4, run.holds),
        (1, run.jobs.select(start_ns="release_ns", end_ns="end_ns")),
    )
    return [
        (weight, spans["start_ns"].to_numpy(), spans["end_ns"].to_numpy())
        for weight, spans in weighed
    ]


def _under_way(moments: Integers, starts: Integers, ends: Integers) -> Integers:
    """How many of the spans began before each moment and do not end before it."""
    begun = np.searchsorted(np.sort(starts), moments, side="left")
    over = np.searchsorted(np.sort(ends), moments, side="left")
    return np.asarray(begun - over)

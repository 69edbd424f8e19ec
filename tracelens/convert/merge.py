"""Two logs with clocks of their own made one: by marks that both wrote, or by a given offset.

Times of the second are put on the axis of the first by a straight line: its offset and its drift
are fitted to the marks by least squares, and the residual says how well that holds.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from math import fsum
from typing import Any, Final

import numpy as np
import polars as pl

from tracelens.errors import InputError, UsageError
from tracelens.log.writer import COMMON_CLOCK
from tracelens.model.log import Log
from tracelens.model.system import System

MOST_CORE: Final = 255
MOST_DRIFT: Final = 0.01
"""Two oscillators differ by parts in a million; one in a hundred is a mark that means another."""


@dataclass(frozen=True, slots=True)
class Alignment:
    """Time of the first = offset + rate × time of the second, in ns from each log's first event.

    `marks`: how many both wrote. `residual_ns`: largest distance of a mark from the line.
    """

    offset_ns: float
    rate: float
    marks: int
    residual_ns: float

    @property
    def drift_ppm(self) -> float:
        """How much faster the second's clock runs, in parts in a million."""
        return (1 / self.rate - 1) * 1e6


def align(first: Log, second: Log, mark: str) -> Alignment:
    """Fit the line to the marks `mark` that both logs have with the same value.

    Marks with an empty value are paired in their order. One pair gives the offset alone. Raises
    `UsageError` if there is no pair, or if the clocks would differ by more than `MOST_DRIFT`.
    """
    a, b = (_marks(log, mark) for log in (first, second))
    both = a.join(b, on=("value", "nth"), suffix="_b").sort("time_ns", "time_ns_b")
    if both.is_empty():
        raise UsageError(
            f"nothing to align by: found {a.height} marks {mark} in the first log and {b.height} "
            "in the second, none with a value that both have",
            hint="write `mark WORD,NUMBER` on both at the same moment, or give --offset",
        )
    x, y = both["time_ns_b"].to_numpy().astype(float), both["time_ns"].to_numpy().astype(float)
    rate = 1.0
    if both.height > 1 and np.ptp(x) > 0:
        off = x - x.mean()
        rate = fsum(off * (y - y.mean())) / fsum(off * off)
    offset = float(y.mean() - rate * x.mean())
    if abs(rate - 1) > MOST_DRIFT:
        raise UsageError(
            f"the clocks do not fit: found a rate of {rate:.4g}, expected nearly 1",
            hint=f"see that mark {mark} means the same moment in both logs",
        )
    residual = float(np.abs(y - offset - rate * x).max())
    return Alignment(offset, rate, both.height, residual)


def merge(first: Log, second: Log, alignment: Alignment, label: str) -> Log:
    """Events and declarations of both on the first's axis, from the first event of either.

    `label` is put behind the names, and the ids, of the second that the first has too; its cores
    are numbered on. The log's clock counts nanoseconds. Raises `InputError` for a restarted log, or
    if there are no numbers left for the cores.
    """
    for log in (first, second):
        if log.events["boot"].max():
            raise InputError(
                "the target restarted within the log: found more than one boot, expected one",
                place=log.sources[0],
                hint="cut the boots apart first: tracelens cut --from A --to B",
            )
    ours, theirs = first.declared, second.declared
    shift = _last_core(first) + 1
    if (last := _last_core(second) + shift) > MOST_CORE:
        raise InputError(
            f"no numbers are left for its cores: found {last} for the last, expected at most "
            f"{MOST_CORE}",
            place=second.sources[0],
            hint="number the cores of both logs from 0 on",
        )
    taken = {thing.id for thing in _things(ours)} | {thing.name for thing in _things(ours)}
    ids = {
        str(thing.id): f"{thing.id}.{label}" if thing.id in taken else str(thing.id)
        for thing in _things(theirs)
    }
    renamed = _renamed(theirs, ids, {thing.name for thing in _things(ours)}, label)
    tasks = tuple(
        replace(
            task,
            core=None if task.core is None else task.core + shift,
            activation=ids.get(task.activation or "", task.activation),
        )
        for task in renamed["tasks"]
    )
    time = (alignment.offset_ns + alignment.rate * second.events["time_ns"]).round().cast(pl.Int64)
    moved = second.events.with_columns(
        time_ns=time,
        core=pl.col("core") + shift,
        subject=_replaced("subject", ids, shift),
        value=_replaced("value", ids, None),
        part=pl.lit(1, pl.UInt16),
    )
    events = pl.concat([first.events, moved]).sort("time_ns", maintain_order=True)
    start = int(events["time_ns"][0])
    events = events.with_columns(pl.col("time_ns") - start)
    cores = tuple(replace(core, id=core.id + shift, name=f"{core.name}.{label}")
                  for core in theirs.cores)  # fmt: skip
    declared = replace(
        ours,
        clocks=(COMMON_CLOCK,),
        tasks=ours.tasks + tasks,
        isrs=ours.isrs + renamed["isrs"],
        locks=ours.locks + renamed["locks"],
        queues=ours.queues + renamed["queues"],
        cores=ours.cores + cores,
        order=ours.order or theirs.order,
        run={**theirs.run, **ours.run},
        notes=ours.notes + theirs.notes,
    )
    sources = first.sources + second.sources
    return replace(first, events=events, declared=declared, sources=sources, start_ticks=0)


def _marks(log: Log, mark: str) -> pl.DataFrame:
    """Columns time_ns, value, nth: the how-many-th with that value."""
    found = log.events.filter(
        (pl.col("event") == "mark") & (pl.col("subject").cast(pl.String) == mark)
    ).select("time_ns", value=pl.col("value").cast(pl.String).fill_null(""))
    return found.with_columns(nth=pl.int_range(pl.len()).over("value"))


def _last_core(log: Log) -> int:
    """The highest number of a core that the events or the declarations give; 0 if none does."""
    declared = log.declared
    homes = [task.core for task in declared.tasks if task.core is not None]
    seen = log.events["core"].to_numpy()
    return max([int(seen.max(initial=0)), *homes, *(core.id for core in declared.cores)])


def _things(system: System) -> Iterable[Any]:
    return (*system.tasks, *system.isrs, *system.locks, *system.queues)


def _renamed(
    system: System, ids: dict[str, str], names: set[str], label: str
) -> dict[str, tuple[Any, ...]]:
    made = {}
    for group in ("tasks", "isrs", "locks", "queues"):
        made[group] = tuple(
            replace(
                thing,
                id=ids[str(thing.id)],
                name=f"{thing.name}.{label}" if thing.name in names else thing.name,
                line=thing.line and (1, thing.line[1]),
            )
            for thing in getattr(system, group)
        )
    return made


def _replaced(column: str, ids: dict[str, str], shift: int | None) -> pl.Expr:
    """The tokens of a column under their new ids; of sleep and wake the core's new number."""
    token = pl.col(column).cast(pl.String)
    made = token.replace(ids)
    if shift is not None:
        slept = pl.col("event").cast(pl.String).is_in(["sleep", "wake"])
        number = (token.cast(pl.Int64, strict=False) + shift).cast(pl.String)
        made = pl.when(slept & number.is_not_null()).then(number).otherwise(made)
    else:
        # What a wake says of a counter that stood still is in the times already.
        made = pl.when(pl.col("event") != "wake").then(made)
    return made.cast(pl.Categorical())

"""What a replayed run draws, and what would make it draw less."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

import polars as pl

from tracelens.measures.energy import charges, power
from tracelens.measures.load import totals
from tracelens.measures.sleep import sleep
from tracelens.model.results import Timeline
from tracelens.model.system import Power
from tracelens.replay.changes import Change
from tracelens.replay.plan import Plan
from tracelens.spans import union

MOST_WAKERS: Final = 3
TWICE: Final = 2


@dataclass(frozen=True, slots=True)
class Drawn:
    """What a run draws: `average_ma`, `battery_h` (None without a battery), and its wake-ups."""

    average_ma: float
    battery_h: float | None
    wakeups: int


def drawn(run: Timeline) -> Drawn | None:
    """What a run draws; None where no currents are declared."""
    if run.system.power is None:
        return None
    asleep = _asleep(run)
    rows = power(run, charges(run, asleep), asleep).to_dicts()  # few rows: one
    if not rows:
        return None
    return Drawn(rows[0]["average_ma"], rows[0]["battery_h"], rows[0]["wakeups"])


def at_clock(declared: Power, factor: float) -> Power:
    """The currents at another clock: all of `active_ma` but `fixed_ma` goes with it."""
    active = declared.fixed_ma + (declared.active_ma - declared.fixed_ma) * factor
    return replace(declared, active_ma=active)


def savings(run: Timeline, plan: Plan) -> Iterator[tuple[str, tuple[Change, ...]]]:
    """Changes that would make fewer wake-ups: the tasks that wake a core most, half as often."""
    wakers = (
        _asleep(run)
        .select(name="woken_by", wakeups="woken_count")
        .explode("name", "wakeups")
        .drop_nulls()
        .group_by("name")
        .agg(pl.col("wakeups").sum())
        .sort("wakeups", "name", descending=[True, False])["name"]
        .to_list()
    )
    periods = {task.name: task.period_ns for task in run.system.tasks}
    yield from (
        (f"{name} half as often", (Change("period", name, value=TWICE * period),))
        for name in _timed(wakers, plan)[:MOST_WAKERS]
        if (period := periods[name]) is not None
    )


def _timed(names: Sequence[str], plan: Plan) -> list[str]:
    scripts = plan.stretches[0].scripts
    return [name for name in names if name in scripts and scripts[name].period_ns]


def _asleep(run: Timeline) -> pl.DataFrame:
    return sleep(run, totals(run.occupancy), union([(0, run.span_ns)]))

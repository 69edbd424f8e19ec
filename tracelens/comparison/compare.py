"""Two groups of runs → what moved."""

from collections.abc import Sequence
from typing import Final

import numpy as np
import polars as pl

from tracelens.comparison.comparable import blocks, differences
from tracelens.comparison.judge import NEEDS_RUNS, Judged, judge
from tracelens.comparison.observed import Observed
from tracelens.comparison.quantities import Quantity, quantities
from tracelens.comparison.records import Comparison
from tracelens.comparison.resample import Design
from tracelens.errors import UsageError
from tracelens.measures.contract import conform, empty, statistics
from tracelens.model.compared import COMPARISONS, DISTRIBUTIONS, PRESENCE

ERROR_RATE: Final = 0.05
"""The chance of any false alarm in a whole comparison, unless another is asked for."""


def compare(
    old: Sequence[Observed], new: Sequence[Observed], rate: float = ERROR_RATE
) -> Comparison:
    """Hold the new runs against the old ones; at least one a side.

    `rate` is the family-wise error, between 0 and 1: if nothing differs, the chance that anything
    is said to have moved. Raises `UsageError` if the sides have no task in common.
    """
    if not old or not new or not 0 < rate < 1:
        raise UsageError(
            f"nothing to compare: found {len(old)} old and {len(new)} new runs and an error rate "
            f"of {rate:g}, expected a run a side and a rate between 0 and 1"
        )
    told = differences(old, new)
    runs = (*old, *new)
    by_board = blocks([run.setup for run in runs], len(old))
    design = Design(
        new=np.repeat([0.0, 1.0], [len(old), len(new)]),
        block=np.array(by_board or [0] * len(runs), np.int64),
    )
    found = quantities(old, new)
    judged = judge(found, design, rate)
    return Comparison(
        old=tuple(run.setup for run in old),
        new=tuple(run.setup for run in new),
        differences=told,
        rate=rate,
        case=judged.case,
        ways=judged.ways,
        boards=by_board is not None,
        comparisons=_table(found, judged, len(old), rate),
        presence=_presence(old, new),
        distributions=_distributions(old, new),
    )


def _table(found: list[Quantity], judged: Judged, old: int, rate: float) -> pl.DataFrame:
    less_is_worse = np.array([one.name == "stack" for one in found], np.bool_)
    worse = (judged.change > 0) != less_is_worse
    frame = pl.DataFrame(
        {
            "quantity": [one.name for one in found],
            "subject": [one.subject for one in found],
            "unit": [one.unit for one in found],
            "old": [float(np.nanmean(one.value[:old])) for one in found],
            "new": [float(np.nanmean(one.value[old:])) for one in found],
            "change": judged.change,
            "change_low": judged.low,
            "change_high": judged.high,
            "detectable": judged.detectable,
            "p": judged.p,
            "moved": pl.Series(judged.p <= rate).set(pl.Series(~judged.judged), None),
            "worse": pl.Series(worse).set(pl.Series(judged.change == 0), None),
            "above_ns": pl.Series([one.above_ns for one in found], dtype=pl.Int64),
            "unjudged": pl.Series(
                [
                    None if yes else one.unjudged or NEEDS_RUNS
                    for one, yes in zip(found, judged.judged, strict=True)
                ],
                dtype=pl.String,
            ),
        }
    )
    return conform(frame.with_columns(pl.col(pl.Float64).fill_nan(None)), COMPARISONS)


def _presence(old: Sequence[Observed], new: Sequence[Observed]) -> pl.DataFrame:
    subjects = sorted(frozenset[str]().union(*(run.ran for run in (*old, *new))))
    return pl.DataFrame(
        {
            "subject": subjects,
            "old_runs": [sum(name in run.ran for run in old) for name in subjects],
            "new_runs": [sum(name in run.ran for run in new) for name in subjects],
        },
        schema=PRESENCE.schema(),
    )


def _distributions(old: Sequence[Observed], new: Sequence[Observed]) -> pl.DataFrame:
    """Rows by task, then response before execution, then old before new."""
    tables = []
    tasks = dict.fromkeys(task for run in (*old, *new) for task in run.response)
    for task in tasks:
        for what in ("response", "execution"):
            for side, runs in (("old", old), ("new", new)):
                times = [getattr(run, what)[task] for run in runs if task in run.response]
                if not times:
                    continue
                jobs = pl.DataFrame({"jobs": np.concatenate(times)})
                tables.append(
                    jobs.select(
                        pl.lit(task).alias("task"),
                        pl.lit(what).alias("what"),
                        pl.lit(side).alias("side"),
                        pl.len().cast(pl.Int64).alias("number"),
                        *statistics("jobs", "of", ("min", "p50", "p95", "p99", "max")),
                    ).rename(lambda name: name.removeprefix("of_").replace("number", "jobs"))
                )
    return conform(pl.concat(tables), DISTRIBUTIONS) if tables else empty(DISTRIBUTIONS)

"""Observers of the statistics of a sample: response times, holds, latencies, …"""

import math
from dataclasses import replace

import polars as pl

from tracelens.model.budgets import Measure
from tracelens.model.verdicts import Spot
from tracelens.verdicts import samples, spots
from tracelens.verdicts.observation import (
    Observation,
    between,
    exact,
    lost,
    not_judged,
    nothing,
    so_many,
)
from tracelens.verdicts.view import View


def sample(view: View, group: str, name: str, measure: Measure) -> Observation:
    """The statistic that the summary holds, and the interval that what is missing leaves."""
    series, statistic = measure.series, measure.statistic
    counted = samples.COUNTED[group, series]
    seen = samples.values(view, group, name, series)
    running = samples.unfinished(view, group, name, series)
    value = view.rows[group][name][_column(series, statistic)]
    if value is None:
        return _none(view, group, name, measure, running)
    missing = view.missing(group, name, seen.height)
    low, high = samples.bounds(statistic, value, seen["value"].sort(), missing)
    told = between(value, low, high, _why(measure, seen.height, missing, counted))
    decides = seen
    if statistic == "max" and running.height and (longest := _longest(running)) > value:
        # What is not over yet has lasted longer already than all that is: a lower bound.
        told = replace(told, value=longest, low=longest, high=max(high, longest))
        decides = running
    ascending = statistic == "min"
    return told.of(seen.height, counted).at(lambda: spot_of(view, decides, ascending=ascending))


def _none(
    view: View, group: str, name: str, measure: Measure, running: pl.DataFrame
) -> Observation:
    counted = samples.COUNTED[group, measure.series]
    if group == "locks" and measure.series == "wait" and view.rows[group][name]["holds"]:
        missing = view.missing(group, name, view.rows[group][name]["holds"])
        found = exact(0) if not missing else between(0, 0, math.inf, lost(view))
        return found.of(0, counted)
    if measure.statistic == "max" and running.height:
        longest = _longest(running)
        found = between(longest, longest, math.inf, f"none of its {counted} was seen whole")
        return found.of(0, counted).at(lambda: spot_of(view, running, ascending=False))
    return nothing(f"the log shows none of its {counted}").of(0, counted)


def spot_of(view: View, frame: pl.DataFrame, *, ascending: bool) -> Spot | None:
    """The place of the first of the greatest (or least) values of a sample."""
    if frame.is_empty():
        return None
    values = frame["value"]
    index = int((values.arg_min() if ascending else values.arg_max()) or 0)
    at_ns, job_id, task = (frame[column][index] for column in ("at_ns", "job_id", "task"))
    if job_id is not None and task is not None:
        return spots.of_job(view.whole, job_id)
    return spots.of_moment(view.run, at_ns, task)


def _longest(frame: pl.DataFrame) -> int:
    return int(frame["value"].to_numpy().max())


def _column(series: str, statistic: str) -> str:
    prefix = "job_execution" if series == "execution" else series
    return f"{prefix}_{statistic}_ns"


def _why(measure: Measure, count: int, missing: int, counted: str) -> str:
    least = samples.needed(measure.statistic)
    if count < least and missing < least - count:
        return (
            f"{so_many(count, counted)}, too few for the {measure.statistic[1:]}th percentile, "
            f"which takes {least}"
        )
    return not_judged(missing, counted)

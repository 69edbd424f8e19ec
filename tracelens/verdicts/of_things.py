"""Observers of what belongs to cores, handlers, locks, queues, the log and its phases."""

import math
from typing import Any

import polars as pl

from tracelens.model.budgets import Budget
from tracelens.verdicts import spots
from tracelens.verdicts.observation import (
    Observation,
    Observer,
    between,
    exact,
    lost,
    not_judged,
    nothing,
    so_far,
    undeclared,
)
from tracelens.verdicts.statistics import spot_of
from tracelens.verdicts.view import View


def core_load(view: View, name: str, _budget: Budget) -> Observation:
    """Load of a core, between its bounds: all unknown time idle, all of it busy."""
    row = view.rows["cores"][name]
    if row["load"] is None:
        return nothing("the log does not tell what the core did")
    if not row["unknown"] or not view.loses():
        return exact(row["load"])
    return between(row["load"], row["load_low"], row["load_high"], lost(view))


def peak_load(view: View, name: str, _budget: Budget) -> Observation:
    """Peak load of a core. Unknown time may have been idle or busy, all of it in the peak."""
    row = view.rows["cores"][name]
    peak, window_ns = row["peak_load"], row["peak_window_ns"]
    if peak is None:
        return nothing("no stretch of the run is known well enough")
    unknown = view.occupied.get(row["core"], (0, 0))[1] / window_ns
    seen = exact(peak)
    if unknown and view.loses():
        # A window that is less than half known is not measured: nothing bounds its load.
        high = 1 if unknown >= 0.5 else min(peak + unknown, 1)
        seen = between(peak, peak * max(1 - unknown, 0.5), high, lost(view))
    return seen.at(lambda: spots.of_moment(view.run, row["peak_at_ns"]))


def share(column: str) -> Observer:
    """A share of a core's time; the unknown time may belong to it or not."""

    def observe(view: View, name: str, _budget: Budget) -> Observation:
        row = view.rows["cores"][name]
        value, unknown = row[column], row["unknown"]
        if value is None or unknown == 1:
            return nothing("the log does not tell what the core did")
        if not unknown or column == "unknown" or not view.loses():
            return exact(value)
        return between(value, value, value + unknown, lost(view))

    return observe


def wakeups(view: View, name: str, _budget: Budget) -> Observation:
    """Wake-ups a second of known time; a core that never slept has none."""
    row = view.rows["cores"][name]
    if row["unknown"] == 1 or row["unknown"] is None:
        return nothing("the log does not tell what the core did")
    of_core = view.analysis.sleep.filter(pl.col("core") == row["core"])
    value = of_core["wakeups_per_s"][0] if of_core.height else 0.0
    missing = view.missing("cores", name, row["wakeups"])
    low = value * (1 - row["unknown"]) if missing else value
    high = math.inf if missing else value
    seen = between(value, low, high, not_judged(missing, "wake-ups"))
    return seen.of(row["wakeups"], "wake-ups")


def masked(what: str) -> Observer:
    """The longest time with interrupts masked, or the scheduler locked, on a core."""

    def observe(view: View, name: str, _budget: Budget) -> Observation:
        if view.analysis.masked.is_empty():
            return nothing("the log records no masking")
        core = view.rows["cores"][name]["core"]
        found = view.analysis.masked.filter(pl.col("core") == core, pl.col("what") == what)
        if found.is_empty():
            return so_far(0, view.missing("cores", name, 0), "stretches").of(0, "stretches")
        row: dict[str, Any] = found.row(0, named=True)
        missing = view.missing("cores", name, row["count"])
        seen = so_far(row["longest_ns"], missing, "stretches").of(row["count"], "stretches")
        at_ns, who = row["longest_at_ns"], row["longest_who"]
        return seen.at(lambda: spots.of_moment(view.run, at_ns, who))

    return observe


def total(group: str, column: str, counted: str) -> Observer:
    """A count, or a sum of times, of all that was seen; what is missing may add to it."""

    def observe(view: View, name: str, _budget: Budget) -> Observation:
        value = view.rows[group][name][column]
        missing = view.missing(group, name, value if column != "wait_total_ns" else 0)
        if missing and column != "wait_total_ns":
            return between(value, value, value + missing, not_judged(missing, counted))
        return so_far(value, missing, counted)

    return observe


def deadlocks(view: View, name: str, _budget: Budget) -> Observation:
    """Deadlocks in whose cycle the lock is."""
    found = view.run.deadlocks.filter(pl.col("locks").list.contains(name))
    seen = so_far(found.height, view.missing("locks", name, found.height), "deadlocks")
    return seen.at(lambda: spots.of_moment(view.run, found["at_ns"][0]) if found.height else None)


def most_items(view: View, name: str, _budget: Budget) -> Observation:
    """Most items that a queue held."""
    return _items(view, name, view.rows["queues"][name]["most_items"])


def fill(view: View, name: str, _budget: Budget) -> Observation:
    """Most items of a queue / its depth."""
    row = view.rows["queues"][name]
    if not row["depth"]:
        return undeclared("its depth is not declared")
    return _items(view, name, row["most_items"] and row["most_items"] / row["depth"])


def _items(view: View, name: str, value: float | None) -> Observation:
    if value is None:
        return nothing("the log does not tell how many items it holds")
    row = view.rows["queues"][name]
    seen = so_far(value, view.missing("queues", name, row["sends"]), "items")
    return seen.at(lambda: spots.of_moment(view.run, row["most_at_ns"]))


def quality(field: str) -> Observer:
    """How far the log can be trusted: exact, for it is about the log itself."""

    def observe(view: View, _name: str, _budget: Budget) -> Observation:
        return exact(getattr(view.analysis.quality, field))

    return observe


def duration(view: View, _name: str, _budget: Budget) -> Observation:
    """Length of the run."""
    return exact(view.run.span_ns)


def unused_lines(view: View, _name: str, _budget: Budget) -> Observation:
    """Lines of the log that were not used, for whatever reason."""
    return exact(int(view.run.log.unused["count"].sum()))


def phase_length(view: View, name: str, budget: Budget) -> Observation:
    """The longest or the shortest occurrence of a phase, of the whole log.

    One that is still open when the log ends has lasted at least so long.
    """
    lengths = view.analysis.phases.filter(pl.col("phase") == name).select(
        value=pl.col("end_ns") - pl.col("start_ns"),
        at_ns="start_ns",
        job_id=pl.lit(None, pl.Int64),
        task=pl.lit(None, pl.String),
    )
    longest = not budget.measure.least
    values = lengths["value"].to_numpy()
    value = int(values.max() if longest else values.min())
    seen = exact(value)
    if _open(view, name) and (longest or value == values[-1]):
        seen = between(value, value, math.inf, "it has not ended when the log ends")
    return seen.of(lengths.height, "occurrences").at(
        lambda: spot_of(view, lengths, ascending=not longest)
    )


def _open(view: View, name: str) -> bool:
    """Whether the last mark of the phase is a begin."""
    edges = view.run.log.events.filter(
        pl.col("event") == "mark",
        pl.col("subject").cast(pl.String) == name,
        pl.col("value").cast(pl.String).is_in(["begin", "end"]),
    )
    return edges.height > 0 and str(edges["value"][-1]) == "begin"


def occurrences(view: View, name: str, _budget: Budget) -> Observation:
    """How often a phase occurs."""
    return exact(view.analysis.phases.filter(pl.col("phase") == name).height)

"""The sentences of a history: what changed from which run on, and how that was judged."""

from collections.abc import Mapping
from typing import Any, Final

import polars as pl

from tracelens.history.trends import LEAST
from tracelens.numbers import MINUS, count, duration, percent, signed_hundredths, stated

_WHAT: Final = {
    "execution": "Mean execution of {}",
    "longest_execution": "Longest execution of {}",
    "section": "Mean section of {}",
    "longest_section": "Longest section of {}",
    "response": "Mean response time of {}",
    "response_p95": "95th percentile of the response times of {}",
    "longest_response": "Longest response time of {}",
    "misses": "Share of late jobs of {}",
    "load": "Load of {}",
    "peak_load": "Peak load of {}",
    "inversion": "Time that {} is held up by locks of lower tasks",
    "unbounded_inversion": "Time that {} is held up while third parties run",
    "most_items": "Most items in {}",
    "stack": "Least free stack of {}",
}

INDEPENDENT: Final = "The runs are taken as independent of each other."


def verdict(found: pl.DataFrame, runs: int) -> str:
    """What the whole history comes to; `found` is a table of `TRENDS`."""
    judged = found["trend_p"].count()
    if not judged:
        return f"{count(runs, 'run')}: nothing is said of a measure with fewer than {LEAST}."
    changed = found.filter(pl.col("shape").is_not_null())
    over = f"of {count(judged, 'measure')} over {count(runs, 'run')}"
    if changed.is_empty():
        return f"None {over} changes beyond noise."
    worse = int(changed["worse"].sum())
    return f"{changed.height} {over} changed beyond noise, {worse} of them for the worse."


def measure_name(row: Mapping[str, Any]) -> str:
    """The measure of a row of `TRENDS`: 'Mean execution of archive'."""
    return _WHAT[row["measure"]].format(row["subject"])


def course(row: Mapping[str, Any], run: str | None) -> str:
    """One sentence about any row of `TRENDS`; `run` names the one at `changed_at`."""
    if row["shape"] is not None and run is not None:
        return change(row, run)
    over = f"{measure_name(row)}: {count(row['runs'], 'run')}"
    if row["change_p"] is None:
        return f"{over}, of which nothing is said: that takes {LEAST}."
    return f"{over}, and no change beyond noise."


def change(row: Mapping[str, Any], run: str) -> str:
    """One sentence about a row of `TRENDS` that has a shape; `run` names where a step is."""
    what = measure_name(row)
    before, after = (value(row[side], row["unit"]) for side in ("before", "after"))
    if row["shape"] == "step":
        return f"{what}: {before} before {run}, {after} from there on."
    slope, low, high = (
        signed(row[key], row["unit"]) for key in ("slope", "slope_low", "slope_high")
    )
    return f"{what} drifts by {slope} a run ({low} to {high}): {before}, later {after}."


def method(rate: float) -> list[str]:
    """How it was judged, with sources."""
    return [
        *judged(rate),
        f"{INDEPENDENT} Where several boards take turns, look at each by itself: "
        "--where board=NAME. Of several steps the clearest is told; --last N looks at the newest "
        "runs alone.",
    ]


def judged(rate: float) -> list[str]:
    """What the error rate means, and the methods."""
    half = stated(rate / 2)
    return [
        f"If nothing changed from run to run, the chance that anything here would be said to have "
        f"changed is at most {stated(rate)}: {half} for steps, {half} for drifts, each over all "
        "measures together.",
        "Steps: Pettitt 1979, with the runs put into random order for what chance gives (step-down "
        "maxT, Westfall and Young 1993). Drifts: Mann 1945 and Kendall, with the slope of Theil "
        "1950 and Sen 1968; Holm 1979 over all measures.",
    ]


def value(number: float, unit: str) -> str:
    """A value with its unit."""
    if unit == "ns":
        return duration(number)
    if unit == "share":
        return percent(number, 3)
    return f"{number:.3g} {unit}"


def signed(number: float, unit: str) -> str:
    """A change with its sign."""
    if unit == "share":
        return f"{signed_hundredths(number, 3)} points"
    return f"{MINUS if number < 0 else '+'}{value(abs(number), unit)}"


def name(run: Mapping[str, Any]) -> str:
    """How a run of the table `RUNS` is called: by its build if it tells one, and its time."""
    keys = {pair["key"]: pair["value"] for pair in run["keys"]}
    told = [f"build {keys['build']}"] if "build" in keys else [str(run["source"])]
    return f"{told[0]} ({when(run)})"


def when(run: Mapping[str, Any]) -> str:
    """When it started, else when it was added: '2026-03-02 21:04'."""
    return f"{run['start'] or run['added']:%Y-%m-%d %H:%M}"

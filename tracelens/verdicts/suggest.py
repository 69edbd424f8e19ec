"""First budgets from good runs: what they show, and a margin."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

from tracelens.analysis import analyse
from tracelens.formats.budgets_text import number_text
from tracelens.model.budgets import MEASURES, THING, Budget, Budgets, Measure, table_path
from tracelens.model.results import Analysis, Timeline
from tracelens.verdicts.judge import names_of
from tracelens.verdicts.meeting import LOG
from tracelens.verdicts.observation import Observation
from tracelens.verdicts.observers import observe
from tracelens.verdicts.view import View

CHOSEN: Final = {
    "log": ("lost_events_max", "contradictions_max"),
    "cores": ("load_max", "peak_load_max"),
    "tasks": (
        *("response_max_us", "response_p99_us", "misses", "execution_max_us", "load_max"),
        *("stack_free_min_bytes", "inversion_unbounded_max_us"),
    ),
    "isrs": ("run_max_us", "latency_max_us", "load_max"),
    "locks": ("hold_max_us", "wait_max_us", "deadlocks_max"),
    "queues": ("most_items_max", "item_wait_max_us"),
    "chains": ("latency_max_us", "misses"),
}
"""What a first budgets file limits, group by group."""

NO_MARGIN: Final = {"lost_events_max", "contradictions_max", "misses", "deadlocks_max"}
"""What should not be at all: limited to nothing, or not if a run has some."""


@dataclass(frozen=True, slots=True)
class Suggestion:
    """Budgets that the runs pass, and by table why a limit that one might expect is not there."""

    budgets: Budgets
    left_out: dict[tuple[str, ...], list[str]]


def suggest(runs: Sequence[Timeline], margin: float) -> Suggestion:
    """Limits that every run passes: the worst value of all runs, and `margin` (a share) more.

    Only what all runs can tell is limited; where a run leaves a verdict open, the limit is left
    out and the reason told. A response or latency is held to no more than its deadline if the
    runs keep that. Things that some run lacks are left out.
    """
    seen = [analyse(run) for run in runs]
    everywhere = [names_of(analysis, []) for analysis in seen]
    promised = _deadlines(seen)
    idle = {name for analysis in seen for name in analysis.tasks.filter("idle")["task"]}
    probes = list(_probes(everywhere, idle))
    views = [View(analysis, run, 0.0) for analysis, run in zip(seen, runs, strict=True)]
    told = [[observe(view, probe.name or LOG, probe) for probe in probes] for view in views]
    kept, left_out = [], dict[tuple[str, ...], list[str]]()
    for budget, *observed in zip(probes, *told, strict=True):
        found = _limit(budget, observed, margin, promised.get((budget.group, budget.name)))
        if isinstance(found, Budget):
            kept.append(found)
        else:
            path = tuple(table_path(budget.group, budget.name, None))
            left_out.setdefault(path, []).append(f"{budget.measure.key}: {found}")
    return Suggestion(Budgets(limits=tuple(kept)), left_out)


def _probes(everywhere: list[dict[str, list[str]]], idle: set[str]) -> Iterator[Budget]:
    """Budgets without a sensible limit, to learn what is measured."""
    for group, keys in CHOSEN.items():
        names = [""] if group == "log" else everywhere[0][group]
        for name in names:
            if name in idle or (name and any(name not in there[group] for there in everywhere)):
                continue
            for key in keys:
                yield Budget(group, name, MEASURES[group][key], 0.0)


def _deadlines(seen: list[Analysis]) -> dict[tuple[str, str], int]:
    """(group, name) → the shortest deadline of any run, in ns, of what has one."""
    found: dict[tuple[str, str], int] = {}
    for analysis in seen:
        for group, frame in (("tasks", analysis.tasks), ("chains", analysis.chains)):
            told = frame.drop_nulls("deadline_ns")
            for name, ns in zip(told[THING[group]], told["deadline_ns"], strict=True):
                found[group, name] = min(ns, found.get((group, name), ns))
    return found


def _limit(
    budget: Budget, observed: list[Observation], margin: float, deadline: int | None
) -> Budget | str:
    """The budget with a limit that all the runs pass, or why there is none."""
    measure = budget.measure
    edges = [one.low if measure.least else one.high for one in observed]
    doubts = [one.why for one in observed if one.why]
    if any(map(math.isinf, edges)) or (doubts and measure.least):
        return doubts[0]
    worst = min(edges) if measure.least else max(edges)
    if measure.key in NO_MARGIN:
        return f"{number_text(measure, worst)} in a run" if worst else replace(budget, limit=0)
    wanted = worst * (1 - margin) if measure.least else worst * (1 + margin)
    limit = _rounded(wanted, worst, measure)
    if deadline is not None and measure.series in ("response", "latency") and worst <= deadline:
        limit = min(limit, deadline)
    if measure.least and limit <= 0:
        return f"{number_text(measure, worst)} leaves nothing to ask for"
    return replace(budget, limit=limit)


def _rounded(wanted: float, worst: float, measure: Measure) -> float:
    """Three significant digits, rounded away from what was seen; counts and bytes are whole."""
    if measure.unit in ("count", "bytes"):
        return math.floor(wanted) if measure.least else math.ceil(wanted)
    if wanted <= 0:
        return 0
    digits = 2 - math.floor(math.log10(wanted))
    step = 10.0**-digits
    if measure.unit == "us":
        step = max(round(step), 1)
        return (math.floor if measure.least else math.ceil)(wanted / step) * step
    rounded = round((math.floor if measure.least else math.ceil)(wanted / step) * step, digits)
    return max(min(rounded, 1.0), worst) if measure.unit == "share" else rounded

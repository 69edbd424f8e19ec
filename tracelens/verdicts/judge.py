"""Hold a run against its budgets."""

import math
from collections.abc import Callable
from datetime import date

from tracelens.analysis import analyse
from tracelens.measures.phases import phases
from tracelens.model.budgets import Budget, Budgets
from tracelens.model.results import Analysis, Timeline
from tracelens.model.verdicts import PassedOver, Verdict, Verdicts
from tracelens.verdicts.meeting import assign, is_glob, no_such
from tracelens.verdicts.observation import Observation, outcome
from tracelens.verdicts.observers import observe
from tracelens.verdicts.view import NAMED, View


def judge(
    run: Timeline,
    budgets: Budgets,
    today: date,
    *,
    window: tuple[int, int] | None = None,
    phase: str | None = None,
    say: Callable[[str], None] = lambda _what: None,
) -> Verdicts:
    """Every verdict on a run. `window` and `phase` are those of `analyse`, for all the limits.

    Limits under [budgets.phases.X] are judged over that phase instead, within the window. A waiver
    holds up to and including its day, compared with `today`.

    A glob passes over what a limit says nothing about, such as misses of a task without a deadline,
    if it holds for others.

    Raises `SystemFileError` for a name, glob or phase that meets nothing in the run, and what
    `analyse` raises.
    """
    marked = phases(run.log, run.span_ns)["phase"].unique(maintain_order=True).to_list()
    for budget in budgets.limits:
        if budget.phase is not None and budget.phase not in marked:
            raise no_such(budget, budget.phase, "phase of that name", marked, budgets.place)
    say("measuring")
    whole = analyse(run, window=window, phase=phase)
    views: dict[str | None, View] = {None: View(whole, run, budgets.tolerated_loss)}
    for name in budgets.phases():
        if name is not None:
            say(f"measuring phase {name}")
            of_phase = analyse(run, window=window, phase=name)
            views[name] = View(of_phase, run, budgets.tolerated_loss)
    say("judging")
    idle = whole.tasks.filter("idle")["task"].to_list()
    pairs, met = assign(budgets, names_of(whole, marked), idle)
    observed = [(*pair, observe(views[pair[0].phase], pair[1], pair[0])) for pair in pairs]
    applies = {id(budget) for budget, _, seen in observed if not seen.undeclared}
    verdicts, passed_over = [], []
    for budget, name, seen in observed:
        if seen.undeclared and is_glob(budget.name) and id(budget) in applies:
            passed_over.append(PassedOver(budget.table, budget.measure.key, name, seen.why))
        else:
            verdicts.append(verdict(budget, name, seen, today))
    return Verdicts(whole, budgets, tuple(verdicts), tuple(met), tuple(passed_over), today)


def names_of(analysis: Analysis, marked: list[str]) -> dict[str, list[str]]:
    """The names of the run's things, by group; `marked` are those of its phases."""
    named = {
        group: [str(name) for name in getattr(analysis, group)[column]]
        for group, column in NAMED.items()
    }
    return {**named, "phases": marked}


def verdict(budget: Budget, name: str, observed: Observation, today: date) -> Verdict:
    """The verdict of one limit on one thing of which so much is known."""
    found = outcome(observed, budget.measure, budget.limit)
    waiver = budget.waiver
    return Verdict(
        budget=budget,
        name=name,
        outcome=found,
        measured=observed.value,
        low=None if math.isinf(observed.low) else observed.low,
        high=None if math.isinf(observed.high) else observed.high,
        count=observed.count,
        counted=observed.counted,
        why=observed.why,
        spot=None if found == "pass" or observed.value is None else observed.spot(),
        waived=found != "pass" and waiver is not None and today <= waiver.until,
    )

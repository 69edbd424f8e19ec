"""What analysis says of a set, whatever a run shows: bounds, verdicts, and how they come about."""

from functools import lru_cache
from typing import Final

from dash import html
from dash.development.base_component import Component

from tracelens.formats.taskset_toml import parse_taskset
from tracelens.numbers import ABSENT, duration, listing, significant
from tracelens.plain import plain
from tracelens.theory import Schedulability, analyse_set
from tracelens.theory.records import Bound, TaskResult
from tracelens.web.components import sentence

_MOST_STEPS: Final = 12
_MOST_NOTES: Final = 6
_WORDS: Final = {
    "schedulable": "every deadline is met",
    "unschedulable": "a deadline is missed",
    "inconclusive": "not decided",
}
_BOUNDS: Final = {
    "load": "load",
    "liu_layland": "utilisation bound",
    "hyperbolic": "hyperbolic bound",
    "density": "density",
}
_DECIDES: Final = {
    "schedulable": "enough to be sure of every deadline",
    "unschedulable": "more than there is",
    "inconclusive": "which decides nothing by itself",
}
_OF_TASK: Final = {"schedulable": "met", "unschedulable": "missed", "inconclusive": "not decided"}


@lru_cache(maxsize=64)
def analysed(taskset: str) -> Schedulability:
    """The analysis of a task set, given as TOML, that the engine finds no mistake in."""
    return analyse_set(parse_taskset(taskset, "the set"), margins=False)


def worst_case(taskset: str) -> Component:
    """The verdict; and, to be opened, each bound with its iterations and the tests by load."""
    found = analysed(taskset)
    head = [
        html.Th(text, scope="col")
        for text in ("task", "execution", "blocked by", "iterations", "bound", "deadline", "")
    ]
    notes = list(dict.fromkeys([*(t.why for t in found.tasks if t.why), *found.notes]))
    return html.Details(
        [
            html.Summary(["worst case, by analysis: ", html.B(_verdict(found))]),
            html.Table(
                [html.Thead(html.Tr(head)), html.Tbody([_row(task) for task in found.tasks])],
                className="slowest bounds",
            ),
            html.Ul(
                [
                    *(html.Li(_by_load(bound)) for core in found.cores for bound in core.bounds),
                    *(html.Li(sentence(note)) for note in notes[:_MOST_NOTES]),
                ]
            ),
        ],
        className="analysis",
    )


def _verdict(found: Schedulability) -> str:
    if found.verdict == "schedulable" and all(t.contender.deadline_ns is None for t in found.tasks):
        return "there is no deadline to meet"
    return _WORDS[found.verdict]


def _row(task: TaskResult) -> Component:
    one, window = task.contender, task.worst
    steps: list[str] = []
    if window is not None:
        told = [duration(ns) for ns in window.iterations]
        cut = len(told) > _MOST_STEPS
        steps = [*told[: _MOST_STEPS - 1], "…", told[-1]] if cut else told
    return html.Tr(
        [
            html.Th(plain(task.name), scope="row"),
            html.Td(duration(one.cost_ns)),
            html.Td(_blocking(task)),
            html.Td(" → ".join(steps) or ABSENT),
            html.Td(ABSENT if task.response_ns is None else duration(task.response_ns)),
            html.Td(ABSENT if one.deadline_ns is None else duration(one.deadline_ns)),
            html.Td(_OF_TASK[task.verdict] if one.deadline_ns is not None else ""),
        ]
    )


def _blocking(task: TaskResult) -> str:
    if task.blocking is None or not task.blocking.total_ns:
        return ABSENT
    told = [
        plain(f"{blocker.task} by {blocker.lock}" if blocker.lock else blocker.task)
        for blocker in task.blocking.blockers
    ]
    return f"{duration(task.blocking.total_ns)}: {listing(told)}"


def _by_load(bound: Bound) -> str:
    name = _BOUNDS.get(bound.name, bound.name)
    if not bound.applies or bound.value is None or bound.limit is None:
        return f"{name} ({bound.source}): does not apply, {sentence(bound.why)}"
    held = f"{significant(float(bound.value))} against {significant(bound.limit)}"
    return f"{name} ({bound.source}): {held}, {_DECIDES[bound.verdict]}"

"""Can two groups of runs be compared at all, and in what are they not alike?"""

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from typing import Any, Final

from tracelens.comparison.observed import Observed, Setup
from tracelens.comparison.records import Difference
from tracelens.errors import UsageError
from tracelens.findings.thresholds import Limits
from tracelens.numbers import count, duration, listing, percent

BOARD: Final = "board"
BUILD: Final = "build"
"""Keys of `#run` that say what a run was of."""

LENGTH_RATIO: Final = 1.5
"""Longest run / shortest one from which on the lengths are told; common practice."""

Sides = tuple[Sequence[Setup], Sequence[Setup]]


def differences(old: Sequence[Observed], new: Sequence[Observed]) -> tuple[Difference, ...]:
    """In what the runs are not alike, apart from what they are compared by.

    Raises `UsageError` if the sides have no task in common.
    """
    _some_task_in_common(old, new)
    sides = ([run.setup for run in old], [run.setup for run in new])
    found = (_clock, _cores, _policy, _declared, _length, _coverage, _restarts, _builds, _boards)
    told = [one for find in found for one in find(sides)]
    return (*told, *_copies([*old, *new]))


def blocks(runs: Sequence[Setup], old: int) -> list[int] | None:
    """The board of each run as 0, 1, …, if each of several boards has runs of both sides.

    The first `old` runs are the old ones. None if boards are not told, or cannot be blocks: then
    fewer runs than that would be left to tell how runs differ.
    """
    boards = [run.keys.get(BOARD) for run in runs]
    known = list(dict.fromkeys(boards))
    if None in known or len(known) < 2 or len(runs) < len(known) + 2:
        return None
    if set(boards[:old]) != set(boards[old:]):
        return None
    return [known.index(board) for board in boards]


def _some_task_in_common(old: Sequence[Observed], new: Sequence[Observed]) -> None:
    before = frozenset[str]().union(*(run.response for run in old))
    after = frozenset[str]().union(*(run.response for run in new))
    if not before & after:
        raise UsageError(
            "these runs cannot be compared: found no task that has jobs on both sides "
            f"(old: {listing(sorted(before)) or 'none'}; new: {listing(sorted(after)) or 'none'})",
            hint="tasks are compared by their names; see `tracelens report` for those of each run",
        )


def _clock(sides: Sides) -> Iterator[Difference]:
    if told := _unlike(sides, lambda run: f"{run.hz} Hz"):
        yield Difference(
            "note",
            "clock",
            f"Clocks count differently: {told}. No change finer than the coarser tick is claimed.",
        )


def _cores(sides: Sides) -> Iterator[Difference]:
    if told := _unlike(sides, lambda run: count(run.cores, "core")):
        yield Difference(
            "warning", "cores", f"The number of cores differs: {told}. Loads do not compare."
        )


def _policy(sides: Sides) -> Iterator[Difference]:
    if told := _unlike(sides, lambda run: run.policy):
        yield Difference("warning", "policy", f"The scheduling policy differs: {told}.")
    if told := _unlike(sides, lambda run: run.order or "no order"):
        yield Difference("warning", "policy", f"Priorities count in different directions: {told}.")


def _declared(sides: Sides) -> Iterator[Difference]:
    """Priorities, periods and deadlines of the tasks that both sides have."""
    tasks = list(dict.fromkeys(task for side in sides for run in side for task in run.priorities))
    fields: list[tuple[str, str, str, Callable[[Setup, str], Any]]] = [
        ("priority", "priorities", "", lambda run, task: run.priorities[task]),
        ("period", "periods", "ns", lambda run, task: run.periods.get(task)),
        ("deadline", "deadlines", "ns", lambda run, task: run.deadlines.get(task)),
    ]
    for what, kind, unit, get in fields:
        unlike: list[str] = []
        for task in tasks:
            old, new = ({get(run, task) for run in s if task in run.priorities} for s in sides)
            if old and new and (old != new or len(old) > 1):
                unlike.append(f"{task} {_values(old, unit)} → {_values(new, unit)}")
        if unlike:
            consequence = {
                "priority": "that alone moves response times",
                "period": "that alone moves loads and response times",
                "deadline": "that alone moves misses",
            }[what]
            yield Difference(
                "note", kind, f"Declared otherwise, {what}: {listing(unlike)}; {consequence}."
            )


def _length(sides: Sides) -> Iterator[Difference]:
    spans = [run.span_ns for side in sides for run in side]
    if min(spans) * LENGTH_RATIO < max(spans):
        yield Difference(
            "warning",
            "length",
            f"The runs are {duration(min(spans))} to {duration(max(spans))} long: start-up weighs "
            "more in a short one, and a long one has more time to show a longest response.",
        )


def _coverage(sides: Sides) -> Iterator[Difference]:
    poor = [
        f"{run.name} ({percent(run.coverage)})"
        for side in sides
        for run in side
        if run.coverage < Limits().coverage
    ]
    if poor:
        yield Difference(
            "warning",
            "coverage",
            f"Part of the core time is not known in {listing(poor)}. Losses come when a core is "
            "busiest, so loads and response times may look better there than they were.",
        )


def _restarts(sides: Sides) -> Iterator[Difference]:
    several = [f"{run.name} ({run.boots} boots)" for side in sides for run in side if run.boots > 1]
    if several:
        yield Difference("warning", "restarts", f"The target restarted in {listing(several)}.")


def _builds(sides: Sides) -> Iterator[Difference]:
    for word, side in zip(("old", "new"), sides, strict=True):
        builds = [*dict.fromkeys(build for run in side if (build := run.keys.get(BUILD)))]
        if len(builds) > 1:
            yield Difference(
                "warning",
                "builds",
                f"The {word} runs are of several builds ({listing(builds)}): what differs among "
                "them counts as noise.",
            )


def _boards(sides: Sides) -> Iterator[Difference]:
    old, new = ({run.keys.get(BOARD) for run in side} for side in sides)
    if None in old | new or old == new:
        return
    if not old & new:
        yield Difference(
            "warning",
            "boards",
            f"The sides ran on different boards ({listing(sorted(map(str, old)))}; "
            f"{listing(sorted(map(str, new)))}): what moved may be due to the boards, and nothing "
            "here can tell.",
        )
    else:
        yield Difference(
            "note",
            "boards",
            "Not every board ran both sides, so boards are not compared with themselves and what "
            "they differ by counts as noise.",
        )


def _copies(runs: Sequence[Observed]) -> Iterator[Difference]:
    for place, run in enumerate(runs):
        for other in runs[place + 1 :]:
            if run.same_jobs(other):
                yield Difference(
                    "warning",
                    "copies",
                    f"{run.setup.name} and {other.setup.name} have exactly the same jobs: a copy "
                    "of a run says nothing about how runs differ.",
                )


def _unlike(sides: Sides, text: Callable[[Setup], str]) -> str:
    """'old A, new B' if the runs differ; '' if they do not."""
    told = [Counter(text(run) for run in side) for side in sides]
    if set(told[0]) == set(told[1]) and len(told[0]) == 1:
        return ""
    old, new = (listing([value for value, _ in one.most_common()]) for one in told)
    return f"old {old}, new {new}"


def _values(values: set[Any], unit: str) -> str:
    known = sorted(value for value in values if value is not None)
    told = [duration(value) if unit == "ns" else str(value) for value in known]
    return " or ".join([*told, *(["none"] if None in values else [])])

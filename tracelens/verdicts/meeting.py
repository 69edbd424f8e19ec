"""Which things of a run a name or a glob of the budgets meets."""

import difflib
from collections.abc import Mapping, Sequence
from fnmatch import fnmatchcase
from typing import Final

from tracelens.errors import SystemFileError
from tracelens.model.budgets import THING, Budget, Budgets

LOG: Final = "log"
"""What a verdict on the log itself is about."""

_GLOB: Final = set("*?[")


def is_glob(name: str) -> bool:
    """Whether a name may meet several things (shell pattern, POSIX.1-2017 XCU 2.13)."""
    return bool(_GLOB & set(name))


def assign(
    budgets: Budgets, names: Mapping[str, Sequence[str]], idle: Sequence[str]
) -> tuple[list[tuple[Budget, str]], list[tuple[str, tuple[str, ...]]]]:
    """Each limit with each thing that it holds for, and what each glob met.

    `names` are those of the run by group; a glob passes over the tasks `idle`. For one measure of
    one thing in one phase a name written out goes before a glob, and the later glob before the
    earlier. Raises `SystemFileError` for what meets nothing.
    """
    chosen: dict[tuple[str | None, str, str, str], Budget] = {}
    met: dict[str, tuple[str, ...]] = {}
    for budget in budgets.limits:
        every = names[budget.group] if budget.group != "log" else [LOG]
        found = [LOG] if budget.group == "log" else _meets(budget, every, idle, budgets.place)
        exact = budget.name in every or budget.group == "log"
        if not exact:
            met[budget.table] = tuple(found)
        for name in found:
            key = (budget.phase, budget.group, name, budget.measure.key)
            before = chosen.get(key)
            if before is None or exact or before.name not in every:
                chosen[key] = budget
    pairs = [(budget, key[2]) for key, budget in chosen.items()]
    rank = {id(budget): index for index, budget in enumerate(budgets.limits)}
    pairs.sort(key=lambda pair: rank[id(pair[0])])
    return pairs, list(met.items())


def _meets(budget: Budget, names: Sequence[str], idle: Sequence[str], place: str) -> list[str]:
    if budget.name in names:
        return [budget.name]
    globbed = is_glob(budget.name)
    found = [name for name in names if name not in idle and fnmatchcase(name, budget.name)]
    if globbed and found:
        return found
    thing = THING[budget.group]
    what = "that the glob meets" if globbed else "of that name"
    raise no_such(budget, budget.name, f"{thing} {what}", names, place, 0.4 if globbed else 0.6)


def no_such(
    budget: Budget, wanted: str, what: str, names: Sequence[str], place: str, cutoff: float = 0.6
) -> SystemFileError:
    """The error for what the log does not have, with the nearest name that it has."""
    near = difflib.get_close_matches(wanted.strip("*?"), names, 1, cutoff=cutoff)
    said = f": did you mean {near[0]}?" if near else ""
    there = f"the log has {', '.join(names)}" if names else "the log names none at all"
    return SystemFileError(
        f"{budget.table}: the log has no {what}{said}",
        place=place if budget.line is None else f"{place}:{budget.line}",
        hint=None if near else there,
    )

"""The kinds of exercises, and drawing one from a seed."""

from collections.abc import Callable
from difflib import get_close_matches
from random import Random
from typing import Final

from tracelens.errors import UsageError
from tracelens.exercises.bound_blocking import bound_blocking
from tracelens.exercises.compute_demand import compute_demand
from tracelens.exercises.draw_schedule import draw_schedule
from tracelens.exercises.find_response import find_response
from tracelens.exercises.name_inversion import name_inversion
from tracelens.exercises.records import Exercise

KINDS: Final[dict[str, Callable[[Random, int], Exercise]]] = {
    "schedule": draw_schedule,
    "response": find_response,
    "blocking": bound_blocking,
    "inversion": name_inversion,
    "demand": compute_demand,
}


def make(kind: str, seed: int) -> Exercise:
    """The exercise of this kind and seed, always the same. Raises `UsageError` for another kind."""
    if kind not in KINDS:
        near = get_close_matches(kind, KINDS, 1)
        raise UsageError(
            f"no such kind of exercise: found {kind!r}, expected one of {', '.join(KINDS)}",
            hint=f"did you mean {near[0]}?" if near else "see tracelens exercise make --help",
        )
    return KINDS[kind](Random(f"{kind}/{seed}"), seed)

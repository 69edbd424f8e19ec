"""Worst-case response times under fixed priorities: every contender of every core."""

from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Final

from tracelens.theory.blocking import Blocking, blocking, ceilings
from tracelens.theory.rivals import Arriving, Responses, arriving, own, rival
from tracelens.theory.windows import (
    FOREVER,
    Own,
    Rival,
    TooLongError,
    Window,
    busy_period,
    meets,
    windows,
)
from tracelens.theory.workload import Contender, Workload, higher_or_equal

_ORIGINAL: Final = "original_ceiling"
MOST_ROUNDS: Final = 64
"""Rounds in which responses and the jitter they cause may settle."""


@dataclass(frozen=True, slots=True)
class Found:
    """The response of one contender and what it rests on."""

    response_ns: int | None
    why: str | None = None
    blocking: Blocking | None = None
    windows: tuple[Window, ...] = ()
    own: Own | None = None
    above: tuple[Rival, ...] = ()
    overload: bool = False


@dataclass(frozen=True, slots=True)
class Case:
    """One contender ready for the recurrence; `why` says why it is not."""

    why: str | None = None
    blocking: Blocking | None = None
    own: Own | None = None
    above: tuple[Rival, ...] = ()
    blocking_ns: int = 0
    floor: tuple[tuple[Rival, ...], int] | None = None  # a whole busy period bounds it


def responses(workload: Workload) -> dict[str, Found]:
    """Every contender's worst response, by name, under fixed priorities.

    Where responses cause jitter (chains of releases, suspension, the tick's handler) they are
    computed again until nothing moves.
    """
    found = _settled(workload, hurry=False)
    assert found is not None
    return found


def _settled(workload: Workload, *, hurry: bool) -> dict[str, Found] | None:
    """The responses; in a `hurry` None as soon as one is late, for they only grow."""
    known: dict[str, int | None] = {c.name: 0 for c in workload.contenders}
    found: dict[str, Found] = {}
    for _ in range(MOST_ROUNDS if linked(workload) else 1):
        before = dict(known)
        for core in workload.cores:
            for one in workload.of_core(core):
                found[one.name] = _respond(case(one, workload, known))
                response = known[one.name] = found[one.name].response_ns
                if hurry and (response is None or response > (one.deadline_ns or FOREVER)):
                    return None
        if known == before or not linked(workload):
            return found
    if not linked(workload):
        return found
    moved = "its releases depend on responses that grow without end"
    return {name: Found(None, moved, one.blocking) for name, one in found.items()}


def linked(workload: Workload) -> bool:
    """Whether the response of one contender can be jitter of another."""
    plain = {name for name, rule in workload.locks.items() if rule.protocol == "none"}
    return any(
        c.triggers or c.after or c.suspensions or any(s.lock in plain for s in c.sections)
        for c in workload.contenders
    )


def feasible(workload: Workload) -> bool:
    """Whether every task is shown to meet its deadline: the same test, in a hurry."""
    if linked(workload):
        found = _settled(workload, hurry=True)
        return found is not None and all(f.response_ns is not None for f in found.values())
    return all(fits(one, workload) for core in workload.cores for one in workload.of_core(core))


def fits(one: Contender, workload: Workload) -> bool:
    """Whether one contender meets its deadline, where no response causes another's jitter."""
    given = case(one, workload, {})
    if given.why is not None or given.own is None:
        return False
    if one.deadline_ns is None and given.floor is None:
        try:
            return _level_load(given) <= 1
        except TooLongError:
            return False
    if given.floor is not None:
        response = _respond(given).response_ns
        return response is not None and (one.deadline_ns is None or response <= one.deadline_ns)
    assert one.deadline_ns is not None
    return meets(given.own, given.above, given.blocking_ns, one.deadline_ns)


def case(one: Contender, workload: Workload, known: Responses) -> Case:
    """What is in the way of `one`, and what it brings itself."""
    others = workload.of_core(one.core)
    held = blocking(one, others, workload.locks)
    why = one.cannot or shared(one, workload) or held.cannot or _migrating(one, workload)
    if why is not None:
        return Case(why, held)
    itself = arriving(one, workload, known)
    if itself is None:
        return Case("what releases it has no bound on its response", held)
    above = []
    for other in others:
        if other is not one and higher_or_equal(other, one):
            came = None if other.cannot and not other.streams else arriving(other, workload, known)
            deferred = _deferred(other, one.level or 0, workload)
            if came is None or (deferred and known.get(other.name) is None):
                why = f"the work of {other.name}, which goes before it, has no bound"
                return Case(why, held)
            above.append(rival(came, one, workload, known, deferred=deferred))
    lost = held.total_ns + workload.wake_ns
    floor = None
    if held.floor is not None:
        floor = _floor(one, held.floor, itself, workload, known)
        if floor is None:
            return Case("a plain lock makes it wait for tasks whose work has no bound", held)
    return Case(None, held, own(itself, workload, held.total_ns), tuple(above), lost, floor)


def _respond(given: Case) -> Found:
    if given.why is not None or given.own is None:
        return Found(None, given.why, given.blocking)
    base = (given.blocking, given.own, given.above)
    try:
        if given.floor is not None:
            return _whole(given)
        found = windows(given.own, given.above, given.blocking_ns)
    except TooLongError:
        return Found(None, "its busy period is too long to follow", base[0], (), *base[1:])
    if found is None:
        why = "the load of it and of what goes before it is more than its core"
        return Found(None, why, base[0], (), base[1], base[2], overload=True)
    response = max(window.response_ns for window in found)
    return Found(response, None, base[0], tuple(found), base[1], base[2])


def _whole(given: Case) -> Found:
    """The bound where a plain lock lets others run in between: a whole busy period."""
    assert given.floor is not None
    assert given.own is not None
    parts, lost = given.floor
    length = busy_period(parts, lost)
    if length is None:
        why = "a plain lock makes it wait for tasks that may be active without end"
        return Found(None, why, given.blocking)
    response = length + given.own.jitter_ns
    window = Window(1, (length,), length, response)
    why = (
        "a plain lock lets tasks of middle priority run while it waits: "
        "the whole busy period of the lowest holder is its bound"
    )
    return Found(response, why, given.blocking, (window,), given.own, parts)


def _floor(
    one: Contender, level: int, itself: Arriving, workload: Workload, known: Responses
) -> tuple[tuple[Rival, ...], int] | None:
    """All work of the level that a plain lock makes `one` wait for, and what blocks that level."""
    others = workload.of_core(one.core)
    parts = []
    lowest = one
    for other in others:
        if other.handler or (other.level or 0) >= level:
            came = itself if other is one else arriving(other, workload, known)
            deferred = _deferred(other, level, workload)
            if came is None or (deferred and known.get(other.name) is None):
                return None
            part = rival(came, one, workload, known, oblivious=True, deferred=deferred)
            parts.append((other, part))
            lowest = other if other.level == level and not other.handler else lowest
    lost = blocking(lowest, others, workload.locks).total_ns
    held = tuple(
        replace(part, cost_ns=part.cost_ns + lost * other.suspensions) for other, part in parts
    )
    return held, lost + workload.wake_ns


def _deferred(other: Contender, level: int, workload: Workload) -> bool:
    """Whether `other` may wait for a plain lock while work below `level` has the core."""
    if not other.waits or not any(rule.protocol == "none" for rule in workload.locks.values()):
        return False
    floor = blocking(other, workload.of_core(other.core), workload.locks).floor
    return floor is not None and floor < level


def _level_load(given: Case) -> Fraction:
    assert given.own is not None
    itself = Rival("", given.own.streams, given.own.cost_ns)
    return sum((part.utilisation for part in (*given.above, itself)), Fraction())


def shared(one: Contender, workload: Workload) -> str | None:
    """Why there is no bound: locks of tasks of several cores, whose waits are not bounded here."""
    if one.handler:
        return None
    tasks = [c for c in workload.contenders if not c.handler]
    highest = ceilings(tasks, workload.locks, transitive=True)
    # The original ceiling protocol asks for the highest ceiling of all locks that are held.
    original = {name for name, rule in workload.locks.items() if rule.protocol == _ORIGINAL}
    for locks in [original, *({name} for name in workload.locks)]:
        users = [t for t in tasks if any(s.lock in locks for s in t.sections)]
        cores = {task.core for task in users}
        reach = max((highest[name] for name in locks & highest.keys()), default=0)
        if len(cores) > 1 and one.core in cores and (one.level or 0) <= reach:
            named = ", ".join(sorted(locks & highest.keys()))
            return f"tasks of several cores share {named}, and this analysis is of one core"
    return None


def _migrating(one: Contender, workload: Workload) -> str | None:
    """Tasks free to run on any core, in the way of `one` on its own."""
    if one.handler or workload.policy == "edf":
        return None
    for other in workload.contenders:
        if other.migrates and other is not one and (other.level or 0) >= (one.level or 0):
            return f"{other.name}, which goes before it, may run on any core"
    return None

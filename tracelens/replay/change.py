"""A plan with something changed is another plan."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Final

from tracelens.engine.listed import Until
from tracelens.engine.state import NEVER
from tracelens.engine.work import (
    ACTIVATE,
    BLANK,
    END,
    LOCK,
    RECEIVE,
    RELEASE,
    RUN,
    UNLOCK,
    UNTIL,
    Op,
)
from tracelens.errors import UsageError
from tracelens.model.system import Lock, System, Task
from tracelens.replay.changes import Change, check
from tracelens.replay.plan import Plan, Runs, Script, Stretch
from tracelens.replay.power import at_clock

Ops = list[Op]
_TIMED: Final = (UNTIL, END)


def locks_taken(plan: Plan) -> dict[str, set[str]]:
    """The names of the locks that each replayed task takes."""
    names = [lock.name for lock in plan.system.locks]
    taken: dict[str, set[str]] = {}
    for stretch in plan.stretches:
        for name, script in stretch.scripts.items():
            mine = taken.setdefault(name, set())
            mine.update(names[op[1]] for op in script.ops if op[0] == LOCK)
    return taken


def changed(plan: Plan, changes: Sequence[Change]) -> Plan:
    """The plan with all changes. Raises `UsageError` for those that cannot be made."""
    check(changes, plan.system, locks_taken(plan))
    before = plan
    for change in changes:
        plan = _MAKE[change.kind](plan, change)
    return replace(plan, system=_ceilings(plan, before))


# ------------------------------------------------------------------ of the system


def _priority(plan: Plan, change: Change) -> Plan:
    return _task(plan, change.subject, lambda task: replace(task, priority=change.value))


def _protocol(plan: Plan, change: Change) -> Plan:
    locks = tuple(
        replace(lock, protocol=change.protocol, ceiling=None)
        if lock.name == change.subject
        else lock
        for lock in plan.system.locks
    )
    return replace(
        plan,
        system=replace(plan.system, locks=locks),
        original_ceiling=plan.original_ceiling - {change.subject},
    )


def _ceilings(plan: Plan, before: Plan) -> System:
    """Immediate ceilings that are not declared, or that followed priorities which have changed."""
    system = plan.system
    higher = system.order != "lower_first"
    old, new = _most_urgent_users(before, higher), _most_urgent_users(plan, higher)

    def ceiling(lock: Lock) -> Lock:
        user = new.get(lock.name)
        if lock.protocol != "ceiling" or lock.name in plan.original_ceiling or user is None:
            return lock
        if lock.ceiling is None or lock.ceiling == old.get(lock.name):
            return replace(lock, ceiling=user)
        return replace(lock, ceiling=max(user, lock.ceiling) if higher else min(user, lock.ceiling))

    return replace(system, locks=tuple(map(ceiling, system.locks)))


def _most_urgent_users(plan: Plan, higher: bool) -> dict[str, int]:
    """The priority of the most urgent user of each lock."""
    found: dict[str, int] = {}
    taken = locks_taken(plan)
    for task in plan.system.tasks:
        mine = task.priority
        if mine is not None:
            for lock in taken.get(task.name, ()):
                known = found.get(lock, mine)
                found[lock] = max(known, mine) if higher else min(known, mine)
    return found


def _task(plan: Plan, name: str, make: Callable[[Task], Task]) -> Plan:
    tasks = tuple(make(task) if task.name == name else task for task in plan.system.tasks)
    return replace(plan, system=replace(plan.system, tasks=tasks))


# ------------------------------------------------------------------ of the work


def _stretches(plan: Plan, make: Callable[[Stretch], Stretch]) -> Plan:
    return replace(plan, stretches=tuple(map(make, plan.stretches)))


def _of_script(plan: Plan, name: str, make: Callable[[Script, Stretch], Script]) -> Plan:
    def new(stretch: Stretch) -> Stretch:
        if name not in stretch.scripts:
            return stretch
        scripts = {**stretch.scripts, name: make(stretch.scripts[name], stretch)}
        return replace(stretch, scripts=scripts)

    return _stretches(plan, new)


def _longer(ops: Sequence[Op], factor: float) -> Ops:
    return [
        (code, what, _scaled(time, factor)) if code == RUN else (code, what, time)
        for code, what, time in ops
    ]


def _scaled(ns: int, factor: float) -> int:
    return max(1, round(ns * factor)) if ns else 0


def _scale(plan: Plan, change: Change) -> Plan:
    def script(one: Script, _stretch: Stretch) -> Script:
        return replace(one, ops=_longer(one.ops, change.factor))

    plan = _of_script(plan, change.subject, script)
    return _handlers(plan, change.factor, change.subject)


def _handlers(plan: Plan, factor: float, name: str | None = None) -> Plan:
    def runs(one: Runs) -> Runs:
        if name not in (None, one.name):
            return one
        return replace(one, bodies=[tuple(_longer(body, factor)) for body in one.bodies])

    return _stretches(plan, lambda s: replace(s, handlers=tuple(map(runs, s.handlers))))


def _clock(plan: Plan, change: Change) -> Plan:
    factor = 1 / change.factor

    def stretch(one: Stretch) -> Stretch:
        return replace(
            one,
            scripts={
                name: replace(script, ops=_longer(script.ops, factor))
                for name, script in one.scripts.items()
            },
            costs={
                kind: [_scaled(cost, factor) for cost in costs] for kind, costs in one.costs.items()
            },
        )

    plan = _handlers(_stretches(plan, stretch), factor)
    power = plan.system.power
    system = plan.system
    if power is not None:
        system = replace(system, power=at_clock(power, change.factor))
    return replace(plan, usual_cost_ns=_scaled(plan.usual_cost_ns, factor), system=system)


def _section(plan: Plan, change: Change) -> Plan:
    lock = next(n for n, known in enumerate(plan.system.locks) if known.name == change.lock)

    def script(one: Script, _stretch: Stretch) -> Script:
        depth = 0
        ops: Ops = []
        for code, what, time in one.ops:
            if what == lock and code in (LOCK, UNLOCK):
                depth = depth + 1 if code == LOCK else max(0, depth - 1)
            inside = code == RUN and depth
            ops.append((code, what, _scaled(time, change.factor) if inside else time))
        return replace(one, ops=ops)

    return _of_script(plan, change.subject, script)


def _core(plan: Plan, change: Change) -> Plan:
    core = next(n for n, known in enumerate(plan.system.cores) if known.id == change.value)
    plan = _of_script(
        plan, change.subject, lambda one, _stretch: replace(one, core=core, pinned=True)
    )
    return _task(plan, change.subject, lambda task: replace(task, core=change.value))


def _without(plan: Plan, change: Change) -> Plan:
    """The task is never activated; what others would have given it goes nowhere."""
    name = change.subject
    number = list(plan.stretches[0].scripts).index(name)

    def kept(ops: Sequence[Op]) -> Ops:
        return [op for op in ops if op[0] not in (RELEASE, ACTIVATE) or op[1] != number]

    def stretch(one: Stretch) -> Stretch:
        scripts = {
            other: replace(script, ops=kept(script.ops)) for other, script in one.scripts.items()
        }
        scripts[name] = Script(name, ops=[(BLANK, 0, 0)], removed=True)
        handlers = tuple(
            replace(runs, bodies=[tuple(kept(body)) for body in runs.bodies])
            for runs in one.handlers
        )
        return replace(one, scripts=scripts, handlers=handlers)

    mine = {op[1] for one in plan.stretches for op in one.scripts[name].ops if op[0] == RECEIVE}
    queues = tuple(
        replace(queue, depth=None) if n in mine else queue
        for n, queue in enumerate(plan.system.queues)
    )
    return replace(_stretches(plan, stretch), system=replace(plan.system, queues=queues))


# ------------------------------------------------------------------ of the time


def _offset(plan: Plan, change: Change) -> Plan:
    later = change.value
    _must_be_timed(plan, change)

    def until(one: Until) -> Until:
        if one.arrival >= NEVER:
            return one
        return one._replace(arrival=one.arrival + later, due=one.due + later)

    def script(one: Script, _stretch: Stretch) -> Script:
        times = one.activations if one.unseen else [at + later for at in one.activations]
        return replace(one, untils=list(map(until, one.untils)), activations=times)

    def declared(task: Task) -> Task:
        return task if task.offset_ns is None else replace(task, offset_ns=task.offset_ns + later)

    return _task(_of_script(plan, change.subject, script), change.subject, declared)


def _period(plan: Plan, change: Change) -> Plan:
    _must_be_timed(plan, change)
    period = change.value

    def script(one: Script, stretch: Stretch) -> Script:
        if any(until.arrival < NEVER for until in one.untils):
            return _repeated_waits(one, period, stretch.end_ns)
        return _repeated_activations(one, period, stretch.end_ns)

    plan = _of_script(plan, change.subject, script)
    return _task(plan, change.subject, lambda task: replace(task, period_ns=period))


def _must_be_timed(plan: Plan, change: Change) -> None:
    scripts = [stretch.scripts.get(change.subject) for stretch in plan.stretches]
    timed = any(
        script is not None
        and (
            any(until.arrival < NEVER for until in script.untils)
            or (len(script.activations) > 1 and any(op[0] == END for op in script.ops))
        )
        for script in scripts
    )
    if not timed:
        raise UsageError(
            f"{change}: {change.subject} is not released by time in this run",
            hint="something else releases it: change that",
        )


def _repeated_waits(one: Script, period: int, end_ns: int) -> Script:
    """The bodies between releases, at another rate; from the first again if need be."""
    places = [n for n, op in enumerate(one.ops) if op[0] == UNTIL]
    timed = [n for n in places if one.untils[one.ops[n][1]].arrival < NEVER]
    bodies = [one.ops[a + 1 : b] for a, b in pairwise(places)]
    bodies = bodies or [[op for op in one.ops[timed[-1] + 1 :] if op[0] != BLANK]]
    first = one.untils[one.ops[timed[0]][1]]
    ops, untils = one.ops[: timed[0]], []
    number = 0
    while (due := first.due + number * period) < end_ns:
        old = one.untils[one.ops[timed[number % len(timed)]][1]]
        untils.append(old._replace(due=due, arrival=due + old.arrival - old.due))
        ops.append((UNTIL, number, 0))
        ops.extend(bodies[number % len(bodies)])
        number += 1
    untils.append(Until(NEVER, NEVER, first.word, False))
    ops += [(UNTIL, number, 0), (BLANK, 0, 0)]
    return replace(one, ops=ops, untils=untils)


def _repeated_activations(one: Script, period: int, end_ns: int) -> Script:
    bodies: list[Ops] = [[]]
    for op in one.ops:
        if op[0] == BLANK:
            break
        bodies[-1].append(op)
        if op[0] == END:
            bodies.append([])
    bodies = bodies[:-1] or bodies
    first = one.activations[0]
    times = list(range(first, end_ns, period))
    ops: Ops = []
    for number in range(len(times)):
        ops.extend(bodies[number % len(bodies)])
    return replace(one, ops=[*ops, (BLANK, 0, 0)], activations=times)


_MAKE: Final[dict[str, Callable[[Plan, Change], Plan]]] = {
    "priority": _priority,
    "protocol": _protocol,
    "scale": _scale,
    "clock": _clock,
    "period": _period,
    "offset": _offset,
    "core": _core,
    "without": _without,
    "section": _section,
}

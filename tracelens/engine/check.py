"""Does a task set make sense? Each mistake is one `SystemFileError`, in the file's own words."""

from collections.abc import Iterator
from difflib import get_close_matches

from tracelens.errors import SystemFileError
from tracelens.model.taskset import Program, Step, TaskSet


def check(taskset: TaskSet, *, to_run: bool = True) -> None:
    """Raise `SystemFileError` for the first mistake found.

    Not `to_run`, but to be analysed: then what the engine cannot do is no mistake.
    """
    for problem, hint in problems(taskset, to_run=to_run):
        raise SystemFileError(problem, place=taskset.place, hint=hint)


def problems(taskset: TaskSet, *, to_run: bool = True) -> Iterator[tuple[str, str | None]]:
    """Every mistake, as (what is wrong, a hint)."""
    yield from _names(taskset)
    yield from _clock(taskset)
    for name, program in taskset.programs.items():
        where = f"{'isrs' if name in _isrs(taskset) else 'tasks'}.{name}"
        for body in (program.body, *(job.body for job in program.given or ())):
            yield from _unknown(taskset, where, body)
        if program.given is None:
            yield from _pairing(where, program.body)
        if name in _isrs(taskset):
            yield from _handler(where, program)
    yield from _activations(taskset)
    yield from _ceilings(taskset, to_run)
    yield from _receivers(taskset)
    yield from _cycles(taskset)


def _isrs(taskset: TaskSet) -> set[str]:
    return {isr.name for isr in taskset.system.isrs}


def _names(taskset: TaskSet) -> Iterator[tuple[str, str | None]]:
    system = taskset.system
    seen: dict[str, str] = {}
    for kind, things in (
        ("tasks", system.tasks),
        ("isrs", system.isrs),
        ("locks", system.locks),
        ("queues", system.queues),
    ):
        for thing in things:
            for word in {thing.id, thing.name}:
                if word in seen:
                    yield f"{kind}.{thing.name}: the name {word!r} is {seen[word]} already", None
                seen[word] = f"{kind}.{thing.name}"


def _clock(taskset: TaskSet) -> Iterator[tuple[str, str | None]]:
    system = taskset.system
    if not any(clock.core is None for clock in system.clocks):
        yield "no clock: expected [clock] with hz", None
    if system.order is None and any(task.priority is not None for task in system.tasks):
        yield (
            "priorities without an order",
            'add [priority] order = "higher_first" or "lower_first"',
        )
    for task in system.tasks:
        if task.priority is not None and task.priority < 0:
            yield f"tasks.{task.name}.priority: found {task.priority}, expected 0 or more", None
        if task.priority is None and not task.idle and system.policy != "edf":
            yield f"tasks.{task.name}: no priority, and the policy is {system.policy}", None
    if system.policy == "round_robin" and not taskset.kernel.slice_ns:
        yield "policy round_robin without a slice", "add slice_us under [policy]"
    if taskset.kernel.clock_stops and len(system.cores) > 1:
        yield "kernel.clock_stops: a counter that several cores share cannot stop", None


def _unknown(
    taskset: TaskSet, where: str, body: tuple[Step, ...]
) -> Iterator[tuple[str, str | None]]:
    system = taskset.system
    known = {
        "lock": [lock.name for lock in system.locks],
        "send": [queue.name for queue in system.queues],
        "activate": [task.name for task in system.tasks if task.activation == "activate"],
    }
    known["unlock"], known["receive"] = known["lock"], known["send"]
    for number, step in enumerate(body, 1):
        if step.kind in known and step.what not in known[step.kind]:
            what = {"lock": "lock", "unlock": "lock", "activate": "task with activation=activate"}
            near = get_close_matches(step.what or "", known[step.kind], 1)
            yield (
                f"{where}.body: step {number}: {step.what!r} is not a "
                f"{what.get(step.kind, 'queue')}",
                f"did you mean {near[0]}?" if near else _list(known[step.kind]),
            )


def _list(names: list[str]) -> str:
    return f"there are {', '.join(names)}" if names else "there are none"


def _pairing(where: str, body: tuple[Step, ...]) -> Iterator[tuple[str, str | None]]:
    held: list[str] = []
    for number, step in enumerate(body, 1):
        if step.kind == "lock" and step.what:
            held.append(step.what)
        elif step.kind == "unlock" and step.what:
            if step.what not in held:
                yield (
                    f"{where}.body: step {number}: unlocks {step.what}, which it does not hold",
                    None,
                )
            else:
                held.remove(step.what)
    if held:
        yield (
            f"{where}.body: the section of {held[-1]} is longer than the job: it is never unlocked",
            f'add "unlock {held[-1]}"',
        )
    if not any(step.kind == "run" for step in body):
        yield f"{where}.body: it never runs: expected at least one step run", None


def _handler(where: str, program: Program) -> Iterator[tuple[str, str | None]]:
    for number, step in enumerate(program.body, 1):
        if step.kind not in ("run", "send", "activate", "mark"):
            yield f"{where}.body: step {number}: a handler cannot {step.kind}", None


def _activations(taskset: TaskSet) -> Iterator[tuple[str, str | None]]:
    queues = {queue.name for queue in taskset.system.queues}
    consumers: dict[str, str] = {}
    for task in taskset.system.tasks:
        if task.idle:
            continue
        where = f"tasks.{task.name}"
        program = taskset.programs.get(task.name)
        if program is None:
            yield f"{where}: it has no work", "give it a body"
            continue
        if task.activation == "delay":
            if task.period_ns is None and program.given is None:
                yield (
                    f"{where}: activation delay without a period",
                    'a task that time does not release on a grid has activation = "activate"',
                )
        elif task.activation in queues:
            if task.activation in consumers:
                yield (
                    f"{where}.activation: {task.activation} releases "
                    f"{consumers[task.activation]} already",
                    None,
                )
            consumers[task.activation] = task.name
        elif task.activation != "activate":
            yield (
                f"{where}.activation: found {task.activation!r}, expected delay, activate, "
                "or a queue",
                None,
            )


def _ceilings(taskset: TaskSet, to_run: bool) -> Iterator[tuple[str, str | None]]:
    system = taskset.system
    more = 1 if system.order == "higher_first" else -1
    for lock in system.locks:
        if to_run and lock.protocol == "ceiling" and system.policy == "edf":
            yield f"locks.{lock.name}.protocol: no ceilings under earliest deadline first", None
        if lock.ceiling is None:
            continue
        for task in system.tasks:
            program = taskset.programs.get(task.name)
            bodies = (
                () if program is None else (program.body, *(j.body for j in program.given or ()))
            )
            uses = any(s.kind == "lock" and s.what == lock.name for body in bodies for s in body)
            if uses and task.priority is not None and more * task.priority > more * lock.ceiling:
                yield (
                    f"locks.{lock.name}.ceiling: {lock.ceiling} is below the priority "
                    f"{task.priority} of {task.name}, which uses it",
                    None,
                )


def _receivers(taskset: TaskSet) -> Iterator[tuple[str, str | None]]:
    consumers = {task.activation: task.name for task in taskset.system.tasks}
    for name, program in taskset.programs.items():
        for step in program.body:
            if step.kind == "receive" and step.what in consumers:
                yield (
                    f"tasks.{name}.body: receives from {step.what}, whose items release "
                    f"{consumers[step.what]}",
                    None,
                )


def _cycles(taskset: TaskSet) -> Iterator[tuple[str, str | None]]:
    """Tasks that release each other in a circle would never come to rest."""
    consumers = {task.activation: task.name for task in taskset.system.tasks if task.activation}
    releases: dict[str, list[str]] = {}
    for name, program in taskset.programs.items():
        for step in program.body:
            target = step.what if step.kind == "activate" else None
            if step.kind == "send":
                target = consumers.get(step.what or "")
            if target is not None:
                releases.setdefault(name, []).append(target)
    done: set[str] = set()
    for first in releases:
        path: list[str] = []
        found = _walk(first, releases, path, done)
        if found:
            yield f"a cycle of releases: {' → '.join(found)}", None
            return


def _walk(
    name: str, releases: dict[str, list[str]], path: list[str], done: set[str]
) -> list[str] | None:
    if name in path:
        return [*path[path.index(name) :], name]
    if name in done:
        return None
    path.append(name)
    for target in releases.get(name, ()):
        found = _walk(target, releases, path, done)
        if found:
            return found
    path.pop()
    done.add(name)
    return None

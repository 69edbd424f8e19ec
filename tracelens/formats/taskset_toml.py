"""A task set: the schema's tables → a system with its work."""

from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from tracelens.errors import SystemFileError
from tracelens.formats.program_text import body, bytes_of, duration
from tracelens.formats.toml_schema import (
    IsrTable,
    LockTable,
    Number,
    SystemFile,
    TaskTable,
    parse_toml,
    read_toml,
)
from tracelens.model.system import Chain, Clock, Core, Isr, Lock, Queue, System, Task
from tracelens.model.taskset import Duration, Kernel, Program, Step, TaskSet
from tracelens.units import NS_PER_S, NS_PER_US, us_to_ns

TICK: Final = "tick"
_HZ: Final = 1_000_000


def read_taskset(path: str | Path) -> TaskSet:
    """Read a task-set file. Raises `SystemFileError`; what the words mean is checked on running."""
    return taskset(read_toml(path))


def parse_taskset(text: str, place: str = "task set") -> TaskSet:
    """The same for text that is in memory already."""
    return taskset(parse_toml(text, place))


def taskset(file: SystemFile) -> TaskSet:
    """A task set from a file's tables.

    A missing clock counts microseconds. A task without `activation` waits for its delay if it
    has a period, else it is activated. Each core gets an idle task, unless the file declares
    one or says `idle = false` under [kernel].
    """
    kernel = _kernel(file)
    tasks = tuple(_task(name, table, file.place) for name, table in file.tasks.items())
    cores = tuple(Core(table.id, name) for name, table in file.cores.items())
    programs = {
        name: _program(f"tasks.{name}", table, file.place)
        for name, table in file.tasks.items()
        if not table.idle
    }
    for name, isr in file.isrs.items():
        programs[name] = _program(f"isrs.{name}", isr, file.place)
    isrs = [Isr(table.id or name, name, table.priority) for name, table in file.isrs.items()]
    if kernel.tick_ns is not None:
        if TICK not in file.isrs:
            order = file.priority.order or "higher_first"
            isrs.append(Isr(TICK, TICK, _least_urgent(order, [isr.priority for isr in isrs])))
        cost = Duration(kernel.tick_cost_ns, kernel.tick_cost_ns)
        programs[TICK] = Program((Step("run", time=cost),), period_ns=kernel.tick_ns)
    system = System(
        clocks=(_clock(file),),
        order=file.priority.order,
        policy=file.policy.name or "fixed",
        tasks=(*_idle_tasks(file, tasks, cores, kernel), *tasks),
        isrs=tuple(isrs),
        locks=tuple(_lock(name, table) for name, table in file.locks.items()),
        queues=tuple(Queue(t.id or name, name, t.depth) for name, t in file.queues.items()),
        cores=cores,
        chains=tuple(
            Chain(name, tuple(table.path), _ns(table.deadline_us))
            for name, table in file.chains.items()
        ),
        run={key: str(value) for key, value in file.run.items()},
    )
    until = file.simulation.until_us
    original = frozenset(
        name for name, table in file.locks.items() if table.protocol == "original_ceiling"
    )
    return TaskSet(
        system=_with_ceilings(system, programs, original),
        programs=programs,
        kernel=kernel,
        original_ceiling=original,
        drops=frozenset(name for name, table in file.queues.items() if table.full == "drop"),
        until_ns=None if until is None else us_to_ns(until),
        seed=file.simulation.seed,
        place=file.place,
    )


def _ns(us: Number | None) -> int | None:
    return None if us is None else us_to_ns(us)


def _clock(file: SystemFile) -> Clock:
    given: dict[str, Any] = {"hz": file.clock.hz or _HZ, "bits": file.clock.bits or 32}
    if file.clock.late_us is not None:
        given["late_ns"] = us_to_ns(file.clock.late_us)
    if not 1 <= given["hz"] <= NS_PER_S:
        raise SystemFileError(
            f"clock.hz: found {given['hz']}, expected 1 to {NS_PER_S}", place=file.place
        )
    return Clock(**given)


def _kernel(file: SystemFile) -> Kernel:
    table, policy = file.kernel, file.policy
    return Kernel(
        preemptive=policy.preemptive is not False,
        slice_ns=_ns(policy.slice_us),
        switch_ns=_ns(table.switch_us) or 0,
        tick_ns=_ns(table.tick_us),
        tick_cost_ns=_ns(table.tick_cost_us) or 0,
        idle=table.idle is not False,
        sleep=bool(table.sleep),
        wake_ns=_ns(table.wake_us) or 0,
        clock_stops=bool(table.clock_stops),
    )


def _least_urgent(order: str, priorities: list[int | None]) -> int:
    known = [priority for priority in priorities if priority is not None]
    if order == "higher_first":
        return max(0, min(known, default=1) - 1)
    return max(known, default=0) + 1


def _task(name: str, table: TaskTable, place: str) -> Task:
    activation = table.activation
    if activation is None and not table.idle:
        activation = "activate" if table.period_us is None else "delay"
    separation = table.separation_us
    if separation is None and table.every is not None:
        separation = duration(table.every, f"tasks.{name}.every", place).low_ns / NS_PER_US
    return Task(
        table.id or name,
        name,
        table.priority,
        _ns(table.period_us),
        _ns(separation),
        # A period without an offset has its grid at 0; to say so keeps the reading exact.
        _ns(table.offset_us if table.period_us is None else table.offset_us or 0),
        _ns(table.deadline_us),
        table.stack_bytes,
        activation,
        table.core,
        table.idle,
    )


def _idle_tasks(
    file: SystemFile, tasks: tuple[Task, ...], cores: tuple[Core, ...], kernel: Kernel
) -> tuple[Task, ...]:
    if not kernel.idle or any(task.idle for task in tasks):
        return ()
    last = max([core.id for core in cores] + [task.core or 0 for task in tasks], default=0)
    order = file.priority.order or "higher_first"
    priority = _least_urgent(order, [task.priority for task in tasks])
    if all(task.priority is None for task in tasks):
        return tuple(Task(name, name, core=n, idle=True) for n, name in _idle_names(last))
    return tuple(Task(name, name, priority, core=n, idle=True) for n, name in _idle_names(last))


def _idle_names(last: int) -> list[tuple[int, str]]:
    return [(0, "idle")] if last == 0 else [(index, f"idle{index}") for index in range(last + 1)]


def _lock(name: str, table: LockTable) -> Lock:
    if table.protocol == "original_ceiling":
        return Lock(table.id or name, name, "ceiling")
    return Lock(table.id or name, name, table.protocol or "none", table.ceiling)


def _with_ceilings(
    system: System, programs: dict[str, Program], original: frozenset[str]
) -> System:
    """Immediate ceilings that the file leaves out: the priority of the most urgent user."""
    locks = []
    for lock in system.locks:
        if lock.protocol == "ceiling" and lock.ceiling is None and lock.name not in original:
            users = [
                task.priority
                for task in system.tasks
                if task.priority is not None
                and any(
                    step.kind == "lock" and step.what == lock.name
                    for step in programs.get(task.name, Program()).body
                )
            ]
            if users:
                highest = max(users) if system.order == "higher_first" else min(users)
                lock = replace(lock, ceiling=highest)
        locks.append(lock)
    return replace(system, locks=tuple(locks))


def _program(where: str, table: TaskTable | IsrTable, place: str) -> Program:
    steps = _steps(where, table, place)
    gap = None
    if table.every is not None:
        gap = duration(table.every, f"{where}.every", place)
    elif isinstance(table, TaskTable) and table.separation_us is not None:
        gap = Duration(us_to_ns(table.separation_us), us_to_ns(table.separation_us))
    stack_use = None
    per_us = 0.0
    if isinstance(table, TaskTable):
        if table.stack_use is not None:
            stack_use = bytes_of(table.stack_use, f"{where}.stack_use", place)
        per_us = float(table.stack_per_us or 0)
    releases = table.releases_us
    return Program(
        body=steps,
        releases_ns=None if releases is None else tuple(us_to_ns(us) for us in releases),
        period_ns=_ns(table.period_us),
        offset_ns=_ns(table.offset_us) or 0,
        jitter_ns=_ns(table.jitter_us) or 0,
        gap=gap,
        most_jobs=table.most_jobs,
        core=table.core,
        pend=isinstance(table, IsrTable) and bool(table.pend),
        stack_use=stack_use,
        stack_per_us=per_us,
    )


def _steps(where: str, table: TaskTable | IsrTable, place: str) -> tuple[Step, ...]:
    """The body as written, or made from `execution` and `sections`: the sections first."""
    if table.body is not None:
        if table.execution is not None:
            raise SystemFileError(f"{where}: body and execution both given", place=place)
        return body(table.body, f"{where}.body", place)
    if table.execution is None:
        raise SystemFileError(
            f"{where}: no body", place=place, hint='for example body = ["run 200"]'
        )
    whole = duration(table.execution, f"{where}.execution", place)
    steps: list[Step] = []
    spent = 0
    for lock, us in ((table.sections if isinstance(table, TaskTable) else None) or {}).items():
        length = us_to_ns(us)
        spent += length
        if spent > whole.low_ns:
            raise SystemFileError(
                f"{where}.sections.{lock}: sections of {spent / 1000:g} µs are longer than the "
                f"task, which runs {whole.low_ns / 1000:g}",
                place=place,
            )
        steps += [
            Step("lock", lock),
            Step("run", time=Duration(length, length)),
            Step("unlock", lock),
        ]
    rest = Duration(whole.low_ns - spent, whole.high_ns - spent, whole.tail)
    if rest.high_ns > 0:
        steps.append(Step("run", time=rest))
    return tuple(steps)

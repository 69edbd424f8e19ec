"""The machine's state at the begin of a boot: what is declared, and everything else unknown."""

from dataclasses import dataclass

import numpy as np

from tracelens.model.system import Lock, Queue, Task
from tracelens.reconstruct import arena as a
from tracelens.reconstruct.names import Named

_POLICIES = {"fixed": a.FIXED, "edf": a.EDF, "round_robin": a.ROUND_ROBIN}


@dataclass(frozen=True, slots=True)
class Facts:
    """What holds for the whole log: one entry a task, in the order of system.tasks."""

    idle: tuple[bool, ...]
    modes: tuple[int, ...]
    activations: tuple[int, ...]  # index into Named.objects; -1
    late_ns: int


def is_idle(task: Task) -> bool:
    """Declared so, or else by a name that begins with 'idle' in any case."""
    return task.idle if task.idle is not None else task.name.lower().startswith("idle")


def early_ns(task: Task) -> int:
    """How far before a declared grid point a release still belongs to it: an eighth of a period.

    Releases come late, not early; the eighth is for counters coarser than the declared offset.
    """
    return (task.period_ns or 0) // 8


def facts(named: Named) -> Facts:
    """How each task's jobs are told, and which tasks are idle tasks."""
    index = {name: number for number, name in enumerate(named.objects)}
    records: tuple[Lock | Queue, ...] = (*named.system.locks, *named.system.queues)
    names = {record.id: record.name for record in records}
    modes, activations = [], []
    for number, task in enumerate(named.system.tasks):
        thing = names.get(task.activation or "", task.activation)
        if is_idle(task):
            mode = a.NO_JOBS
        elif number in named.marked:
            mode = a.BY_MARKS
        elif task.activation is None:
            mode = a.BY_RELEASE
        elif task.activation == "activate":
            mode = a.BY_ACTIVATE
        elif thing in named.stocked:
            mode = a.BY_QUEUE
        else:
            mode = a.BY_OBJECT
        modes.append(mode)
        activations.append(index.get(thing or "", -1))
    shared = [clock.late_ns for clock in named.system.clocks if clock.core is None]
    late = shared or [clock.late_ns for clock in named.system.clocks]
    return Facts(
        idle=tuple(is_idle(task) for task in named.system.tasks),
        modes=tuple(modes),
        activations=tuple(activations),
        late_ns=late[0] if late else 0,
    )


def fill(
    memory: np.ndarray,
    named: Named,
    about: Facts,
    next_core: np.ndarray,
    idle_at: np.ndarray,
    grid: dict[int, int],
    start_ns: int,
    known_empty: np.ndarray,
) -> None:
    """Write the state at the begin of a boot at `start_ns` into an arena that is all zero.

    next_core: the core of each task's first start; idle_at[core, task]: whether it starts there;
    grid: the origin of the nominal releases of a task that declares none; known_empty: of
    each object whether it is a queue that is empty now.
    """
    memory[a.NOW] = start_ns
    memory[a.POLICY] = _POLICIES[named.system.policy]
    memory[a.LATE] = about.late_ns
    memory[a.DIRTY] = 1
    _fill_tasks(memory, named, about, next_core, grid, start_ns)
    _fill_cores(memory, named, about, idle_at, start_ns)
    _fill_objects(memory, named, about, known_empty)
    isrs = memory[a.ISRS] + np.arange(len(named.system.isrs)) * a.ISR_WIDTH
    memory[isrs + a.PENDED] = a.NONE


def _fill_tasks(
    memory: np.ndarray,
    named: Named,
    about: Facts,
    next_core: np.ndarray,
    grid: dict[int, int],
    start_ns: int,
) -> None:
    tasks = named.system.tasks
    rows = memory[a.TASKS] + np.arange(len(tasks)) * a.TASK_WIDTH
    turn = -1 if named.system.order == "lower_first" else 1
    core_of = {core.id: number for number, core in enumerate(named.system.cores)}

    def put(field: int, values: object) -> None:
        memory[rows + field] = values

    for field in (
        a.CORE, a.READY_ON, a.RELEASE_CORE, a.WAIT_OBJECT, a.HELD, a.LOCK, a.WANTED, a.HEAD,
        a.TAIL, a.REMOTE_RELEASE, a.ENTRY, a.BY, a.VIA, a.LOOKS, a.ACTIVE_AT, a.PUSH_BY,
        a.PUSH_LOCK, a.WAIT_OWNER, a.HELD_BACK, a.FIRST_RELEASE,
    ):  # fmt: skip
        put(field, a.NONE)
    put(a.STATE, a.UNKNOWN)
    put(a.SINCE, start_ns)
    put(a.LAST_OWN, start_ns)
    put(a.ENTRY_SINCE, start_ns)
    put(a.LOOK, next_core)
    only = 0 if len(named.system.cores) == 1 else a.NONE
    put(a.HOME, [core_of.get(task.core, only) if task.core is not None else only for task in tasks])
    base = [a.NO_PRIORITY if t.priority is None else t.priority * turn for t in tasks]
    put(a.BASE, base)
    put(a.EFFECTIVE, base)
    put(a.MODE, about.modes)
    put(a.ACTIVATION, about.activations)
    put(a.PERIOD, [task.period_ns or 0 for task in tasks])
    put(a.DEADLINE, [a.NONE if t.deadline_ns is None else t.deadline_ns for t in tasks])
    put(a.IDLE, about.idle)
    put(
        a.OFFSET,
        [
            grid.get(number, a.FAR) if task.offset_ns is None else start_ns + task.offset_ns
            for number, task in enumerate(tasks)
        ],
    )
    put(a.SLACK, [0 if t.offset_ns is None else early_ns(t) for t in tasks])


def _fill_cores(
    memory: np.ndarray, named: Named, about: Facts, idle_at: np.ndarray, start_ns: int
) -> None:
    cores = named.system.cores
    rows = memory[a.CORES] + np.arange(len(cores)) * a.CORE_WIDTH
    for field in (a.RUN, a.WHO):
        memory[rows + field] = a.NONE
    for field in (a.LAST, a.ACCRUED, a.OCCUPANT_SINCE):
        memory[rows + field] = start_ns
    memory[rows + a.OCCUPANT] = a.NOBODY_KNOWS
    memory[rows + a.CORE_TOUCHED] = 1
    for number, idle in enumerate(about.idle):
        if not idle:
            continue
        task = named.system.tasks[number]
        homes = set(np.flatnonzero(idle_at[:, number]).tolist())
        homes |= {n for n, core in enumerate(cores) if core.id == task.core}
        if not homes and len(cores) == 1:
            homes = {0}
        for core in homes:
            memory[rows[core] + a.HAS_IDLE] = 1


def _fill_objects(memory: np.ndarray, named: Named, about: Facts, known_empty: np.ndarray) -> None:
    rows = memory[a.OBJECTS] + np.arange(len(named.objects)) * a.OBJECT_WIDTH
    for field in (a.OWNER, a.FROM, a.FIRST_ITEM, a.LAST_ITEM, a.CONSUMER):
        memory[rows + field] = a.NONE
    memory[rows + a.IS_LOCK] = [name in named.locks for name in named.objects]
    memory[rows + a.IS_QUEUE] = [name in named.stocked for name in named.objects]
    memory[rows + a.LEVEL_KNOWN] = known_empty
    turn = -1 if named.system.order == "lower_first" else 1
    ceilings = {
        lock.name: lock.ceiling * turn
        for lock in named.system.locks
        if lock.ceiling is not None and lock.protocol == "ceiling"
    }
    memory[rows + a.CEILING] = [ceilings.get(name, a.NO_PRIORITY) for name in named.objects]
    consumers: dict[int, list[int]] = {}
    for number, (mode, thing) in enumerate(zip(about.modes, about.activations, strict=True)):
        if mode == a.BY_QUEUE and thing >= 0:
            consumers.setdefault(thing, []).append(number)
    for thing, numbers in consumers.items():
        takers = {who for who in named.takers[named.objects[thing]] if who >= 0}
        alone = len(numbers) == 1 and takers <= {numbers[0]}
        memory[rows[thing] + a.CONSUMER] = numbers[0] if alone else a.SHARED

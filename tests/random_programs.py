"""Random systems for the toy kernel: tasks of every kind of activation, locks, queues, ISRs."""

from collections.abc import Callable
from dataclasses import dataclass, field
from random import Random

from tests.toy_kernel import Kernel
from tests.toy_parts import Habits, Isr, Lock, Program, Row, Steps, Task


@dataclass
class System:
    cores: int
    habits: Habits
    policy: str
    higher_first: bool
    tasks: dict[str, dict[str, str | int]] = field(default_factory=dict)  # declared keys
    kernel_tasks: list[tuple[str, int, Program, int | None, bool]] = field(default_factory=list)
    locks: list[tuple[str, str, int, bool]] = field(default_factory=list)
    queues: list[tuple[str, int | None]] = field(default_factory=list)
    isrs: list[str] = field(default_factory=list)
    activated: list[str] = field(default_factory=list)
    signals: list[str] = field(default_factory=list)
    section: int = 8  # the longest run inside a critical section
    eager: float = 0.45  # how often a piece of work is a critical section
    mortal: bool = False  # tasks are suspended for good, wait without end, dead-lock

    def number(self, urgency: int) -> int:
        return urgency if self.higher_first else 100 - urgency


def random_system(rng: Random, cores: int) -> System:
    habits = Habits(
        preempt_recorded=rng.random() < 0.5,
        overhead=rng.choice((0, 0, 1, 3)),
        request_recorded=rng.random() < 0.8,
        requeue_recorded=rng.random() < 0.5,
        restore=rng.choice(("at once", "with the last", "never")),
        promises=rng.random() < 0.6,
        spins=cores > 1 and rng.random() < 0.6,
        slice=rng.choice((0, 0, 7)),
        sleeps=rng.random() < 0.25,
        pends=rng.random() < 0.4,
        says_who=rng.random() < 0.5,
    )
    policy = rng.choices(("fixed", "edf", "round_robin"), (8, 1, 1))[0]
    system = System(cores, habits, policy, higher_first=rng.random() < 0.75)
    for name in ("bus", "panel", "flash")[: rng.randint(0, 3)]:
        protocol = rng.choice(("none", "inherit", "inherit", "ceiling", "ceiling"))
        system.locks.append((name, protocol, rng.randint(2, 5), rng.random() < 0.5))
    for name in ("rows", "mail")[: rng.randint(0, 2)]:
        system.queues.append((name, rng.choice((None, 4, 8))))
    system.section = rng.choice((8, 8, 25))
    system.eager = rng.choice((0.3, 0.5, 0.8))
    system.mortal = rng.random() < 0.2
    system.signals = ["door", "frame"][: rng.randint(0, 2)]
    system.isrs = ["edge", "dma", "tick"][: rng.randint(0, 3)]
    _random_tasks(rng, system)
    return system


def _random_tasks(rng: Random, system: System) -> None:
    idle = rng.choice(("one per core", "one per core", "by name", "none"))
    if idle != "none":
        for core in range(system.cores):
            name = f"idle{core}" if idle == "one per core" else f"IDLE_{core}"
            keys: dict[str, str | int] = {"priority": system.number(0)}
            if idle == "one per core":
                keys |= {"idle": "yes", "core": core}
            system.tasks[name] = keys
            system.kernel_tasks.append((name, 0, _idle, core, True))
    kinds = ["delay", "none", "activate", "period", "marks"]
    kinds += ["queue"] * bool(system.queues) + ["signal"] * bool(system.signals)
    for number in range(rng.randint(2, 6)):
        name = ("high", "mid", "low", "pump", "scan", "panel_task")[number]
        kind = rng.choice(kinds)
        urgency = rng.randint(1, 5)
        keys = {"priority": system.number(urgency), "deadline_us": rng.choice((1, 20, 60))}
        if rng.random() < 0.05:
            del keys["priority"]
        if rng.random() < 0.1:
            del keys["deadline_us"]
        pinned = rng.randrange(system.cores) if rng.random() < 0.5 else None
        if pinned is not None and rng.random() < 0.7:
            keys["core"] = pinned
        program = _PROGRAMS[kind](rng, system, name, keys)
        system.tasks[name] = keys
        system.kernel_tasks.append((name, urgency, program, pinned, False))


def run_system(rng: Random, system: System, events: int) -> list[Row]:
    kernel = Kernel(Random(rng.random()), system.cores, system.habits)
    for name, protocol, ceiling, declared in system.locks:
        kernel.locks[name] = Lock(
            name, protocol, ceiling, declared_ceiling=protocol == "ceiling" and declared
        )
    for queue, _ in system.queues:
        kernel.items[queue] = 0
    for name, urgency, program, core, idle in system.kernel_tasks:
        kernel.tasks[name] = Task(
            name, urgency, program, core=core, idle=idle, eff=urgency, base=urgency
        )
    for level, name in enumerate(system.isrs):
        low = rng.choice((5, 20, 60))
        kernel.isrs.append(
            Isr(
                name,
                level,
                rng.randrange(system.cores),
                rng.randint(1, 40),
                (low, low * 3),
                _isr_acts(rng, system),
            )
        )
    if system.locks and rng.random() < 0.3:
        kernel.write("unlock", "-", system.locks[0][0])
    midway = rng.random() < 0.2  # the log begins when the system has run for a while
    for task in kernel.tasks.values():
        if midway:
            task.state = "ready"
        else:
            kernel.activate(task.name)
    return [
        (time, core, word, subject, _number(system, value))
        for time, core, word, subject, value in kernel.run(events)
    ]


def _number(system: System, value: str) -> str:
    if value.startswith("('urgency'"):
        return str(system.number(int(value.split(", ")[1][:-1])))
    return value


def _idle(kernel: Kernel, task: Task) -> Steps:
    while True:
        yield ("run", 100)


def _body(rng: Random, system: System, kernel: Kernel, task: Task) -> Steps:
    """One job's work: runs, critical sections, sends, marks."""
    for _ in range(rng.randint(1, 3)):
        yield ("run", rng.randint(1, 12))
        if system.locks and rng.random() < system.eager:
            yield from _section(rng, system, kernel, task, ())
        else:
            yield from _piece(rng, system, kernel, task)


def _piece(rng: Random, system: System, kernel: Kernel, task: Task) -> Steps:
    """Something other than a critical section."""
    choices = ["mask", "delay", "stack", "mark", "again", "suspend", "priority", "patience"]
    choices += ["send"] * 2 * bool(system.queues) + ["signal"] * 2 * bool(system.signals)
    choices += ["activate"] * 2 * bool(system.activated)
    what = rng.choice(choices)
    if what == "send":
        yield ("send", rng.choice(system.queues)[0])
    elif what == "signal":
        yield ("signal", rng.choice(system.signals))
    elif what == "activate":
        other = rng.choice(system.activated)
        if other != task.name:
            yield ("activate", other)
    elif what == "mask":
        kind = rng.choice(("irq", "sched"))
        yield ("mask", kind)
        yield ("run", rng.randint(1, 6))
        yield ("unmask", kind)
    elif what == "delay":
        yield ("delay", rng.randint(3, 15))
    elif what == "patience":
        yield ("wait", "", rng.randint(3, 15))
    elif what == "stack":
        yield ("write", "stack", task.name, rng.randint(100, 400))
    elif what == "mark":
        yield ("write", "mark", "frame_done", rng.randint(0, 9))
    elif what == "again":
        yield ("write", "start", task.name, "")
    elif what == "priority":
        if not task.held:
            task.base = task.eff = rng.randint(1, 5)
            yield ("write", "priority", task.name, system.number(task.base))
    elif what == "suspend":
        other = rng.choice(list(kernel.tasks))
        if other != task.name and not kernel.tasks[other].idle:
            yield ("suspend", other)
            yield ("run", rng.randint(1, 9))
            if kernel.tasks[other].state == "suspended" and not system.mortal:
                yield ("activate", other)


def _section(
    rng: Random, system: System, kernel: Kernel, task: Task, inside: tuple[str, ...]
) -> Steps:
    """A critical section, which may hold others; locks are nested in order of declaration."""
    order = [row[0] for row in system.locks]
    if inside and not system.mortal:
        order = order[order.index(inside[-1]) :]
    name = rng.choice(order)
    patience = rng.randint(3, 30) if rng.random() < 0.25 else None
    yield ("lock", name, patience)
    if kernel.locks[name].owner is not task:
        return
    yield ("run", rng.randint(1, system.section))
    if len(inside) < 2 and rng.random() < 0.3:
        yield from _section(rng, system, kernel, task, (*inside, name))
        yield ("run", rng.randint(1, 3))
    if rng.random() < 0.1:
        yield ("delay", rng.randint(2, 12))
    if kernel.locks[name].owner is task:
        yield ("unlock", name)


def _cyclic(rng: Random, system: System, sleep: Program, **marks: bool) -> Program:
    seed = rng.random()
    start_up = rng.choice((None, 2, 5))
    inner_wait = rng.random() < 0.1

    def program(kernel: Kernel, task: Task) -> Steps:
        own = Random(seed)
        job = 0
        if start_up:
            yield ("run", start_up)
        while True:
            yield from sleep(kernel, task)
            job += 1
            if marks.get("marks"):
                if own.random() < 0.8:
                    yield ("run", own.randint(0, 2))
                yield ("write", "arrive", task.name, job)
            if inner_wait:
                yield ("wait", "", own.randint(1, 9))
            yield from _body(own, system, kernel, task)
            if marks.get("marks"):
                yield ("write", "finish", task.name, job)

    return program


Maker = Callable[[Random, System, str, dict[str, str | int]], Program]


def _delay(rng: Random, system: System, name: str, keys: dict[str, str | int]) -> Program:
    keys["activation"] = "delay"
    low = rng.randint(5, 40)

    def sleep(kernel: Kernel, task: Task) -> Steps:
        yield ("delay", kernel.rng.randint(low, low * 2))

    return _cyclic(rng, system, sleep)


def _none(rng: Random, system: System, name: str, keys: dict[str, str | int]) -> Program:
    program = _delay(rng, system, name, keys)
    del keys["activation"]
    return program


def _period(rng: Random, system: System, name: str, keys: dict[str, str | int]) -> Program:
    period = rng.choice((20, 40, 80))
    keys["period_us"] = period
    if rng.random() < 0.7:
        keys["activation"] = "delay"
    if rng.random() < 0.4:
        keys["offset_us"] = rng.randint(0, period)
    reports = rng.random() < 0.7

    def sleep(kernel: Kernel, task: Task) -> Steps:
        due = (kernel.now // period + 1) * period
        last = getattr(task, "last_due", 0)
        if last and kernel.now >= last + period:  # it overran and does not sleep
            task.last_due = last + period
            if reports:
                yield ("write", "start", task.name, "")
            return
        task.last_due = due
        yield ("delay", due - kernel.now)

    return _cyclic(rng, system, sleep)


def _queue(rng: Random, system: System, name: str, keys: dict[str, str | int]) -> Program:
    queue = rng.choice(system.queues)[0]
    keys["activation"] = queue

    def sleep(kernel: Kernel, task: Task) -> Steps:
        yield ("receive", queue)

    return _cyclic(rng, system, sleep)


def _signal(rng: Random, system: System, name: str, keys: dict[str, str | int]) -> Program:
    signal = rng.choice(system.signals)
    keys["activation"] = signal

    def sleep(kernel: Kernel, task: Task) -> Steps:
        yield ("wait", signal)

    return _cyclic(rng, system, sleep)


def _marks(rng: Random, system: System, name: str, keys: dict[str, str | int]) -> Program:
    low = rng.randint(5, 40)

    def sleep(kernel: Kernel, task: Task) -> Steps:
        if kernel.rng.random() < 0.9:
            yield ("delay", kernel.rng.randint(low, low * 2))

    return _cyclic(rng, system, sleep, marks=True)


def _activate(rng: Random, system: System, name: str, keys: dict[str, str | int]) -> Program:
    if rng.random() < 0.8:
        keys["activation"] = "activate"
        # Only such a task may be activated while it is active: one that waits between its jobs
        # has no activations to count.
        system.activated.append(name)
    seed = rng.random()
    runs = 0

    def program(kernel: Kernel, task: Task) -> Steps:
        nonlocal runs
        runs += 1
        yield from _body(Random(f"{seed}/{runs}"), system, kernel, task)
        yield ("terminate",)

    return program


_PROGRAMS: dict[str, Maker] = {
    "delay": _delay,
    "none": _none,
    "activate": _activate,
    "period": _period,
    "marks": _marks,
    "queue": _queue,
    "signal": _signal,
}


def _isr_acts(rng: Random, system: System) -> Callable[[Kernel, Isr], None]:
    choices = ["nothing"]
    choices += [f"send {queue}" for queue, _ in system.queues] * 2
    choices += [f"signal {signal}" for signal in system.signals] * 2
    choices += [f"activate {name}" for name in system.activated] * 2

    def acts(kernel: Kernel, isr: Isr) -> None:
        for _ in range(kernel.rng.randint(0, 2)):
            verb, _, what = kernel.rng.choice(choices).partition(" ")
            if verb == "send":
                kernel.put(what, isr.name)
            elif verb == "signal":
                kernel.wake_one(what, isr.name)
            elif verb == "activate":
                kernel.activate(what)

    return acts

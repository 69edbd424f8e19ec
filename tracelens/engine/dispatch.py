"""Which ready task gets which core."""

from tracelens.engine.core_time import go_idle, place
from tracelens.engine.handlers import wake_up
from tracelens.engine.machine import Machine
from tracelens.engine.state import CoreState, TaskState


def dispatch(m: Machine) -> None:
    """Give cores to ready tasks until nobody ready is more urgent than who has a core.

    Of equal keys the running one stays, then the one that was ready first. A task that is free to
    migrate prefers the idle core it ran on last, any idle core, a sleeping core, and then the
    core whose task is least urgent. A core inside a handler is not available.
    """
    if len(m.cores) == 1:
        _dispatch_one(m, m.cores[0])
    else:
        _dispatch_many(m)
    for core in m.cores:
        if core.cur is None and not (core.idle_on or core.switching or core.nest or core.asleep):
            go_idle(m, core)


def _dispatch_one(m: Machine, core: CoreState) -> None:
    ready = m.ready
    if not ready or core.nest:
        return
    if core.asleep:
        wake_up(m, core)
        return
    best = ready[0]
    for task in ready:
        if task.eff < best.eff or (task.eff == best.eff and task.seq < best.seq):
            best = task
    if core.cur is None or (best.eff < core.cur.eff and yields(m, core)):
        place(m, core, best)


def yields(m: Machine, core: CoreState) -> bool:
    """True if the core's task can lose it now: preemptively, in a switch, or between two jobs."""
    if core.cur is not None and core.cur.masked:
        return not core.started
    return m.preemptive or not core.started or core.boundary == m.now


def _dispatch_many(m: Machine) -> None:
    while True:
        claimed: set[int] = set()
        for task in sorted(m.ready, key=lambda one: (one.eff, one.seq)):
            core = _core_for(m, task, claimed)
            if core is None:
                continue
            if core.asleep:
                claimed.add(core.index)
                wake_up(m, core)
                continue
            place(m, core, task)
            break
        else:
            return


def _core_for(m: Machine, task: TaskState, claimed: set[int]) -> CoreState | None:
    """The core that a ready task should have now; None if it must wait."""
    best: CoreState | None = None
    best_rank: tuple[int, int, int] | None = None
    for core in m.cores if task.core < 0 else (m.cores[task.core],):
        if core.nest or core.index in claimed:
            continue
        other = core.cur
        elsewhere = int(core.index != task.last_core)
        if other is None:
            rank = (1 if core.asleep else 0, elsewhere, core.index)
        elif task.eff < other.eff and yields(m, core):
            rank = (2, -other.eff, elsewhere * len(m.cores) + core.index)
        else:
            continue
        if best_rank is None or rank < best_rank:
            best, best_rank = core, rank
    return best

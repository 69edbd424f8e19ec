"""Cores whose schedule is fixed by their offsets, and the exact responses there."""

from tracelens.theory.offsets import Fixed, exact
from tracelens.theory.response import shared
from tracelens.theory.workload import Contender, Workload


def apart(workload: Workload, core: int) -> bool:
    """Whether fixed first releases of the core are not all at the same time."""
    firsts = {c.offset_ns for c in workload.of_core(core) if c.offset_ns is not None}
    return len(firsts) > 1


def fixed(workload: Workload, core: int) -> tuple[Fixed, ...] | None:
    """The core's contenders if all are strictly periodic and independent; else None."""
    everyone = workload.of_core(core)
    if not workload.preemptive or workload.switch_ns or workload.wake_ns or not everyone:
        return None
    if any(c.migrates for c in workload.contenders) or not all(map(_plain, everyone)):
        return None
    if any(shared(c, workload) is not None for c in everyone):
        return None
    users: dict[str, int] = {}
    for one in everyone:
        for lock in {section.lock for section in one.sections}:
            users[lock] = users.get(lock, 0) + 1
    if any(count > 1 for count in users.values()):
        return None
    raised = {lock for lock in users if workload.locks[lock].ceiling is not None}
    levels = [(c.handler, c.level) for c in everyone if workload.policy != "edf" or c.handler]
    if raised or len(set(levels)) < len(levels) or (workload.policy == "edf" and any(levels)):
        return None
    return tuple(
        Fixed(c.name, rank, c.offset_ns or 0, c.period_ns or 1, c.cost_ns, c.deadline_ns or 0)
        for rank, c in enumerate(everyone)
    )


def _plain(one: Contender) -> bool:
    stream = one.streams[0] if len(one.streams) == 1 else None
    return (
        stream is not None
        and one.offset_ns is not None
        and stream.period_ns is not None
        and (stream.jitter_ns, stream.apart_ns, stream.most) == (0, 0, None)
        and not (one.triggers or one.suspensions or one.after or one.cannot)
        and (one.handler or one.deadline_ns is not None)
    )


def scheduled(workload: Workload, core: int) -> dict[str, tuple[int, int]] | None:
    """Worst responses from the schedule itself, where releases are fixed and not all together."""
    if not apart(workload, core):
        return None
    tasks = fixed(workload, core)
    return None if tasks is None else exact(tasks, edf=workload.policy == "edf")

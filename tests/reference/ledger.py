"""The ledger: where a job's response went, one row of the table after the other.

`Reader.entry` is the table. Everything else says what the words of the table mean.
"""

import itertools
from bisect import bisect_left, bisect_right
from dataclasses import dataclass

from tests.reference.job import Job
from tests.reference.lines import NO_TASK
from tests.reference.world import (
    READY,
    RUNNING,
    STATE_UNKNOWN,
    SUSPENDED,
    UNKNOWN,
    WAITING,
    LockWait,
    Task,
    World,
)

Row = tuple[str, str | None, str | None]


@dataclass(frozen=True)
class Occupant:
    """Who has a core: an ISR, a task, nobody (switching, idle, asleep), or not known."""

    kind: str
    who: str | None = None


@dataclass(frozen=True)
class HolderChain:
    """The owner, the owner of what the owner waits for, and so on.

    `end` is who it ends with: the last owner, or at a hand-over the one who hands over.
    None: not known, or outside any task.
    """

    members: tuple[str, ...]
    end: str | None
    hand_over: bool = False
    cycle: bool = False


class Reader:
    """Answers questions about one moment from the histories of a world."""

    def __init__(self, world: World, jobs: list[Job]) -> None:
        self.world = world
        self.jobs_of: dict[str, list[Job]] = {name: [] for name in world.tasks}
        for job in jobs:
            self.jobs_of[job.task].append(job)
        self.ever_raised = any(
            lock.declared.ceiling is not None for lock in world.locks.values()
        ) or any(len(task.raised.times) > 1 for task in world.tasks.values())

    # ------------------------------------------------------------------ the table

    def entry(self, name: str, t: int, backlog: bool = False) -> Row:
        """The first row of the table that fits what task `name` does at `t`."""
        task = self.world.tasks[name]
        state = task.state.at(t)
        wait = task.wait.at(t)
        chain = self.chain(wait, t) if wait else None
        core = self.looked_at(task, t, chain)
        occupant = self.occupant(core, t) if core is not None else None

        if state.state == STATE_UNKNOWN or (occupant and occupant.kind == "unknown"):
            return "unknown", None, None
        if backlog:
            return "backlog", None, None
        if state.state == SUSPENDED or (state.state == WAITING and not wait):
            return "suspended", None, state.waits_for
        if occupant and occupant.kind == "isr":
            return "isr", occupant.who, None
        if occupant and occupant.kind == "asleep":
            return "asleep", None, None
        if state.state == RUNNING and not wait:
            return "execution", name, None
        if wait and chain and (self.runs_on(chain.end, core, t) or self.holds_up(chain, t)):
            return "blocked", chain.end, wait.lock
        other = self.other_task(name, occupant)
        if other and self.at_least_as_urgent(other, name, t):
            return "interference", other, None
        if other and self.less_urgent(other, name, t):
            pushes = self.raising_lock(other, name, t)
            if pushes:
                return "blocked", other, pushes
            if wait and chain and other not in chain.members:
                return "inversion", other, wait.lock
            if state.state == READY and not wait:
                return "deferred", other, "mask" if self.masked(core, t) else None
        if other and self.unranked(other, name, t):
            return "unranked", other, None
        if occupant and occupant.kind in ("switching", "idle"):
            return "switching", None, None
        if wait and chain:  # no row fits: it is held up by the end of the chain all the same
            return "blocked", chain.end, wait.lock
        return "switching", None, None

    # ------------------------------------------------------------------ waiting for a lock

    def chain(self, wait: LockWait, t: int) -> HolderChain:
        members: list[str] = []
        lock = wait.lock
        while True:
            ownership = self.world.locks[lock].owner.at(t)
            owner = ownership.owner
            if owner is None:
                by = ownership.given_back_by
                return HolderChain(tuple(members), None if by == NO_TASK else by, hand_over=True)
            if owner == NO_TASK:
                return HolderChain(tuple(members), None)
            if owner == wait.task or owner in members:
                return HolderChain(tuple(members), members[-1] if members else None, cycle=True)
            members.append(owner)
            owners_wait = self.world.tasks[owner].wait.at(t)
            if owners_wait is None:
                return HolderChain(tuple(members), owner)
            lock = owners_wait.lock

    def holds_up(self, chain: HolderChain, t: int) -> bool:
        """Does the end of the chain wait itself, for no lock; or is it a hand-over, or a cycle?"""
        if chain.hand_over or chain.cycle or chain.end is None:
            return True
        return self.world.tasks[chain.end].state.at(t).state in (WAITING, SUSPENDED)

    def runs_on(self, name: str | None, core: int | None, t: int) -> bool:
        return (
            name is not None
            and core is not None
            and self.occupant(core, t) == Occupant("task", name)
        )

    # ------------------------------------------------------------------ the core looked at

    def looked_at(self, task: Task, t: int, chain: HolderChain | None) -> int | None:
        """The core that a job looks at. Waiting for a lock goes before running."""
        if chain is not None:
            return self.where(self.world.tasks[chain.end], t) if chain.end else None
        state = task.state.at(t).state
        if state in (RUNNING, READY):
            return self.where(task, t)
        return None

    def where(self, task: Task, t: int) -> int | None:
        """Running: there. Ready: where it next starts, else last ran. Asleep: where it last ran."""
        state = task.state.at(t)
        if state.state == RUNNING:
            return state.core
        last = bisect_right(task.ran_on, (t, 1 << 30)) - 1
        last_ran = task.ran_on[last][1] if last >= 0 else None
        if state.state in (READY, STATE_UNKNOWN) and last + 1 < len(task.ran_on):
            time, core = task.ran_on[last + 1]
            if self.world.boot_of(time) == self.world.boot_of(t):
                return core
        if last_ran is not None:
            return last_ran
        if task.declared.core is not None:
            return task.declared.core
        released = bisect_right(task.released_on, (t, 1 << 30)) - 1
        return task.released_on[released][1] if released >= 0 else None

    def occupant(self, core_id: int, t: int) -> Occupant:
        """The innermost ISR; else asleep; else the running task; else nobody; else unknown."""
        core = self.world.cores.get(core_id)
        if core is None or core.blackout.at(t):
            return Occupant("unknown")
        isr = core.isr.at(t)
        if isr is not None:
            return Occupant("isr", isr.isr)
        if core.asleep.at(t):
            return Occupant("asleep")
        running = core.running.at(t)
        if running == UNKNOWN:
            return Occupant("unknown")
        if running is not None:
            if self.world.tasks[running].idle:
                return Occupant("idle")
            return Occupant("task", running)
        return Occupant("switching" if self.somebody_ready(core_id, t) else "idle")

    def somebody_ready(self, core_id: int, t: int) -> bool:
        for task in self.world.tasks.values():
            if task.idle:
                where = self.where_idle(task, t)
                if where is None or where == core_id:
                    return True
            elif task.state.at(t).state == READY and self.where(task, t) == core_id:
                return True
        return False

    def where_idle(self, task: Task, t: int) -> int | None:
        """The core that an idle task is always ready on; None: any."""
        state = task.state.at(t)
        if state.state == RUNNING:
            return state.core
        if task.ran_on:
            following = bisect_right(task.ran_on, (t, 1 << 30))
            return task.ran_on[min(following, len(task.ran_on) - 1)][1]
        return task.declared.core

    def other_task(self, name: str, occupant: Occupant | None) -> str | None:
        """The task that has the core: never the job's own, never an idle task."""
        if occupant and occupant.kind == "task" and occupant.who != name:
            return occupant.who
        return None

    def masked(self, core: int | None, t: int) -> bool:
        return core is not None and self.world.cores[core].masked.at(t)

    # ------------------------------------------------------------------ priorities

    def deadline(self, name: str, t: int) -> int | None:
        """Absolute deadline of the task's oldest job that is not complete."""
        relative = self.world.tasks[name].declared.deadline_ns
        for job in self.jobs_of[name]:
            assert job.end is not None
            if job.release <= t < job.end:
                return None if relative is None else job.release + relative
        return None

    def _compare(self, a: str, b: str, t: int) -> int | None:
        """Positive if a is more urgent than b, 0 if equal, None if that cannot be told."""
        if self.world.policy == "edf":
            far = 1 << 80
            due_a, due_b = self.deadline(a, t), self.deadline(b, t)
            due_a = far if due_a is None else due_a
            due_b = far if due_b is None else due_b
            return (due_b > due_a) - (due_b < due_a)
        base_a = self.world.tasks[a].base.at(t)
        base_b = self.world.tasks[b].base.at(t)
        if base_a is None or base_b is None:
            both = base_a is None and base_b is None
            return 0 if self.world.policy == "round_robin" and both else None
        return int(self.world.more_urgent(base_a, base_b)) - int(
            self.world.more_urgent(base_b, base_a)
        )

    def at_least_as_urgent(self, a: str, b: str, t: int) -> bool:
        order = self._compare(a, b, t)
        return order is not None and order >= 0

    def less_urgent(self, a: str, b: str, t: int) -> bool:
        order = self._compare(a, b, t)
        return order is not None and order < 0

    def unranked(self, a: str, b: str, t: int) -> bool:
        return self._compare(a, b, t) is None

    def raising_locks(self, name: str, t: int) -> list[tuple[str, int]]:
        """The locks that raise a task above its base, most recently taken first, and how far."""
        task = self.world.tasks[name]
        base, held = task.base.at(t), task.held.at(t)
        if self.world.policy == "edf" or base is None or not held:
            return []
        by_lock: dict[str, int] = {}
        for lock in held:
            declared = self.world.locks[lock].declared
            if declared.protocol == "ceiling" and declared.ceiling is not None:
                by_lock[lock] = declared.ceiling
        raised = task.raised.at(t)
        if raised:
            waited_for = [lock for lock in held if self.urgent_waiter(lock, base, t)]
            held_then = [lock for lock in held if lock in raised.held]
            for lock in waited_for or held_then or held:
                more = lock not in by_lock or self.world.more_urgent(raised.level, by_lock[lock])
                if more:
                    by_lock[lock] = raised.level
        return [
            (lock, by_lock[lock])
            for lock in reversed(held)
            if lock in by_lock and self.world.more_urgent(by_lock[lock], base)
        ]

    def urgent_waiter(self, lock: str, base: int, t: int) -> bool:
        """Does a task that is more urgent than `base` wait for `lock`?"""
        for task in self.world.tasks.values():
            wait = task.wait.at(t)
            own = task.base.at(t)
            waits = wait is not None and wait.lock == lock
            if waits and own is not None and self.world.more_urgent(own, base):
                return True
        return False

    def raising_lock(self, lower: str, name: str, t: int) -> str | None:
        """The lock by which a lower task's effective priority is at least that of task `name`."""
        if not self.ever_raised:
            return None
        own = self.world.tasks[name].base.at(t)
        if own is None:
            return None
        for lock, level in self.raising_locks(lower, t):
            if not self.world.more_urgent(own, level):
                return lock
        return None


def slices(world: World, start: int, end: int) -> list[tuple[int, int]]:
    """[start, end) cut at every moment at which anything happened."""
    cuts = world.times[bisect_right(world.times, start) : bisect_left(world.times, end)]
    edges = [start, *cuts, end]
    return [(a, b) for a, b in itertools.pairwise(edges) if b > a]


def write_ledgers(world: World, reader: Reader) -> None:
    """Fill in the ledger of every job."""
    for jobs in reader.jobs_of.values():
        complete_before = 0  # when the last of the earlier jobs is complete
        for job in jobs:
            assert job.end is not None
            for a, b in slices(world, job.release, job.end):
                row = reader.entry(job.task, a, backlog=a < complete_before)
                job.ledger[row] = job.ledger.get(row, 0) + b - a
            complete_before = max(complete_before, job.end)

"""Priority inversions, from the same slices as the ledgers."""

from dataclasses import dataclass, field

from tests.reference.ledger import Occupant, Reader, slices
from tests.reference.world import READY, RUNNING, LockWait, World


@dataclass(eq=False)
class Inversion:
    kind: str
    victim: str
    lock: str
    start: int
    end: int
    chain: list[str] = field(default_factory=list)
    holder: int = 0
    third_parties: dict[str, int] = field(default_factory=dict)
    raised: bool = False

    @property
    def third_party(self) -> int:
        return sum(self.third_parties.values())


def find(world: World, reader: Reader) -> list[Inversion]:
    """All inversions, in order of start."""
    found = []
    for wait in world.lock_waits:
        inversion = _of_wait(world, reader, wait)
        if inversion:
            found.append(inversion)
    if reader.ever_raised:
        for name, task in world.tasks.items():
            if not task.idle:
                found += _push_throughs(world, reader, name)
    return sorted(found, key=lambda i: (i.start, i.victim, i.lock))


def end_of_inversion(world: World, wait: LockWait) -> int:
    """The `unlock` that frees the lock for good, else the end of the wait."""
    assert wait.end is not None
    owner = world.locks[wait.lock].owner
    freed = wait.end
    for start, _stop, ownership in owner.intervals(world.span + 1):
        if start >= wait.end:
            break
        if ownership.owner is not None:
            freed = wait.end
        elif freed == wait.end:
            freed = max(start, wait.start)
    return freed


def _of_wait(world: World, reader: Reader, wait: LockWait) -> Inversion | None:
    """One record a wait, if at any time in it a lower task is in the chain."""
    end = end_of_inversion(world, wait)
    kind = "ceiling" if wait.refused else "direct"
    inversion = Inversion(kind, wait.task, wait.lock, wait.start, end)
    lower = False
    for a, b in slices(world, wait.start, end):
        chain = reader.chain(wait, a)
        lower = lower or any(reader.less_urgent(one, wait.task, a) for one in chain.members)
        if len(chain.members) > len(inversion.chain):
            inversion.chain = list(chain.members)
        if any(reader.raising_locks(one, a) for one in chain.members):
            inversion.raised = True
        entry, by, _ = reader.entry(wait.task, a)
        if entry == "inversion":
            assert by is not None
            inversion.third_parties[by] = inversion.third_parties.get(by, 0) + b - a
        elif entry == "blocked" and by in chain.members and by == chain.end:
            where = reader.where(world.tasks[by], a)
            inversion.holder += b - a if reader.runs_on(by, where, a) else 0
    return inversion if lower else None


def _push_throughs(world: World, reader: Reader, name: str) -> list[Inversion]:
    """Ready, while a lower task runs raised by a lock on the core that it looks at."""
    task = world.tasks[name]
    found: list[Inversion] = []
    for start, end, state in task.state.intervals(world.span):
        if state.state != READY:
            continue
        under_way: tuple[str, str] | None = None
        for a, b in slices(world, start, end):
            pushed = _pusher(world, reader, name, a)
            if pushed and pushed == under_way:
                found[-1].end = b
            elif pushed:
                lower, lock = pushed
                found.append(Inversion("push_through", name, lock, a, b, raised=True))
            under_way = pushed
            if pushed:
                lower, _ = pushed
                chain = [lower]
                wait = world.tasks[lower].wait.at(a)
                if wait:
                    chain += reader.chain(wait, a).members
                if len(chain) > len(found[-1].chain):
                    found[-1].chain = chain
                core = reader.where(task, a)
                if core is not None and reader.occupant(core, a) == Occupant("task", lower):
                    found[-1].holder += b - a
    return found


def _pusher(world: World, reader: Reader, name: str, t: int) -> tuple[str, str] | None:
    """The lower task that runs raised by a lock where task `name` is ready, and the lock."""
    task = world.tasks[name]
    if task.wait.at(t):
        return None
    core = reader.where(task, t)
    if core is None:
        return None
    lower = world.cores[core].running.at(t)
    if lower is None or lower not in world.tasks or lower == name:
        return None
    runner = world.tasks[lower]
    if runner.idle or runner.state.at(t).state != RUNNING:
        return None
    if not reader.less_urgent(lower, name, t):
        return None
    lock = reader.raising_lock(lower, name, t)
    return (lower, lock) if lock else None

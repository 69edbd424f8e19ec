"""How long lower tasks may hold up a task by their critical sections, once a busy period.

Sha, Rajkumar & Lehoczky, "Priority Inheritance Protocols: An Approach to Real-Time
Synchronization", IEEE Trans. Computers 39(9), 1990. Under inheritance a job is held up by at most
one section of each lower task and of each lock: the exact maximum is that of an assignment of
locks to tasks (what the exhaustive search of Rajkumar, *Synchronization in Real-Time Systems*,
1991, finds), and the smaller of the two sums bounds it. Under either ceiling protocol it is the
one longest section.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from graphlib import CycleError, TopologicalSorter

from tracelens.theory.workload import Contender, LockRule, Section


@dataclass(frozen=True, slots=True)
class Blocker:
    """One section that may hold a task up. `lock` None: a stretch that nothing can pre-empt."""

    task: str
    lock: str | None
    length_ns: int


@dataclass(frozen=True, slots=True)
class Blocking:
    """What a task may lose to lower tasks.

    total_ns    under the protocols that the locks have
    blockers    the sections that make it up
    inherit_ns, sums_ns, ceiling_ns
                as if all locks had inheritance (exact; smaller of the sums) or a ceiling protocol
    floor       the level of the lowest task that a plain lock can make it wait for, with whoever
                is more urgent than that one; None if no plain lock can
    cannot      why there is no bound
    """

    total_ns: int
    blockers: tuple[Blocker, ...]
    inherit_ns: int
    sums_ns: int
    ceiling_ns: int
    floor: int | None = None
    cannot: str | None = None


def blocking(
    one: Contender, others: Sequence[Contender], locks: Mapping[str, LockRule]
) -> Blocking:
    """What `one` may lose to the contenders of lower level on its core."""
    if one.handler:
        silent = [(o.name, None, o.silent_ns) for o in others if o.silent_ns and o is not one]
        found = _total([_longest(silent)])
        return Blocking(sum(b.length_ns for b in found), found, 0, 0, 0)
    tasks = [o for o in others if not o.handler]
    everyone = tasks if one in tasks else [*tasks, one]
    level = one.level or 0
    lower = [o for o in tasks if (o.level or 0) < level and o is not one]
    reach = ceilings(everyone, locks, transitive=True)
    plain = ceilings(everyone, locks, transitive=False)
    raised = {
        name: plain[name] if rule.ceiling is None else rule.ceiling
        for name, rule in locks.items()
        if name in plain
    }
    in_the_way = _sections(lower, {k for k, c in reach.items() if c >= level})
    under = {
        protocol: {name for name, rule in locks.items() if rule.protocol == protocol}
        for protocol in ("none", "inherit", "ceiling", "original_ceiling")
    }
    met = _reached({section.lock for section in one.sections}, everyone, locks)
    waiting = {s for s in in_the_way if s[1] in under["inherit"] | (under["none"] & met)}
    above = _sections(lower, {k for k, c in raised.items() if c >= level})
    halting = _halting(everyone, locks)
    waiting |= {s for s in above if s[1] in halting}
    immediate = [s for s in above if s[1] in under["ceiling"] - halting.keys()]
    original = [s for s in above if s[1] in under["original_ceiling"]]
    as_ceilings = _sections(lower, {k for k, c in plain.items() if c >= level})
    found = _total(
        [
            *most(waiting),
            _longest(original),
            _longest([*immediate, *_masked(lower)]),
        ]
    )
    relevant = {(task, lock) for task, lock, _ in {*waiting, *original, *immediate}}
    halted = {k: inner for k, inner in halting.items() if raised[k] >= level}
    return Blocking(
        total_ns=sum(b.length_ns for b in found),
        blockers=found,
        inherit_ns=sum(s[2] for s in most(in_the_way)),
        sums_ns=sums(in_the_way),
        ceiling_ns=max((s[2] for s in as_ceilings), default=0),
        floor=_floor(one, lower, everyone, waiting, under["none"], locks),
        cannot=_halted(halted, under["inherit"])
        or _cannot(lower, everyone, relevant, met, under["none"] | under["inherit"]),
    )


Weighed = tuple[str, str | None, int]
"""Task, lock, longest section."""


def ceilings(
    tasks: Iterable[Contender], locks: Mapping[str, LockRule], *, transitive: bool
) -> dict[str, int]:
    """Lock → the highest level that its holder may take over.

    That of its most urgent user; if `transitive`, also of who waits for a lock around it: the
    holder of the outer lock may wait for the inner one.
    """
    found: dict[str, int] = {}
    around: list[Section] = []
    for task in tasks:
        for section in task.sections:
            found[section.lock] = max(found.get(section.lock, task.level or 0), task.level or 0)
            around.append(section)
    changed = transitive
    while changed:
        changed = False
        for section in around:
            highest = max(
                (found[outer] for outer in section.within if outer in found), default=None
            )
            if highest is not None and highest > found[section.lock]:
                found[section.lock] = highest
                changed = True
    return found


def _sections(tasks: Iterable[Contender], names: set[str]) -> set[Weighed]:
    """The longest section of each task on each of the locks."""
    longest: dict[tuple[str, str], int] = {}
    for task in tasks:
        for section in task.sections:
            if section.lock in names:
                key = (task.name, section.lock)
                longest[key] = max(longest.get(key, 0), section.length_ns)
    return {(task, lock, length) for (task, lock), length in longest.items() if length}


def _masked(tasks: Iterable[Contender]) -> list[Weighed]:
    longest = ((task.name, None, max(task.masked_ns, task.silent_ns)) for task in tasks)
    return [one for one in longest if one[2]]


def _longest(found: Iterable[Weighed]) -> Weighed | None:
    return max(found, key=lambda one: (one[2], one[0], one[1] or ""), default=None)


def _total(found: Iterable[Weighed | None]) -> tuple[Blocker, ...]:
    return tuple(Blocker(*one) for one in found if one is not None)


def sums(found: Iterable[Weighed]) -> int:
    """The smaller of: the longest section of each task, summed; of each lock, summed."""
    by_task: dict[str, int] = {}
    by_lock: dict[str | None, int] = {}
    for task, lock, length in found:
        by_task[task] = max(by_task.get(task, 0), length)
        by_lock[lock] = max(by_lock.get(lock, 0), length)
    return min(sum(by_task.values()), sum(by_lock.values()))


def most(found: Iterable[Weighed]) -> list[Weighed]:
    """Sections of the greatest sum, at most one of each task and of each lock."""
    weights = {(task, lock): length for task, lock, length in found}
    tasks = sorted({task for task, _ in weights})
    names = sorted({lock or "" for _, lock in weights})
    if len(tasks) < 2 or len(names) < 2:
        best = max(weights, key=lambda key: (weights[key], key), default=None)
        return [] if best is None else [(*best, weights[best])]
    import numpy as np
    from scipy.optimize import linear_sum_assignment

    table = np.array([[weights.get((task, name), 0) for name in names] for task in tasks])
    rows, columns = linear_sum_assignment(table, maximize=True)
    chosen = [(tasks[row], names[column]) for row, column in zip(rows, columns, strict=True)]
    return [(*key, weights[key]) for key in chosen if weights.get(key)]


def _halting(everyone: Sequence[Contender], locks: Mapping[str, LockRule]) -> dict[str, set[str]]:
    """Lock of immediate ceiling → locks of other protocols that its holder may wait for.

    One section at most holds anybody up, and nobody waits for such a lock, only if its holder never
    waits.
    """
    found: dict[str, set[str]] = {}
    for task in everyone:
        for section in task.sections:
            users = [one for one in everyone if any(s.lock == section.lock for s in one.sections)]
            if locks[section.lock].protocol != "ceiling" and len(users) > 1:
                for outer in section.within:
                    if locks[outer].protocol == "ceiling":
                        found.setdefault(outer, set()).add(section.lock)
    return found


def _halted(halting: Mapping[str, set[str]], inherit: set[str]) -> str | None:
    """Why there is no bound under locks of immediate ceiling whose holders may wait; or None.

    Where the lock that they wait for has inheritance, no other task runs in between.
    """
    for outer in sorted(halting):
        for inner in sorted(halting[outer] - inherit):
            return (
                f"whoever holds {outer} may wait for {inner}, and a lock of immediate ceiling is "
                "for holders that never wait"
            )
    return None


def _reached(
    own: set[str], everyone: Sequence[Contender], locks: Mapping[str, LockRule]
) -> set[str]:
    """The locks that a waiter for `own` may wait for in turn: those taken inside them."""
    found = {name for name in own if locks[name].protocol != "ceiling"}
    grown = True
    while grown:
        inner = {
            section.lock for task in everyone for section in task.sections if section.within & found
        }
        grown = not inner <= found
        found |= inner
    return found


def _floor(
    one: Contender,
    lower: Sequence[Contender],
    everyone: Sequence[Contender],
    waiting: set[Weighed],
    plain: set[str],
    locks: Mapping[str, LockRule],
) -> int | None:
    own = {section.lock for section in one.sections}
    reached = _reached(own | {lock for _, lock, _ in waiting if lock}, everyone, locks)
    if not reached & plain:
        return None
    holders = [t.level or 0 for t in lower if any(s.lock in reached for s in t.sections)]
    if not any(s.lock in reached & plain for t in lower for s in t.sections):
        return None
    least = min(holders)
    between = [t for t in everyone if t is not one and least < (t.level or 0) <= (one.level or 0)]
    return least if between else None


def _cannot(
    lower: Sequence[Contender],
    everyone: Sequence[Contender],
    relevant: set[tuple[str, str | None]],
    met: set[str],
    waited: set[str],
) -> str | None:
    for task in lower:
        for section in task.sections:
            if section.sleeps and (task.name, section.lock) in relevant:
                return f"{task.name} holds {section.lock} while it waits for something else"
    cycle = lock_cycle(everyone, waited)
    if met & set(cycle):
        return f"the locks {', '.join(cycle)} are taken in circular order: a deadlock is possible"
    return None


def lock_cycle(tasks: Iterable[Contender], names: set[str]) -> tuple[str, ...]:
    """Locks among `names` that tasks nest in circular order; empty if there are none."""
    inside: dict[str, set[str]] = {}
    for task in tasks:
        for section in task.sections:
            if section.lock in names:
                inside.setdefault(section.lock, set()).update(section.within & names)
    try:
        TopologicalSorter(inside).prepare()
    except CycleError as error:
        return tuple(dict.fromkeys(error.args[1]))
    return ()

"""Priority orders: rate-monotonic, deadline-monotonic, and the one that works if any does.

Liu & Layland 1973 (rates); Leung & Whitehead 1982 (deadlines); Audsley, "Optimal priority
assignment and feasibility of static priority tasks with arbitrary start times", report YCS 164,
York 1991: whether a task fits the lowest level depends on who is above it, not on their order, so
levels can be filled from below.
"""

from collections.abc import Sequence
from dataclasses import replace
from math import inf
from typing import Final

from tracelens.theory.records import Order, OrderKind
from tracelens.theory.response import fits, linked, responses
from tracelens.theory.workload import Contender, LockRule, Workload

MOST_TASKS: Final = 60
"""With more tasks on a core no order is tried."""


def orders(workload: Workload, core: int) -> tuple[Order, ...]:
    """The orders tried on one core; tasks of equal rate or deadline stay as declared.

    Empty where responses cause jitter (the order then changes what arrives), and where a task of
    the core cannot be analysed.
    """
    tasks = [c for c in workload.of_core(core) if not c.handler]
    alone = replace(workload, contenders=workload.of_core(core))
    if linked(workload) or not 1 < len(tasks) <= MOST_TASKS or any(c.cannot for c in tasks):
        return ()
    found = [_order(alone, core, "as declared", tasks, keep=True)]
    by_rate = sorted(tasks, key=lambda c: c.period_ns or inf)
    by_deadline = sorted(tasks, key=_limit)
    found.append(_order(alone, core, "rate-monotonic", by_rate))
    found.append(_order(alone, core, "deadline-monotonic", by_deadline))
    best = audsley(alone, tasks)
    if best is not None:
        found.append(_order(alone, core, "optimal", best))
    return tuple(found)


def audsley(workload: Workload, tasks: Sequence[Contender]) -> list[Contender] | None:
    """An order, most urgent first, in which all fit; None if there is none.

    Of several that fit a level, the one with the longest deadline takes it.
    """
    left = sorted(tasks, key=_limit)
    lowest_first: list[Contender] = []
    while left:
        for one in reversed(left):
            above = [c for c in left if c is not one]
            tried = reordered(workload, [*above, one, *reversed(lowest_first)])
            if fits(_named(tried, one.name), tried):
                lowest_first.append(one)
                left.remove(one)
                break
        else:
            return None
    return lowest_first[::-1]


def reordered(workload: Workload, order: Sequence[Contender]) -> Workload:
    """The same work with levels by `order`, most urgent first; ceilings follow the users."""
    level = {one.name: len(order) - place for place, one in enumerate(order)}
    contenders = tuple(
        c if c.handler else replace(c, level=level[c.name], final_ns=_final(c, workload))
        for c in workload.contenders
    )
    locks = {name: LockRule(rule.protocol) for name, rule in workload.locks.items()}
    return replace(workload, contenders=contenders, locks=locks)


def _final(one: Contender, workload: Workload) -> int:
    """A last stretch under a ceiling may end with another order; one without pre-emption stays."""
    return 0 if workload.preemptive else one.final_ns


def _limit(one: Contender) -> float:
    return inf if one.deadline_ns is None else one.deadline_ns


def _named(workload: Workload, name: str) -> Contender:
    return next(c for c in workload.contenders if c.name == name)


def _order(
    workload: Workload,
    core: int,
    kind: OrderKind,
    tasks: Sequence[Contender],
    *,
    keep: bool = False,
) -> Order:
    tried = workload if keep else reordered(workload, tasks)
    found = responses(tried)
    values = tuple(found[one.name].response_ns for one in tasks)
    fine = all(
        value is not None and (one.deadline_ns is None or value <= one.deadline_ns)
        for value, one in zip(values, tasks, strict=True)
    )
    return Order(core, kind, tuple(t.name for t in tasks), values, fine)

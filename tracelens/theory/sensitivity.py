"""Sensitivity: how far executions may grow, and the clock be slowed, with every deadline met.

Found by bisection on the test itself, which only gets harder as work grows: Punnekkat, Davis &
Burns, "Sensitivity analysis of real-time task sets", ASIAN 1997.
"""

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from typing import Final

from tracelens.theory.accept import accepts
from tracelens.theory.records import Growth, Margins
from tracelens.theory.response import linked
from tracelens.theory.workload import Contender, Section, Workload

PARTS: Final = 1_000_000
"""The stretch is found to this part of one."""
_MOST: Final = 1 << 42
"""An hour: what may grow so far may grow without end."""


MOST_LINKED: Final = 12
MOST_ALONE: Final = 40
"""With more contenders the margins of each alone are left out: where the response of one is jitter
of another each test takes long, else less so."""


def margins(workload: Workload) -> Margins:
    """The margins of a system: for everything together, and for each contender alone.

    The latter are left out of large systems.
    """
    number = len(workload.contenders)
    each = workload.contenders if number <= _most(workload) else ()
    stretch = _largest(lambda part: accepts(stretched(workload, Fraction(part, PARTS))), 1, PARTS)
    return Margins(
        None if stretch is None else Fraction(stretch, PARTS),
        tuple(Growth(c.name, c.cost_ns, _growth(c, workload)) for c in each),
    )


def _most(workload: Workload) -> int:
    return MOST_LINKED if linked(workload) else MOST_ALONE


def _growth(one: Contender, workload: Workload) -> int | None:
    inside = sum(s.length_ns for s in one.sections if not s.within)
    least = max(1, min(inside, one.cost_ns))

    def fine(cost: int) -> bool:
        return accepts(_replaced(workload, one, _longer(one, cost, workload)))

    found = _largest(fine, least, max(one.cost_ns, least))
    return None if found is None else found - one.cost_ns


def stretched(workload: Workload, factor: Fraction) -> Workload:
    """All execution, sections and switching `factor` times as long, rounded up.

    What a task waits for outside the core takes as long as before.
    """

    def longer(ns: int) -> int:
        return -(-ns * factor.numerator // factor.denominator)

    contenders = tuple(
        replace(
            c,
            cost_ns=longer(c.cost_ns),
            sections=tuple(
                Section(s.lock, longer(s.length_ns), s.within, s.sleeps) for s in c.sections
            ),
            masked_ns=longer(c.masked_ns),
            final_ns=longer(c.final_ns),
        )
        for c in workload.contenders
    )
    return replace(workload, contenders=contenders, switch_ns=longer(workload.switch_ns))


def _longer(one: Contender, cost_ns: int, workload: Workload) -> Contender:
    """The same with another execution time. Without pre-emption its last stretch takes it up."""
    if workload.preemptive or one.handler:
        return replace(one, cost_ns=cost_ns)
    final = max(1, one.final_ns + cost_ns - one.cost_ns)
    others = 0 if one.masked_ns == one.final_ns else one.masked_ns
    return replace(one, cost_ns=cost_ns, final_ns=final, masked_ns=max(final, others))


def _replaced(workload: Workload, one: Contender, by: Contender) -> Workload:
    contenders = tuple(by if c is one else c for c in workload.contenders)
    return replace(workload, contenders=contenders)


def _largest(fine: Callable[[int], bool], least: int, start: int) -> int | None:
    """The largest integer from `least` on that is fine; None if `least` is not."""
    if not fine(least):
        return None
    low, high = least, max(start, least + 1)
    while fine(high):
        low, high = high, high * 2
        if high > _MOST:
            return low
    while high - low > 1:
        middle = (low + high) // 2
        if fine(middle):
            low = middle
        else:
            high = middle
    return low

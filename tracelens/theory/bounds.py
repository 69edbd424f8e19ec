"""Tests by load alone: quick, sufficient, and inconclusive where they fail.

Liu & Layland, "Scheduling Algorithms for Multiprogramming in a Hard-Real-Time Environment", J. ACM
20(1), 1973; Bini, Buttazzo & Buttazzo, "Rate Monotonic Analysis: The Hyperbolic Bound", IEEE
Trans. Computers 52(7), 2003. With blocking: Sha, Rajkumar & Lehoczky, IEEE Trans. Computers 39(9),
1990. A deadline shorter than the period stands for the period, in the load as in the order.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from math import prod

from tracelens.theory.records import Bound, Verdict


@dataclass(frozen=True, slots=True)
class Row:
    """What a test by load needs of one contender. `limit_ns` is the smaller of T and D."""

    cost_ns: int
    period_ns: int
    limit_ns: int
    blocking_ns: int


def liu_layland(number: int) -> float:
    """n (2^(1/n) − 1): the load up to which n tasks are schedulable in rate-monotonic order."""
    return number * (2 ** (1 / number) - 1) if number else 1.0


def by_load(
    policy: str,
    utilisation: Fraction,
    rows: Sequence[Row] | None,
    why: str | None,
    *,
    proven: bool = True,
) -> tuple[Bound, ...]:
    """The tests of one core. Only a load that is `proven` to exceed it makes it unschedulable.

    `rows` are its contenders in order of priority; None where they are not all periodic or
    sporadic on their own, and `why` says what keeps the tests from applying.
    """
    found = [_load(policy, utilisation, rows, why)]
    if utilisation > 1 and not proven:
        said = "the longest executions together are more work than the core can do"
        found = [replace(found[0], verdict="inconclusive", why=said)]
    if policy == "edf":
        return (*found, _density(rows, why))
    return (*found, _utilisation_bound(rows, why), _hyperbolic(rows, why))


def _load(policy: str, utilisation: Fraction, rows: Sequence[Row] | None, why: str | None) -> Bound:
    verdict: Verdict = "inconclusive"
    said = "a load of at most 1 is necessary, not sufficient"
    if utilisation > 1:
        verdict, said = "unschedulable", "more work than the core can do"
    elif (
        policy == "edf"
        and rows
        and why is None
        and all(row.limit_ns == row.period_ns and not row.blocking_ns for row in rows)
    ):
        verdict, said = "schedulable", "sufficient where no deadline is before the period's end"
    return Bound("load", utilisation, 1.0, verdict, True, said, "Liu & Layland 1973")


def _applies(rows: Sequence[Row] | None, why: str | None) -> str | None:
    if why is not None or not rows:
        return why or "nothing contends for this core"
    if any(a.limit_ns > b.limit_ns for a, b in pairwise(rows)):
        return "the priorities are not in order of periods (or deadlines, where shorter)"
    return None


def _prefixes(rows: Sequence[Row]) -> list[list[Fraction]]:
    """For each task the loads of those up to it, its own with its blocking."""
    loads = [Fraction(row.cost_ns, row.limit_ns) for row in rows]
    if not any(row.blocking_ns for row in rows):
        return [loads]
    return [
        [*loads[:place], loads[place] + Fraction(row.blocking_ns, row.limit_ns)]
        for place, row in enumerate(rows)
    ]


def _utilisation_bound(rows: Sequence[Row] | None, why: str | None) -> Bound:
    source = "Liu & Layland 1973"
    no = _applies(rows, why)
    if not rows:
        return Bound("liu_layland", None, None, "inconclusive", False, no or "", source)
    if no is not None:
        total = sum((Fraction(row.cost_ns, row.limit_ns) for row in rows), Fraction())
        limit = liu_layland(len(rows))
        return Bound("liu_layland", total, limit, "inconclusive", False, no, source)
    # U ≤ n (2^(1/n) − 1) is (1 + U/n)^n ≤ 2, which fractions decide exactly.
    tests = _prefixes(rows)
    worst = max(tests, key=lambda part: sum(part) - Fraction(liu_layland(len(part))))
    passes = all((1 + sum(part) / len(part)) ** len(part) <= 2 for part in tests)
    said = _said(passes, len(tests) > 1)
    verdict: Verdict = "schedulable" if passes else "inconclusive"
    total = sum(worst, Fraction())
    return Bound("liu_layland", total, liu_layland(len(worst)), verdict, True, said, source)


def _hyperbolic(rows: Sequence[Row] | None, why: str | None) -> Bound:
    source = "Bini, Buttazzo & Buttazzo 2003"
    no = _applies(rows, why)
    if not rows:
        return Bound("hyperbolic", None, 2.0, "inconclusive", False, no or "", source)
    parts = _prefixes(rows) if no is None else _prefixes(rows)[-1:]
    value = max(prod((1 + load for load in part), start=Fraction(1)) for part in parts)
    if no is not None:
        return Bound("hyperbolic", value, 2.0, "inconclusive", False, no, source)
    verdict: Verdict = "schedulable" if value <= 2 else "inconclusive"
    return Bound("hyperbolic", value, 2.0, verdict, True, _said(value <= 2, len(parts) > 1), source)


def _density(rows: Sequence[Row] | None, why: str | None) -> Bound:
    source = "Liu, Real-Time Systems, 2000, ch. 6"
    if not rows:
        said = why or "nothing contends for this core"
        return Bound("density", None, 1.0, "inconclusive", False, said, source)
    total = sum((Fraction(row.cost_ns, row.limit_ns) for row in rows), Fraction())
    if why is not None or any(row.blocking_ns for row in rows):
        said = why or "it does not count blocking"
        return Bound("density", total, 1.0, "inconclusive", False, said, source)
    verdict: Verdict = "schedulable" if total <= 1 else "inconclusive"
    return Bound("density", total, 1.0, verdict, True, _said(total <= 1, False), source)


def _said(passes: bool, blocking: bool) -> str:
    with_blocking = "; the blocking of each task is counted" if blocking else ""
    if passes:
        return f"sufficient{with_blocking}"
    return f"exceeded, which decides nothing{with_blocking}"

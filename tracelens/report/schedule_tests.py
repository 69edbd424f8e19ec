"""The tests of an analysis as sections: bounds, scheduling points, demand, orders, margins."""

from fractions import Fraction
from typing import Final

from tracelens.numbers import microseconds, percent
from tracelens.report.blocks import Cell, Column, Listing, Paragraph, Section, Table
from tracelens.theory.records import CoreResult, Growth, Order, Schedulability
from tracelens.units import NS_PER_US

MOST_POINTS: Final = 24
"""So many points of a demand are printed; --json has all."""
MOST_OF_A_TASK: Final = 12
"""The scheduling points of a task are printed if they are no more."""


def us(ns: int | Fraction | None) -> str | None:
    """Nanoseconds as exact microseconds, without the unit."""
    return None if ns is None else microseconds(int(ns))


def fraction(value: Fraction) -> str:
    """A fraction as a course would print it, unless that is unreadable."""
    text = str(value)
    return text if len(text) <= 13 else f"{float(value):.4f}"


def bounds(found: Schedulability) -> Section:
    """The tests by load alone, core by core."""
    several = len(found.cores) > 1
    names = {
        "load": "load ≤ 1",
        "liu_layland": "load ≤ n(2^(1/n) − 1)",
        "hyperbolic": "Π(U + 1) ≤ 2",
        "density": "Σ C/min(D, T) ≤ 1",
    }
    rows = []
    for core in found.cores:
        for bound in core.bounds:
            cells: list[Cell] = [
                names[bound.name],
                None if bound.value is None else f"{float(bound.value):.4f}",
                None if bound.limit is None else f"{bound.limit:.4f}",
                bound.verdict if bound.applies else "does not apply",
                bound.why,
            ]
            rows.append(tuple([core.name, *cells] if several else cells))
    columns = (
        Column("test"),
        Column("value", "count"),
        Column("limit", "count"),
        Column("verdict"),
        Column("why"),
    )
    shown = (Column("core"), *columns) if several else columns
    text = "Sufficient tests by load alone. One that fails decides nothing."
    return Section("Bounds", (Paragraph(text), Table(shown, tuple(rows))))


def points(found: Schedulability) -> Section | None:
    """The scheduling points of each task; None if there are none to show."""
    items = []
    for task in found.tasks:
        if len(task.points) < 2 or task.contender.handler:
            continue
        fits = [p for p in task.points if p.demand_ns <= p.t_ns]
        first = f"fits first at {us(fits[0].t_ns)}" if fits else "fits nowhere"
        if len(task.points) > MOST_OF_A_TASK:
            items.append(f"{task.name}: {first}, of {len(task.points)} points")
            continue
        told = ", ".join(f"{us(p.t_ns)}: {us(p.demand_ns)}" for p in task.points)
        items.append(f"{task.name}: {told}; {first}")
    if not items:
        return None
    what = (
        "Time: work that must be done by then, in µs. A task is in time if the work fits at one of "
        "its points (Lehoczky, Sha & Ding 1989)."
    )
    return Section("Scheduling points", (Paragraph(what), Listing(tuple(items))))


def demand(core: CoreResult, found: Schedulability) -> Section | None:
    """The processor demand of a core under earliest deadline first."""
    of = core.demand
    if found.policy != "edf" or not of.points:
        return None
    where = f" of core {core.name}" if len(found.cores) > 1 else ""
    shown = of.points[:MOST_POINTS]
    rows = tuple((p.t_ns, p.demand_ns, p.demand_ns > p.t_ns) for p in shown)
    columns = (Column("t", "exact"), Column("demand", "exact"), Column("too much", "flag"))
    facts = []
    if of.busy_ns is not None:
        facts.append(f"Longest busy period: {us(of.busy_ns)} µs.")
    if of.limit_ns is not None:
        facts.append(f"L* = {fraction(of.limit_ns / NS_PER_US)} µs.")
    if of.visited:
        told = ", ".join(str(us(t)) for t in of.visited[:MOST_POINTS])
        more = ", …" if len(of.visited) > MOST_POINTS else ""
        facts.append(f"The quick test (QPA) looks at {told}{more}.")
    left = len(of.points) - len(shown)
    note = f"{left} more points in --json." if left else ""
    text = "Work with releases and deadlines within t, in µs, when all are released at 0."
    return Section(
        f"Processor demand{where}",
        (Paragraph(text), Table(columns, rows, note), Listing(tuple(facts))),
    )


def orders(found: Schedulability) -> Section | None:
    """The priority orders that were tried; None if none was."""
    if not found.orders:
        return None
    names = {core.core: core.name for core in found.cores}
    several = len(found.cores) > 1
    rows = []
    for order in found.orders:
        cells: list[Cell] = [order.kind, " > ".join(order.names), _order_verdict(order)]
        rows.append(tuple([names[order.core], *cells] if several else cells))
    columns = (Column("order"), Column("most urgent first"), Column("all in time"))
    shown = (Column("core"), *columns) if several else columns
    kinds = {order.kind for order in found.orders}
    text = "An optimal order is one in which all are in time, if any is (Audsley 1991)."
    if "optimal" not in kinds:
        text = "No order of priorities is shown to keep all deadlines (Audsley 1991)."
    return Section("Priority orders", (Paragraph(text), Table(shown, tuple(rows))))


def _order_verdict(order: Order) -> str:
    return "yes" if order.schedulable else "not shown"


def margins(found: Schedulability) -> Section | None:
    """How far executions may grow; None where that was not asked."""
    of = found.margins
    if of is None:
        return None
    if of.stretch is None:
        text = "However fast the core, the deadlines are not all shown to be kept."
    else:
        factor = f"{float(of.stretch):.4f}"
        clock = percent(float(1 / of.stretch))
        text = f"Everything may take {factor} times as long: the clock may run at {clock} of its "
        text += "speed."
        if of.stretch < 1:
            text = f"Everything would have to take {factor} of its time for all to be in time."
    if not of.growths:
        left = "What each task alone may grow by is left out: there are too many tasks."
        return Section("Margins", (Paragraph(text), Paragraph(left)))
    rows = tuple((g.name, g.cost_ns, _change(g)) for g in of.growths)
    columns = (Column("task"), Column("C", "exact"), Column("may change by"))
    return Section("Margins", (Paragraph(text), Table(columns, rows, "Each alone, in µs.")))


def _change(growth: Growth) -> str:
    if growth.ns is None:
        return "no time helps"
    return f"{'+' if growth.ns > 0 else ''}{us(growth.ns)}"

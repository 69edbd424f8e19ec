"""A schedulability analysis as one JSON document; `schedule-1.schema.json` describes its keys.

Times are microseconds as numbers; null where there is no bound or nothing is declared.
"""

from collections.abc import Mapping
from fractions import Fraction
from typing import Any, Final

import msgspec

from tracelens.observed import Seen
from tracelens.theory.records import Bound, CoreResult, Schedulability, TaskResult
from tracelens.theory.windows import Window
from tracelens.units import NS_PER_US, ns_to_us

SCHEMA: Final = "tracelens.schedule/1"


def encode(found: Schedulability, source: str, seen: Mapping[str, Seen] | None = None) -> bytes:
    """The document, UTF-8, one key a line, ending in a line feed."""
    lines = [
        f'"{key}":'.encode() + msgspec.json.encode(value)
        for key, value in _keys(found, source, seen)
    ]
    return b"{" + b",\n".join(lines) + b"}\n"


def _keys(
    found: Schedulability, source: str, seen: Mapping[str, Seen] | None
) -> list[tuple[str, Any]]:
    tasks = [task for task in found.tasks if not task.contender.handler]
    handlers = [task for task in found.tasks if task.contender.handler]
    fullest = max(found.cores, key=lambda core: core.utilisation, default=None)
    return [
        ("schema", SCHEMA),
        ("source", source),
        ("policy", found.policy),
        ("verdict", found.verdict),
        ("utilisation", float(found.utilisation)),
        ("utilisation_exact", str(found.utilisation)),
        ("tasks", [_task(task, seen) for task in tasks]),
        ("isrs", [_task(task, seen) for task in handlers]),
        ("bounds", {} if fullest is None else _bounds(fullest)),
        (
            "demand",
            [
                {"t_us": ns_to_us(p.t_ns), "demand_us": ns_to_us(p.demand_ns), "core": core.core}
                for core in found.cores
                for p in core.demand.points
            ],
        ),
        ("cores", [_core(core) for core in found.cores]),
        (
            "orders",
            [
                {
                    "core": order.core,
                    "kind": order.kind,
                    "tasks": order.names,
                    "responses_us": [ns_to_us(ns) for ns in order.responses_ns],
                    "schedulable": order.schedulable,
                }
                for order in found.orders
            ],
        ),
        ("margins", _margins(found)),
        ("notes", found.notes),
    ]


def _task(task: TaskResult, seen: Mapping[str, Seen] | None) -> dict[str, Any]:
    one, worst = task.contender, task.worst
    told = {
        "name": task.name,
        "core": one.core,
        "priority": one.priority,
        "execution_us": ns_to_us(one.cost_ns),
        "period_us": ns_to_us(one.period_ns),
        "deadline_us": ns_to_us(one.deadline_ns),
        "jitter_us": ns_to_us(one.jitter_ns),
        "offset_us": ns_to_us(one.offset_ns),
        "blocking_us": ns_to_us(task.blocking_ns),
        "response_us": ns_to_us(task.response_ns),
        "ok": task.ok,
        "verdict": task.verdict,
        "exact": task.exact,
        "why": task.why,
        "iterations": [] if worst is None else [ns_to_us(ns) for ns in worst.iterations],
        "worst_job": task.worst_job,
        "jobs": [_window(window) for window in task.windows],
        "blocking": _blocking(task),
        "interference": [
            {"name": part.name, "arrivals": part.arrivals, "us": ns_to_us(part.ns)}
            for part in task.parts
        ],
        "points": [
            {"t_us": ns_to_us(p.t_ns), "demand_us": ns_to_us(p.demand_ns)} for p in task.points
        ],
        "bound_us": ns_to_us(task.response_ns if task.bound_ns is None else task.bound_ns),
    }
    of = None if seen is None else seen.get(task.name)
    if of is not None:
        told["observed"] = {
            "response_us": ns_to_us(of.response_ns),
            "jobs": of.jobs,
            "deadline_misses": of.misses,
        }
    return told


def _window(window: Window) -> dict[str, Any]:
    return {
        "job": window.job,
        "finish_us": ns_to_us(window.finish_ns),
        "response_us": ns_to_us(window.response_ns),
        "iterations": [ns_to_us(ns) for ns in window.iterations],
    }


def _blocking(task: TaskResult) -> dict[str, Any] | None:
    held = task.blocking
    if held is None:
        return None
    return {
        "inherit_us": ns_to_us(held.inherit_ns),
        "inherit_sums_us": ns_to_us(held.sums_ns),
        "ceiling_us": ns_to_us(held.ceiling_ns),
        "sections": [
            {"task": b.task, "lock": b.lock, "us": ns_to_us(b.length_ns)} for b in held.blockers
        ],
    }


def _bounds(core: CoreResult) -> dict[str, Any]:
    return {bound.name: _bound(bound) for bound in core.bounds}


def _bound(bound: Bound) -> dict[str, Any]:
    """`value` is what a course prints: of Liu & Layland the bound, of the others the load's."""
    load = None if bound.value is None else float(bound.value)
    limit = bound.limit
    return {
        "value": limit if bound.name == "liu_layland" else load,
        "load": load,
        "limit": limit,
        "verdict": bound.verdict,
        "applies": bound.applies,
        "why": bound.why,
        "source": bound.source,
    }


def _core(core: CoreResult) -> dict[str, Any]:
    demand = core.demand
    return {
        "id": core.core,
        "name": core.name,
        "utilisation": float(core.utilisation),
        "verdict": core.verdict,
        "bounds": _bounds(core),
        "busy_period_us": ns_to_us(demand.busy_ns),
        "demand_limit_us": _us(demand.limit_ns),
        "qpa_visited_us": [ns_to_us(t) for t in demand.visited],
        "demand_fits": demand.passes,
    }


def _us(value: Fraction | None) -> float | None:
    return None if value is None else float(value / NS_PER_US)


def _margins(found: Schedulability) -> dict[str, Any] | None:
    margins = found.margins
    if margins is None:
        return None
    stretch = margins.stretch
    return {
        "stretch": None if stretch is None else float(stretch),
        "least_clock": None if stretch is None else float(1 / stretch),
        "tasks": [
            {"name": g.name, "execution_us": ns_to_us(g.cost_ns), "change_us": ns_to_us(g.ns)}
            for g in margins.growths
        ],
    }

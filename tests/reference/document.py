"""The report's document, as far as the reference goes: µs from the first event, names for ids."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING, Any

from tests.reference.axis import Axis

if TYPE_CHECKING:
    from tests.reference.reading import Result


def us(ns: int | float | None) -> float | None:
    return None if ns is None else ns / 1000


def percentile(values: list[int], share: int) -> int:
    """Nearest rank: the smallest value that at least `share` percent are not above."""
    return sorted(values)[-(-len(values) * share // 100) - 1]


def statistics(values: list[int], *names: str) -> dict[str, float | None]:
    out: dict[str, float | None] = {}
    for name in names:
        if not values:
            out[name] = None
        elif name == "mean":
            out[name] = us(sum(values) / len(values))
        elif name == "min":
            out[name] = us(min(values))
        elif name == "max":
            out[name] = us(max(values))
        else:
            out[name] = us(percentile(values, int(name[1:])))
    return out


FIVE = ("min", "mean", "p50", "p95", "p99", "max")


def document(result: Result, axis: Axis) -> dict[str, Any]:
    return {
        "schema": "tracelens.report/1",
        "log": _log(result, axis),
        "cores": _cores(result),
        "tasks": _tasks(result),
        "isrs": _isrs(result),
        "locks": _locks(result),
        "queues": _queues(result),
        "inversions": _inversions(result),
        "misses": _misses(result),
        "deadlocks": [
            {"tasks": list(tasks), "locks": list(locks), "at_us": us(at)}
            for at, tasks, locks in result.deadlocks
        ],
    }


def _known(result: Result) -> dict[int, int]:
    known: dict[int, int] = dict.fromkeys(result.world.cores, 0)
    for core, start, end, kind, _ in result.occupancy:
        if kind != "unknown":
            known[core] += end - start
    return known


def _log(result: Result, axis: Axis) -> dict[str, Any]:
    whole = result.world.span * len(result.world.cores)
    return {
        "events": len(axis.events),
        "start_ticks": axis.start_ticks,
        "duration_us": us(result.world.span),
        "boots": len(result.world.boot_starts),
        "lost_events": result.world.lost_events,
        "contradictions": len(result.contradictions),
        "coverage": sum(_known(result).values()) / whole if whole else None,
        "unused_lines": {
            reason: {"count": len(lines), "first_lines": lines[:5]}
            for reason, lines in sorted(result.text.unused.items())
        },
    }


def _cores(result: Result) -> list[dict[str, Any]]:
    span = result.world.span
    out = []
    for core in result.world.cores:
        share: dict[str, int] = defaultdict(int)
        for where, start, end, kind, _ in result.occupancy:
            if where == core:
                share[kind] += end - start
        known = span - share["unknown"]
        free = share["idle"] + share["asleep"]
        row: dict[str, Any] = {
            "id": core,
            "name": result.text.cores[core],
            "load": 1 - free / known if known else None,
            "load_bounds": [(known - free) / span, (span - free) / span] if span else None,
        }
        for kind in ("idle", "asleep", "switching", "unknown"):
            row[kind] = share[kind] / span if span else None
        out.append(row)
    return out


def _tasks(result: Result) -> list[dict[str, Any]]:
    from tests.reference.reading import executions

    known = _known(result)
    one_core = sum(known.values()) / len(known) if known else 0
    occupied: dict[str, int] = defaultdict(int)
    for _, start, end, kind, who in result.occupancy:
        if who is not None and kind != "isr":
            occupied[who] += end - start
    own = executions(result)
    jobs_of: dict[str, list[tuple[Any, ...]]] = defaultdict(list)
    for row in result.jobs:
        jobs_of[row[0]].append(row)
    out = []
    for name, task in sorted(result.world.tasks.items()):
        declared = task.declared
        jobs = jobs_of[name]
        judged = [row for row in jobs if row[4] == "complete"]
        responses = [end - release for _, release, _, end, *_ in judged]
        latencies = [first - release for _, release, first, *_ in judged if first is not None]
        misses = [_late(row, declared.deadline_ns) for row in jobs]
        out.append(
            {
                "name": name,
                "priority": task.base.last,
                "load": occupied[name] / one_core if one_core else None,
                "execution_us": {
                    "total": us(sum(b - a for a, b in own.get(name, []))),
                    "per_job": statistics([row[7] for row in judged], "min", "mean", "max"),
                },
                "jobs": len(judged),
                "jobs_open": sum(row[4] == "open" for row in jobs),
                "jobs_excluded": sum(row[4] == "excluded" for row in jobs),
                "jobs_aborted": sum(row[4] == "aborted" for row in jobs),
                "jobs_inferred": sum(row[5] for row in judged),
                "response_us": statistics(responses, *FIVE),
                "start_latency_us": statistics(latencies, *FIVE),
                "deadline_us": us(declared.deadline_ns),
                "deadline_misses": None if declared.deadline_ns is None else sum(misses),
                "longest_miss_run": _longest_run(misses),
            }
        )
    return out


def _late(job: tuple[Any, ...], deadline: int | None) -> bool:
    """Complete, or open at the end of the log, and response > deadline."""
    _, release, _, end, status, *_ = job
    return deadline is not None and status in ("complete", "open") and end - release > deadline


def _longest_run(misses: list[bool]) -> int:
    longest = run = 0
    for miss in misses:
        run = run + 1 if miss else 0
        longest = max(longest, run)
    return longest


def _isrs(result: Result) -> list[dict[str, Any]]:
    known = _known(result)
    one_core = sum(known.values()) / len(known) if known else 0
    out = []
    for name in sorted(result.text.isrs):
        runs = [row for row in result.isr_runs if row[0] == name]
        owns = [row[4] for row in runs]
        latencies = [row[2] - row[5] for row in runs if row[5] is not None]
        out.append(
            {
                "name": name,
                "count": len(runs),
                "load": sum(owns) / one_core if one_core else None,
                "execution_us": {"total": us(sum(owns))} | statistics(owns, "min", "mean", "max"),
                "latency_us": statistics(latencies, *FIVE),
            }
        )
    return out


def _locks(result: Result) -> list[dict[str, Any]]:
    out = []
    for name, lock in sorted(result.world.locks.items()):
        holds = [row for row in result.holds if row[0] == name]
        whole = [row for row in holds if row[5]]
        waits = [row[4] - row[3] for row in result.lock_waits if row[0] == name]
        out.append(
            {
                "name": name,
                "protocol": lock.declared.protocol,
                "holds": len(holds),
                "hold_us": statistics([row[3] - row[2] for row in whole], "max", "mean"),
                "own_us": statistics([row[4] for row in whole], "max"),
                "contentions": len(waits),
                "wait_us": {
                    "max": us(max(waits)) if waits else None,
                    "total": us(sum(waits)),
                },
            }
        )
    return out


def _queues(result: Result) -> list[dict[str, Any]]:
    out = []
    for name, queue in sorted(result.world.queues.items()):
        levels = [items for which, _, items in result.queue_levels if which == name]
        waits = [b - a for which, a, b in result.queue_items if which == name]
        out.append(
            {
                "name": name,
                "depth": queue.declared.depth,
                "most_items": max((items for items in levels if items is not None), default=0),
                "sends": queue.sends,
                "receives": queue.receives,
                "item_wait_us": statistics(waits, *FIVE),
            }
        )
    return out


def _inversions(result: Result) -> list[dict[str, Any]]:
    return [
        {
            "kind": kind,
            "victim": victim,
            "lock": lock,
            "chain": list(chain),
            "start_us": us(start),
            "duration_us": us(end - start),
            "holder_us": us(holder),
            "third_party_us": us(third),
            "third_parties": {name: us(ns) for name, ns in parties},
            "raised": raised,
        }
        for kind, victim, lock, chain, start, end, holder, third, raised, parties in (
            result.inversions
        )
    ]


def _misses(result: Result) -> list[dict[str, Any]]:
    out = []
    numbers: dict[str, int] = defaultdict(int)
    for row in result.jobs:
        name, release, _, end, status, *_ = row
        numbers[name] += 1
        deadline = result.world.tasks[name].declared.deadline_ns
        if not _late(row, deadline):
            continue
        assert deadline is not None
        ledger = result.ledgers[name, numbers[name]]
        out.append(
            {
                "task": name,
                "job": numbers[name],
                "release_us": us(release),
                "response_us": us(end - release),
                "deadline_us": us(deadline),
                "lateness_us": us(end - release - deadline),
                "open": status == "open",
                "ledger": [
                    {"entry": entry, "by": by, "via": via, "us": us(ns)}
                    for (entry, by, via), ns in ledger.items()
                ],
            }
        )
    return sorted(out, key=lambda miss: (miss["release_us"], miss["task"]))

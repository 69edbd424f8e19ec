"""Run every detector and put first what is worst."""

from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from typing import Final

from tracelens.findings import (
    causes,
    changes,
    declared,
    dispatch,
    lateness,
    locking,
    lockorder,
    resources,
    trends,
    trust,
)
from tracelens.findings.evidence import Evidence
from tracelens.findings.thresholds import Limits
from tracelens.model.results import Analysis, Finding

SEVERITIES: Final = ("error", "warning", "note")
"""'error': a promise was broken in this run. 'warning': a threshold was crossed, or the log is
damaged. 'note': worth knowing."""

DETECTORS: Final[tuple[Callable[[Evidence], Iterator[Finding]], ...]] = (
    locking.deadlocks,
    causes.main_cause,
    lateness.deadline_misses,
    lateness.open_late_jobs,
    lateness.chain_misses,
    changes.interrupts,
    changes.sections,
    changes.executions,
    resources.stacks,
    trends.stacks,
    dispatch.priority_order,
    dispatch.starvation,
    lateness.near_deadlines,
    trends.responses,
    locking.inversions,
    dispatch.deferral,
    lockorder.lock_orders,
    lockorder.held_asleep,
    dispatch.masked,
    resources.queues,
    trends.queues,
    trends.jitter,
    resources.core_loads,
    trust.damage,
    changes.long_executions,
    locking.contentions,
    declared.hidden_activations,
    resources.growing_stacks,
    lateness.unseen_chains,
    declared.without_deadline,
    declared.without_priority,
    trust.few_jobs,
    declared.unknown_declarations,
    trust.remarks,
)
"""In order of importance. Each yields its findings the largest first."""


def find(analysis: Analysis, thresholds: Mapping[str, float] | None = None) -> tuple[Finding, ...]:
    """All findings about a run: by severity, then by detector, then the largest first.

    `thresholds` replaces some of `thresholds.Limits` by name. Raises `UsageError` for an unknown
    one.
    """
    evidence = Evidence(analysis, Limits.of(thresholds or {}))
    with ThreadPoolExecutor(2) as beside:
        found = beside.map(lambda detect: list(detect(evidence)), DETECTORS)
    every = (finding for of_one in found for finding in of_one)
    return tuple(sorted(every, key=lambda finding: SEVERITIES.index(finding.severity)))

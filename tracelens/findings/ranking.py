"""Run every detector and put first what is worst."""

from collections.abc import Callable, Iterator
from typing import Final

from tracelens.findings import declared, lateness, locking, resources, trust
from tracelens.model.results import Analysis, Finding

SEVERITIES: Final = ("error", "warning", "note")
"""'error': a promise was broken in this run. 'warning': a threshold was crossed, or the log is
damaged. 'note': worth knowing."""

DETECTORS: Final[tuple[Callable[[Analysis], Iterator[Finding]], ...]] = (
    locking.deadlocks,
    lateness.deadline_misses,
    lateness.open_late_jobs,
    lateness.chain_misses,
    resources.stacks,
    locking.inversions,
    lateness.near_deadlines,
    resources.queues,
    resources.core_loads,
    trust.damage,
    locking.contentions,
    declared.hidden_activations,
    lateness.unseen_chains,
    declared.without_deadline,
    declared.without_priority,
    trust.few_jobs,
    declared.unknown_declarations,
    trust.remarks,
)
"""In order of importance. Each yields its findings the largest first."""


def find(analysis: Analysis) -> tuple[Finding, ...]:
    """All findings about a run: by severity, then by detector, then the largest first."""
    found = (finding for detect in DETECTORS for finding in detect(analysis))
    return tuple(sorted(found, key=lambda finding: SEVERITIES.index(finding.severity)))

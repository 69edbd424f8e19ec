"""Is every task shown to meet its deadline? The whole test, without its tables."""

from tracelens.theory.demand import fits as demand_fits
from tracelens.theory.edf import edf_core
from tracelens.theory.response import feasible
from tracelens.theory.schedule import scheduled
from tracelens.theory.workload import Workload


def accepts(workload: Workload) -> bool:
    """Whether the tests that `analyse` applies show every task to meet its deadline."""
    passes = _deadlines(workload) if workload.policy == "edf" else feasible(workload)
    return passes or _as_scheduled(workload)


def _deadlines(workload: Workload) -> bool:
    for number in workload.cores:
        core = edf_core(number, workload, {})
        if core.cannot:
            return False
        if not demand_fits(core.claims, core.handlers, core.blocked, core.extra_ns):
            return False
    return True


def _as_scheduled(workload: Workload) -> bool:
    due = {c.name: c.deadline_ns for c in workload.contenders}
    for core in workload.cores:
        worst = scheduled(workload, core)
        if worst is None:
            return False
        for name, (response, _) in worst.items():
            limit = due[name]
            if limit is not None and response > limit:
                return False
    return bool(workload.cores)

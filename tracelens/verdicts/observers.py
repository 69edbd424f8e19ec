"""Which observer answers for which measure."""

from typing import Final

from tracelens.model.budgets import Budget
from tracelens.verdicts import of_tasks, of_things
from tracelens.verdicts.observation import Observation, Observer
from tracelens.verdicts.statistics import sample
from tracelens.verdicts.view import View

OBSERVERS: Final[dict[str, dict[str, Observer]]] = {
    "tasks": {
        "release_jitter_max_us": of_tasks.jitter,
        "misses": of_tasks.misses,
        "miss_run_max": of_tasks.miss_run,
        "jobs_min": of_tasks.jobs,
        "jobs_open_max": of_tasks.counted("jobs_open"),
        "jobs_excluded_max": of_tasks.counted("jobs_excluded"),
        "jobs_aborted_max": of_tasks.counted("jobs_aborted"),
        "jobs_inferred_max": of_tasks.counted("jobs_inferred"),
        "hidden_max": of_tasks.counted("hidden"),
        "load_max": of_tasks.load,
        "stack_free_min_bytes": of_tasks.stack_free,
        "stack_headroom_min": of_tasks.stack_headroom,
        "inversion_max_us": of_tasks.inversion(None),
        "inversion_unbounded_max_us": of_tasks.inversion("third_party_ns"),
    },
    "cores": {
        "load_max": of_things.core_load,
        "peak_load_max": of_things.peak_load,
        "isr_share_max": of_things.share("isr"),
        "task_share_max": of_things.share("task"),
        "switching_share_max": of_things.share("switching"),
        "idle_share_min": of_things.share("idle"),
        "asleep_share_min": of_things.share("asleep"),
        "unknown_share_max": of_things.share("unknown"),
        "wakeups_per_s_max": of_things.wakeups,
        "irq_masked_max_us": of_things.masked("irq"),
        "sched_masked_max_us": of_things.masked("sched"),
    },
    "isrs": {
        "runs_min": of_things.total("isrs", "count", "runs"),
        "runs_max": of_things.total("isrs", "count", "runs"),
        "load_max": of_tasks.load,
    },
    "locks": {
        "wait_total_max_us": of_things.total("locks", "wait_total_ns", "waits"),
        "contentions_max": of_things.total("locks", "contentions", "waits"),
        "holds_min": of_things.total("locks", "holds", "holds"),
        "deadlocks_max": of_things.deadlocks,
    },
    "queues": {
        "most_items_max": of_things.most_items,
        "fill_max": of_things.fill,
        "sends_min": of_things.total("queues", "sends", "items"),
        "receives_min": of_things.total("queues", "receives", "items"),
    },
    "chains": {
        "misses": of_tasks.chain_misses,
        "instances_min": of_things.total("chains", "instances", "instances"),
    },
    "log": {
        "coverage_min": of_things.quality("coverage"),
        "duration_min_us": of_things.duration,
        "events_min": of_things.quality("events"),
        "lost_events_max": of_things.quality("lost_events"),
        "contradictions_max": of_things.quality("contradictions"),
        "repairs_max": of_things.quality("repairs"),
        "unused_lines_max": of_things.unused_lines,
        "boots_max": of_things.quality("boots"),
    },
    "phases": {
        "duration_max_us": of_things.phase_length,
        "duration_min_us": of_things.phase_length,
        "occurrences_min": of_things.occurrences,
        "occurrences_max": of_things.occurrences,
    },
}
"""Group → key → observer, of all measures that are no statistic of a sample."""


def observe(view: View, name: str, budget: Budget) -> Observation:
    """What is known of the measure that `budget` limits, of the thing `name`."""
    if budget.measure.series:
        return sample(view, budget.group, name, budget.measure)
    return OBSERVERS[budget.group][budget.measure.key](view, name, budget)

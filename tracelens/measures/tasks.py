"""One row a task: load, jobs, responses, misses and stack together."""

import polars as pl

from tracelens.measures.contract import conform, of_name
from tracelens.measures.declared import tasks as declared_tasks
from tracelens.measures.load import by_core, load_by_name
from tracelens.measures.misses import miss_patterns
from tracelens.measures.naming import actors, with_name
from tracelens.measures.response import job_statistics, release_jitter
from tracelens.measures.stack import stack
from tracelens.model.measured import TASK_SUMMARY
from tracelens.model.results import Timeline
from tracelens.spans import Windows, meetings

_COUNTS = ("jobs", "jobs_open", "jobs_excluded", "jobs_aborted", "jobs_inferred", "hidden")
_MISSES = ("deadline_misses", "longest_miss_run", "worst_10")


def tasks(
    run: Timeline, lock_waits: pl.DataFrame, spent: pl.DataFrame, windows: Windows
) -> pl.DataFrame:
    """The summary of every task: a table of `TASK_SUMMARY`, most urgent first, idle tasks last.

    `run` is cut to `windows` (its log is not), `lock_waits` are those of the whole run, `spent` the
    `totals` of the cut occupancy. Tasks of equal priority stand in order of declaration, those of
    unknown priority after the others.
    """
    system = run.system
    more_urgent_first = system.order != "lower_first"
    jobs = run.jobs
    if jobs["task"].is_sorted():  # grouping what is known to be in order takes half the time
        jobs = jobs.with_columns(pl.col("task").set_sorted())
    return conform(
        declared_tasks(system)
        .join(last_priorities(run), on="task", how="left", maintain_order="left")
        .with_columns(priority=pl.coalesce("declared_priority", "last_priority"))
        .sort(
            "idle",
            "priority",
            descending=[False, more_urgent_first],
            nulls_last=True,
            maintain_order=True,
        )
        .join(execution(run, lock_waits, spent), on="task", how="left", maintain_order="left")
        .join(job_statistics(jobs), on="task", how="left", maintain_order="left")
        .join(
            release_jitter(jobs, system, run.log.restarts),
            on="task",
            how="left",
            maintain_order="left",
        )
        .join(miss_patterns(jobs), on="task", how="left", maintain_order="left")
        .join(stack(run, windows), on="task", how="left", maintain_order="left")
        .with_columns(
            pl.col(*_COUNTS, *_MISSES).fill_null(0),
            # Idle time need not say whose it is: then nothing is known of an idle task.
            *(
                pl.when("idle").then(pl.col(column)).otherwise(pl.col(column).fill_null(0))
                for column in ("load", "execution_ns")
            ),
            stack_headroom=pl.col("stack_least_free_bytes") / pl.col("stack_size_bytes"),
        ),
        TASK_SUMMARY,
    )


def execution(run: Timeline, lock_waits: pl.DataFrame, spent: pl.DataFrame) -> pl.DataFrame:
    """Load and execution of every task that had a core. Columns task, load, execution_ns.

    Execution is the time that a task occupies a core and does not spin for a lock; of `lock_waits`
    also those that begin before the run's windows or end after them take their part of it.
    """
    return (
        load_by_name(spent)
        .rename({"name": "task"})
        .join(_spinning(run.occupancy, lock_waits), on="task", how="left")
        .select("task", "load", execution_ns=pl.col("occupied_ns") - pl.col("spun_ns").fill_null(0))
    )


def last_priorities(run: Timeline) -> pl.DataFrame:
    """The base priority last seen of each task that declares none. Columns task, last_priority.

    A `priority` event while the task holds a lock is inheritance or a ceiling, not a new base.
    """
    undeclared = {task.name for task in run.system.tasks if task.priority is None}
    events = (
        run.log.events.lazy()
        .filter(pl.col("event") == "priority")
        .select("part", "line", "time_ns", "subject", "value")
        .collect()
    )
    told = with_name(events, "subject", actors(run), "task").filter(
        pl.col("task").is_in(undeclared)
    )
    bases = [
        of_task.filter(_holds_nothing(of_task["time_ns"], of_name(run.holds, "task", str(name))))
        for (name,), of_task in told.group_by("task", maintain_order=True)
    ]
    return (
        pl.concat([told.clear(), *bases])
        .with_columns(last_priority=pl.col("value").cast(pl.String).cast(pl.Int64, strict=False))
        .drop_nulls("last_priority")
        .group_by("task", maintain_order=True)
        .agg(pl.col("last_priority").last())
    )


def _holds_nothing(moments: pl.Series, holds: pl.DataFrame) -> pl.Series:
    """At each moment, whether as many holds have ended as have begun; [start, end)."""
    begun = holds["start_ns"].sort().search_sorted(moments, side="right")
    ended = holds["end_ns"].sort().search_sorted(moments, side="right")
    return begun == ended


def _spinning(occupancy: pl.DataFrame, lock_waits: pl.DataFrame) -> pl.DataFrame:
    """Time that each task had a core while it spun for a lock. Columns task (String), spun_ns.

    Of each wait only the few intervals of the core that fall into it are looked at.
    """
    task = pl.col("task").cast(pl.String)
    waits = lock_waits.filter("spun").select(task, wait_from="start_ns", wait_to="end_ns")
    a, b = waits["wait_from"].to_numpy(), waits["wait_to"].to_numpy()
    shared = [waits.clear().select("task", ns="wait_from")]
    for rows in by_core(occupancy).values() if waits.height else ():
        wait, row = meetings(rows["start_ns"].to_numpy(), rows["end_ns"].to_numpy(), a, b)
        had_core = (pl.col("occupant") == "task") & (
            pl.col("who").cast(pl.String) == pl.col("task")
        )
        within = pl.min_horizontal("end_ns", "wait_to") - pl.max_horizontal("start_ns", "wait_from")
        both = pl.concat([waits[wait], rows[row]], how="horizontal")
        shared.append(both.filter(had_core).select("task", ns=within))
    return pl.concat(shared).group_by("task").agg(spun_ns=pl.col("ns").sum())

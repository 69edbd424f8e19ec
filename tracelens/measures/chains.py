"""End-to-end latency along declared chains of causes.

A chain is a path of stages: interrupt handlers, tasks, and words that the application marks. Each
stage *occurs*: a handler's run, a task's job, one mark. It begins where the run begins, the
job is released, the mark is written. An instance of the chain is an occurrence of the last stage
that can be followed back, stage by stage, to an occurrence of the first (the rule for one step
is in `causes`). So each completion of the last stage counts once at most; if one cause has
several effects, each is an instance. The latency runs from the begin of the first stage to the
completion of the last.

A job counts as the last stage only if it is complete; what touches unknown time, or was cut by the
log's end, is no stage at all, for its begin is not certain.
"""

import numpy as np
import polars as pl

from tracelens.measures.causes import Stage, acts, causes, stage
from tracelens.measures.contract import FIVE, conform, empty, statistics
from tracelens.model.measured import CHAIN_INSTANCES, CHAIN_SUMMARY
from tracelens.model.results import Timeline
from tracelens.model.system import Chain
from tracelens.spans import Windows, inside


def chain_instances(run: Timeline, windows: Windows) -> pl.DataFrame:
    """Every complete instance of every declared chain: a table of `CHAIN_INSTANCES`.

    `run` is the whole run: an instance belongs to a window if it begins and ends within it, so its
    stages are looked for everywhere. Rows: chains in order of declaration, then by end.
    """
    declared = [chain for chain in run.system.chains if chain.path]
    if not declared:
        return empty(CHAIN_INSTANCES)
    done = acts(run, {name for chain in declared for name in chain.path})
    followed = [_follow(run, done, chain) for chain in declared]
    return inside(pl.concat([empty(CHAIN_INSTANCES), *followed]), windows)


def chains(run: Timeline, instances: pl.DataFrame) -> pl.DataFrame:
    """The summary of every declared chain: a table of `CHAIN_SUMMARY`, in order of declaration."""
    declared = run.system.chains
    listed = pl.DataFrame(
        {
            "chain": [chain.name for chain in declared],
            "path": [list(chain.path) for chain in declared],
            "deadline_ns": [chain.deadline_ns for chain in declared],
        },
        schema={"chain": pl.String, "path": pl.List(pl.String), "deadline_ns": pl.Int64},
    )
    summed = instances.group_by("chain").agg(
        *statistics("latency_ns", "latency", FIVE),
        instances=pl.len().cast(pl.Int64),
        deadline_misses=pl.col("late").sum().cast(pl.Int64),
    )
    return conform(
        listed.join(summed, on="chain", how="left", maintain_order="left").with_columns(
            pl.col("instances", "deadline_misses").fill_null(0)
        ),
        CHAIN_SUMMARY,
    )


def _follow(run: Timeline, done: pl.DataFrame, chain: Chain) -> pl.DataFrame:
    stages = [stage(run, name) for name in chain.path]
    last = stages[-1]
    reached = [np.flatnonzero(last.complete)]
    for cause, effect in zip(stages[-2::-1], stages[:0:-1], strict=True):
        found = causes(run, done, cause, effect)[reached[0]]
        known = found >= 0
        reached = [found[known], *(rows[known] for rows in reached)]
    return _table(chain, stages, reached)


def _table(chain: Chain, stages: list[Stage], reached: list[np.ndarray]) -> pl.DataFrame:
    begins, dones, jobs = (
        [
            pl.Series(f"{field}_{i}", getattr(one, field)[rows], pl.Int64)
            for i, (one, rows) in enumerate(zip(stages, reached, strict=True))
        ]
        for field in ("begin_ns", "done_ns", "job")
    )
    latency = pl.col("end_ns") - pl.col("start_ns")
    late = pl.lit(None) if chain.deadline_ns is None else latency > chain.deadline_ns
    return conform(
        pl.DataFrame([*begins, *dones, *jobs])
        .select(
            chain=pl.lit(chain.name),
            start_ns=pl.col("begin_ns_0"),
            end_ns=pl.Series(stages[-1].end_ns[reached[-1]], dtype=pl.Int64),
            stage_ns=pl.concat_list([column.name for column in begins]),
            stage_end_ns=pl.concat_list([column.name for column in dones]),
            stage_job=pl.concat_list(pl.col(column.name).replace(-1, None) for column in jobs),
        )
        .with_columns(latency_ns=latency, late=late)
        .sort("end_ns", maintain_order=True)
        .with_columns(instance=pl.int_range(1, pl.len() + 1, dtype=pl.Int64)),
        CHAIN_INSTANCES,
    )

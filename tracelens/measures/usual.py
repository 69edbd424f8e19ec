"""Ledgers of chosen jobs, and what is usual in them: entry by entry, so no job of its own."""

import numpy as np
import polars as pl

from tracelens.model.results import Timeline

Key = tuple[str, str | None, str | None]
"""(entry, by, via) of a ledger."""

Ledger = dict[Key, int]


def ledgers_of(run: Timeline, job_ids: list[int]) -> dict[int, Ledger]:
    """The ledger (ns) of each job that is asked for, in one pass over the episodes."""
    found: dict[int, Ledger] = {job_id: {} for job_id in job_ids}
    if not job_ids:
        return found
    ids = run.episodes["job_id"].to_numpy()
    asked = np.zeros(max(int(ids.max(initial=0)), *job_ids) + 1, np.bool_)
    asked[job_ids] = True
    rows = (
        run.episodes.lazy()
        .filter(pl.Series(asked[ids]))
        .group_by("job_id", "entry", "by", "via")
        .agg(ns=(pl.col("end_ns") - pl.col("start_ns")).sum())
        .with_columns(pl.col("entry", "by", "via").cast(pl.String))
        .sort("entry", "by", "via")  # of equal entries the first counts as the largest
        .collect()
    )
    for job_id, entry, by, via, ns in zip(*rows.to_dict(as_series=False).values(), strict=True):
        found[job_id][(entry, by, via)] = ns
    return found


def median(ledgers: list[Ledger]) -> Ledger:
    """For each entry the median over the jobs; a job without it counts with 0 (then left out)."""
    amounts: dict[Key, list[int]] = {}
    for ledger in ledgers:
        for key, ns in ledger.items():
            amounts.setdefault(key, []).append(ns)
    middle = len(ledgers) // 2
    usual: Ledger = {}
    for key, told in amounts.items():
        lacking = len(ledgers) - len(told)
        if middle >= lacking:
            usual[key] = sorted(told)[middle - lacking]
    return usual

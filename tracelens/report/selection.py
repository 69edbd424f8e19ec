"""What a report shows of a run's own tables, which an analysis has cut to its window already."""

import polars as pl

from tracelens.model.results import Analysis


def slowest_instances(analysis: Analysis) -> pl.DataFrame:
    """The slowest instance of each chain that has one: columns of `CHAIN_INSTANCES`."""
    return analysis.chain_instances.sort("latency_ns", descending=True, maintain_order=True).unique(
        "chain", keep="first", maintain_order=True
    )


def late_jobs(analysis: Analysis) -> pl.DataFrame:
    """The late jobs in order of release: columns of `model.tables.JOBS`, and `lateness_ns`."""
    late = analysis.timeline.jobs.filter("late")
    lateness = pl.col("response_ns") - pl.col("deadline_ns")
    return late.with_columns(lateness_ns=lateness).sort("release_ns", "job_id")

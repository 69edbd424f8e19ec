"""Where the latency of a chain's instance went, stage by stage.

Each stage has a part of the latency: from its begin to the begin of the next, the last to the end.
(A stage that begins before its cause, as a task does that was released before the item came for
which it waits in the middle of its job, has its part from where the cause began.) While its own
work lasts, the part has the entries of its ledger:

- of a job, and of a mark that a job wrote, those of the job;
- of an interrupt handler, `execution` while it runs, `isr` while one that interrupts it does.

From the end of that work to the begin of the next stage it is `hand_over`. So the entries of an
instance add up to its latency.
"""

import polars as pl

from tracelens.measures.contract import conform, empty
from tracelens.model.measured import CHAIN_LEDGERS
from tracelens.model.results import Analysis, Timeline
from tracelens.spans import meetings

_STAGE = ("chain", "instance", "position")
_ENTRY = ("entry", "by", "via")
_TOLD = pl.Schema(
    {
        "chain": pl.String,
        "instance": pl.Int64,
        "position": pl.Int64,
        "entry": pl.String,
        "by": pl.String,
        "via": pl.String,
        "ns": pl.Int64,
    }
)
_WITHIN = pl.min_horizontal("end_ns", "done_ns") - pl.max_horizontal("start_ns", "from_ns")
"""How much of a span lies in a stage's own work."""


def chain_ledgers(run: Timeline, instances: pl.DataFrame) -> pl.DataFrame:
    """The ledgers of the late instances, and of the slowest of each chain: `CHAIN_LEDGERS`.

    `run` is the whole run, `instances` a table of `CHAIN_INSTANCES`. Rows: by chain in order of
    declaration, instance and stage, then the largest entry first.
    """
    slowest = pl.col("latency_ns").arg_max().over("chain") == pl.int_range(pl.len()).over("chain")
    return _ledgers(run, instances.filter(pl.col("late").fill_null(False) | slowest))


def chain_ledger(analysis: Analysis, chain: str, instance: int) -> pl.DataFrame:
    """The ledger of one instance, late or not, in the same form; empty if there is none such."""
    one = (pl.col("chain") == chain) & (pl.col("instance") == instance)
    return _ledgers(analysis.timeline, analysis.chain_instances.filter(one))


def _ledgers(run: Timeline, instances: pl.DataFrame) -> pl.DataFrame:
    if instances.is_empty():
        return empty(CHAIN_LEDGERS)
    parts = _parts(run, instances)
    told = pl.concat([_of_jobs(run, parts), _of_handlers(run, parts)])
    entries = told.group_by(*_STAGE, *_ENTRY).agg(pl.col("ns").sum())
    known = entries.group_by(_STAGE).agg(known=pl.col("ns").sum())
    work = (pl.col("done_ns") - pl.col("from_ns")).alias("ns")
    untold = (
        parts.join(known, on=_STAGE, how="left")
        .select(*_STAGE, work - pl.col("known").fill_null(0), entry=pl.lit("unknown"))
        .filter(pl.col("ns") > 0)
    )
    handed = parts.select(
        *_STAGE, (pl.col("to_ns") - pl.col("done_ns")).alias("ns"), entry=pl.lit("hand_over")
    )
    every = pl.concat([entries, untold, handed], how="diagonal").filter(pl.col("ns") > 0)
    order = {chain.name: number for number, chain in enumerate(run.system.chains)}
    return conform(
        every.join(parts, on=_STAGE)
        .with_columns(declared=pl.col("chain").replace_strict(order, return_dtype=pl.Int64))
        .sort(
            *("declared", "instance", "position", "ns", "entry", "by", "via"),
            descending=[False, False, False, True, False, False, False],
        ),
        CHAIN_LEDGERS,
    )


def _parts(run: Timeline, instances: pl.DataFrame) -> pl.DataFrame:
    """One row a stage: its part of the latency [from_ns, to_ns), its work done at `done_ns`."""
    paths = pl.DataFrame(
        [
            (chain.name, i, stage)
            for chain in run.system.chains
            for i, stage in enumerate(chain.path)
        ],
        schema={"chain": pl.String, "position": pl.Int64, "stage": pl.String},
        orient="row",
    )
    one = ("chain", "instance")
    return (
        instances.select(*one, "end_ns", "stage_ns", "stage_end_ns", "stage_job")
        .explode("stage_ns", "stage_end_ns", "stage_job")
        .with_columns(
            position=pl.int_range(pl.len(), dtype=pl.Int64).over(one),
            from_ns=pl.col("stage_ns").cum_max().over(one),
        )
        .with_columns(to_ns=pl.col("from_ns").shift(-1).over(one).fill_null(pl.col("end_ns")))
        .with_columns(done_ns=pl.col("stage_end_ns").clip("from_ns", "to_ns"))
        .join(paths, on=["chain", "position"], maintain_order="left")
    )


def _of_jobs(run: Timeline, parts: pl.DataFrame) -> pl.DataFrame:
    at_work = parts.select(*_STAGE, "from_ns", "done_ns", job_id="stage_job").drop_nulls("job_id")
    if at_work.is_empty():
        return pl.DataFrame(schema=_TOLD)  # the episodes, which are many, are not looked at
    return (
        run.episodes.lazy()
        .filter(pl.col("job_id").is_in(at_work["job_id"].unique().implode()))
        .join(at_work.lazy(), on="job_id")
        .select(*_STAGE, *(pl.col(column).cast(pl.String) for column in _ENTRY), ns=_WITHIN)
        .filter(pl.col("ns") > 0)
        .collect()
    )


def _of_handlers(run: Timeline, parts: pl.DataFrame) -> pl.DataFrame:
    runs = run.isr_runs.select(pl.col("isr").cast(pl.String), "core", begun="start_ns")
    at_work = parts.filter(pl.col("stage_job").is_null()).join(
        runs, left_on=["stage", "stage_ns"], right_on=["isr", "begun"]
    )
    found = []
    for (core,), here in at_work.group_by("core"):
        taken = run.occupancy.filter((pl.col("core") == core) & (pl.col("occupant") == "isr"))
        taken = taken.sort("start_ns").select(pl.col("who").cast(pl.String), "start_ns", "end_ns")
        row, span = meetings(
            *(taken[edge].to_numpy() for edge in ("start_ns", "end_ns")),
            *(here[edge].to_numpy() for edge in ("from_ns", "done_ns")),
        )
        found.append(here.drop("end_ns")[row].hstack(taken[span]))
    if not found:
        return pl.DataFrame(schema=_TOLD)
    own = pl.col("who") == pl.col("stage")
    return pl.concat(found).select(
        *_STAGE,
        entry=pl.when(own).then(pl.lit("execution")).otherwise(pl.lit("isr")),
        by="who",
        via=pl.lit(None, pl.String),
        ns=_WITHIN,
    )

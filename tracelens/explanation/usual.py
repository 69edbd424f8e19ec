"""A late job beside the median job of its task, and all late jobs of a task by cause."""

import polars as pl

from tracelens.explanation import jobs
from tracelens.explanation.backlog import began
from tracelens.explanation.records import Growth, Job, Row, Story, Usual
from tracelens.measures.contract import nearest_rank
from tracelens.measures.ledgers import ledgers

_KEY = ("entry", "by", "via")
_LATENESS = pl.col("response_ns") - pl.col("deadline_ns")


def median_job(table: pl.DataFrame) -> tuple[Job, int] | None:
    """The median job of a task, and how many were judged; None if none was complete.

    `table` holds the task's jobs. It is the job of the nearest-rank median response (a response
    that was observed), the first one that has it.
    """
    judged = table.filter(pl.col("status") == "complete")
    if judged.is_empty():
        return None
    middle = judged.filter(pl.col("response_ns") == nearest_rank("response_ns", 50))
    return jobs.record(middle.head(1).to_dicts()[0]), judged.height


def usual(
    job: Job, rows: tuple[Row, ...], table: pl.DataFrame, episodes: pl.DataFrame
) -> Usual | None:
    """The job's ledger beside the median job's; None if there is none, or it is the job."""
    found = median_job(table)
    if found is None or found[0].job_id == job.job_id or not job.judged:
        return None
    middle, judged = found
    one = pl.DataFrame({"job_id": [middle.job_id], "late": [True]})
    theirs = jobs.rows_by_job(ledgers(one, episodes)).get(middle.job_id, ())
    mine = {(row.entry, row.by, row.via): row.ns for row in rows}
    common = {(row.entry, row.by, row.via): row.ns for row in theirs}
    keys = list(mine | common)
    grown = sum(max(mine.get(key, 0) - common.get(key, 0), 0) for key in keys)
    growths = [
        Growth(*key, ns, before, max(ns - before, 0) / grown if grown else 0.0)
        for key in keys
        for ns, before in [(mine.get(key, 0), common.get(key, 0))]
    ]
    growths.sort(key=lambda growth: growth.usual_ns - growth.ns)
    return Usual(middle, judged, tuple(growths))


def stories(table: pl.DataFrame, episodes: pl.DataFrame) -> tuple[Story, ...]:
    """The late jobs of a task by cause, the cause of most of them first.

    `table` holds all jobs of the task in order of release. A job's cause is the entry of its ledger
    that is larger than in the median job's ledger by most. Where nothing is larger, or the median
    job is late itself, it is the largest entry but the job's own execution; that, if it alone is
    longer than the deadline. A job whose cause is backlog has the cause of the job that began the
    backlog.
    """
    late = table.with_row_index("row").filter("late")
    found = median_job(table)
    if late.is_empty():
        return ()
    first = began(table)[late["row"].to_numpy()]
    beginners = table[first]["job_id"]
    wanted = pl.concat([late["job_id"], beginners]).unique()
    if found is not None:
        wanted = pl.concat([wanted, pl.Series("job_id", [found[0].job_id])]).unique()
    accounts = ledgers(wanted.to_frame().with_columns(late=pl.lit(True)), episodes)
    causes = _causes(accounts, None if found is None else found[0], table)
    told = (
        late.select("job_id", "release_ns", _LATENESS.alias("lateness_ns"), beginner=beginners)
        .join(causes, on="job_id", how="left", maintain_order="left")
        .join(causes, left_on="beginner", right_on="job_id", how="left", suffix="_first")
        .with_columns(through=(pl.col("entry") == "backlog") & (pl.col("entry_first") != "backlog"))
        .with_columns(
            pl.when("through").then(f"{column}_first").otherwise(column).alias(column)
            for column in _KEY
        )
        .sort("release_ns", "job_id")
        .group_by(_KEY, maintain_order=True)
        .agg(
            pl.len().alias("jobs"),
            pl.col("through").sum(),
            pl.col("job_id").first().alias("first"),
            pl.col("job_id").get(pl.col("lateness_ns").arg_max()).alias("worst"),
        )
        .sort("jobs", descending=True, maintain_order=True)
        .with_columns(pl.col("entry").cast(pl.String))
    )
    places = {row["job_id"]: row for row in _rows_of(table, told)}
    return tuple(
        Story(
            entry=row["entry"],
            by=row["by"],
            via=row["via"],
            jobs=row["jobs"],
            through_backlog=row["through"],
            first=jobs.record(places[row["first"]]),
            worst=jobs.record(places[row["worst"]]),
        )
        for row in told.to_dicts()
    )


def _rows_of(table: pl.DataFrame, told: pl.DataFrame) -> list[dict[str, object]]:
    named = pl.concat([told["first"], told["worst"]]).unique()
    return table.filter(pl.col("job_id").is_in(named.implode())).to_dicts()


def _causes(accounts: pl.DataFrame, middle: Job | None, table: pl.DataFrame) -> pl.DataFrame:
    """One row a job: job_id and the (entry, by, via) that `stories` takes for its cause."""
    usual_ns = pl.lit(0)
    if middle is not None and not middle.late:
        of_usual = accounts.filter(pl.col("job_id") == middle.job_id)
        accounts = accounts.join(
            of_usual.select(*_KEY, usual_ns="ns"), on=_KEY, how="left", nulls_equal=True
        )
        usual_ns = pl.col("usual_ns").fill_null(0)
    deadline = table["deadline_ns"][0]
    own = pl.col("entry") == "execution"
    too_long = own & (pl.col("ns") > (deadline if deadline is not None else 2**62))
    compared = middle is not None and not middle.late
    return (
        accounts.lazy()
        .with_columns(
            grown=pl.col("ns") - usual_ns if compared else pl.lit(0, pl.Int64),
            size=pl.when(too_long).then(2**62).when(own).then(-1).otherwise("ns"),
        )
        .with_columns(most=pl.col("grown").max().over("job_id"))
        .with_columns(score=pl.when(pl.col("most") > 0).then("grown").otherwise("size"))
        .sort("score", "ns", *_KEY, descending=[True, True, False, False, False])
        .unique("job_id", keep="first", maintain_order=True)
        .select("job_id", *_KEY)
        .collect()
    )

"""Rows of the table of jobs as records."""

from typing import Any

import polars as pl

from tracelens.explanation.records import Job, Row
from tracelens.measures.contract import of_name
from tracelens.model.system import Place


def job(table: pl.DataFrame, job_id: int) -> Job:
    """The job of that number; `table` is the whole of `JOBS`, where it is the row's number."""
    return record(table.row(job_id, named=True))


def record(row: dict[str, Any]) -> Job:
    """A named row of `JOBS` as a record."""
    return Job(
        **{name: row[name] for name in Job.__dataclass_fields__ if name in row},
        number=row["job"],
        release_place=_place(row["release_part"], row["release_line"]),
        end_place=_place(row["end_part"], row["end_line"]),
    )


def _place(part: int | None, line: int | None) -> Place | None:
    return None if part is None or line is None else (part, line)


def of_task(table: pl.DataFrame, task: str) -> pl.DataFrame:
    """The jobs of a task, in order of release."""
    return of_name(table, "task", task)


def rows_by_job(ledgers: pl.DataFrame) -> dict[int, tuple[Row, ...]]:
    """Job → its ledger, in the order of a table of `LEDGERS`."""
    found: dict[int, list[Row]] = {}
    columns = ledgers.select(pl.col("entry").cast(pl.String), "by", "via", "ns")
    for job_id, *fields in zip(ledgers["job_id"], *columns.get_columns(), strict=True):
        found.setdefault(job_id, []).append(Row(*fields))
    return {job_id: tuple(rows) for job_id, rows in found.items()}

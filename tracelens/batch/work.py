"""One log of many: read, measured, reported, and brought down to a few rows."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final
from uuid import uuid4

import polars as pl

from tracelens.analysis import analyse
from tracelens.batch.tables import TABLES
from tracelens.errors import InputError, TraceLensError, unwritable
from tracelens.model.columns import Table
from tracelens.model.results import Analysis, Timeline
from tracelens.plain import plain
from tracelens.reading import read
from tracelens.report import json_
from tracelens.report.document import worst_first

REPORTS: Final = "reports"
UNFINISHED: Final = ".part"
"""How the name of a report ends until it is whole."""


@dataclass(frozen=True, slots=True)
class Job:
    """What one worker is to do with one log. For a worker elsewhere paths are absolute."""

    number: int
    run: str
    log: Path
    directory: Path
    system: Path | None = None
    strict: bool = False
    html: bool = False


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of it: rows of `tables.TABLES` by name; of a log that was not read, of 'runs'."""

    number: int
    run: str
    status: int
    tables: dict[str, pl.DataFrame]


def work(job: Job) -> Outcome:
    """Do one job. It never raises: what went wrong is the outcome, and the next log's turn comes.

    Doing a job twice does no harm: a report appears whole, in place of the same one.
    """
    try:
        run = read(job.log, job.system, strict=job.strict)
        analysis = analyse(run)
        _write_reports(job, run, analysis)
        return Outcome(job.number, job.run, 0, _rows(job, analysis))
    except TraceLensError as error:
        return failure(job, _told(job, error), error.status)
    except MemoryError:
        return failure(job, "there is not enough memory to read it")
    except (Exception, pl.exceptions.PanicException) as error:
        # A bug in one log's reading must not cost the other logs; a panic is no Exception.
        return failure(job, f"a bug of tracelens: {type(error).__name__}: {error}")


def failure(job: Job, error: str, status: int = InputError.status) -> Outcome:
    """The outcome of a log that could not be read, or whose worker died; `error` in a line."""
    row = _frame(TABLES["runs"], [{"run": job.run, "status": status, "error": plain(error)}])
    return Outcome(job.number, job.run, status, {"runs": row})


def _told(job: Job, error: TraceLensError) -> str:
    """The error without the path of the log, which is another one on another machine."""
    file, _, line = (error.place or "").rpartition(":")
    if error.place == str(job.log):
        return error.problem
    return f"line {line}: {error.problem}" if file == str(job.log) else str(error)


def report_path(run: str, suffix: str = ".json") -> str:
    """Where the report on a run goes, below the directory of the results."""
    return f"{REPORTS}/{run}{suffix}"


def _write_reports(job: Job, run: Timeline, analysis: Analysis) -> None:
    _write_whole(job.directory / report_path(job.run), b"".join(json_.chunks(analysis)))
    if job.html:
        from tracelens.report import html

        page = html.render(analysis, run).encode()
        _write_whole(job.directory / report_path(job.run, ".html"), page)


def _write_whole(path: Path, data: bytes) -> None:
    """Write a file that is never seen half done, whoever dies and whoever writes it too."""
    begun = path.with_name(f"{path.name}.{uuid4().hex}{UNFINISHED}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        begun.write_bytes(data)
        begun.replace(path)
    except OSError as error:
        raise unwritable(str(path), error) from error


def _rows(job: Job, analysis: Analysis) -> dict[str, pl.DataFrame]:
    made = {
        "runs": _frame(TABLES["runs"], [_run_row(job, analysis)]),
        "findings": _frame(
            TABLES["findings"],
            [
                {
                    "run": job.run,
                    "severity": found.severity,
                    "kind": found.kind,
                    "subject": found.subject,
                    "text": found.text,
                    "at_ns": found.at_ns,
                }
                for found in worst_first(analysis)
            ],
        ),
    }
    for name, table in TABLES.items():
        if name not in made:
            frame: pl.DataFrame = getattr(analysis, name)
            made[name] = frame.select(pl.lit(job.run).alias("run"), *list(table.columns)[1:])
    return made


def _run_row(job: Job, analysis: Analysis) -> dict[str, Any]:
    timeline, quality = analysis.timeline, analysis.quality
    severities = [found.severity for found in analysis.findings]
    promised = analysis.tasks.filter(pl.col("deadline_ns").is_not_null())
    nearest = (
        promised.select("task", share=pl.col("response_max_ns") / pl.col("deadline_ns"))
        .drop_nulls()
        .sort("share", descending=True, maintain_order=True)
        .head(1)
    )
    first = worst_first(analysis)[:1]
    return {
        "run": job.run,
        "status": 0,
        "declared": " ".join(f"{key}={value}" for key, value in timeline.system.run.items()),
        "events": quality.events,
        "lines": quality.lines,
        "span_ns": timeline.span_ns,
        "cores": analysis.cores.height,
        "coverage": quality.coverage,
        "lost_events": quality.lost_events,
        "contradictions": quality.contradictions,
        "repairs": quality.repairs,
        "unused_lines": int(timeline.log.unused["count"].sum()),
        "errors": severities.count("error"),
        "warnings": severities.count("warning"),
        "notes": severities.count("note"),
        "jobs": int(promised["jobs"].sum()),
        "deadline_misses": int(promised["deadline_misses"].sum()),
        "nearest_task": nearest["task"].to_list()[0] if nearest.height else None,
        "nearest": nearest["share"].to_list()[0] if nearest.height else None,
        "load": analysis.cores["load"].max(),
        "first_finding": first[0].text if first else None,
        "report": report_path(job.run),
    }


def _frame(table: Table, rows: list[dict[str, Any]]) -> pl.DataFrame:
    """Rows of a contract; a column that a row does not give is null."""
    return pl.DataFrame(
        {column: [row.get(column) for row in rows] for column in table.columns},
        schema=table.schema(),
    )

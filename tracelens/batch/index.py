"""Many runs at a glance: how many are well, the worst of them, and what is wrong there."""

from typing import Final
from urllib.parse import quote

import polars as pl

from tracelens.batch.work import report_path
from tracelens.numbers import count
from tracelens.report.blocks import Column, Document, Paragraph, Remark, Section
from tracelens.report.rows import MOST_ROWS, left_out, table

MOST_REMARKS: Final = 8


def document(runs: pl.DataFrame, directory: str, most: int = MOST_ROWS) -> Document:
    """The index of a table `RUNS`, whose results are in `directory`; `most` runs are listed."""
    bad = runs.filter(pl.col("status") > 0)
    ranked = worst_first(runs)
    shown = ranked.filter(pl.col("status") == 0).head(most)
    listed = table(
        shown,
        {
            "run": Column("run"),
            "errors": Column("errors", "count"),
            "warnings": Column("warnings", "count"),
            "deadline_misses": Column("late", "count"),
            "nearest": Column("nearest", "share", means="largest response, of its deadline"),
            "nearest_task": Column("by"),
        },
        left_out(shown.height, runs.height - bad.height, "runs", "worst").replace(
            "--json has", "runs.csv has"
        ),
    )
    sections = [Section("Runs, the worst first", (listed,))] if shown.height else []
    files = Paragraph(
        "runs.csv has a row per run, tasks.csv one per run and task, findings.csv one per finding; "
        "columns.md says what is in them, reports/ has the report on each run."
    )
    return Document(
        title=f"{count(runs.height, 'run')}, results in {directory}",
        facts=(_facts(runs),),
        verdict=_verdict(runs, bad.height),
        remarks=_remarks(ranked),
        sections=(*sections, Section("Files", (files,))),
    )


def page(runs: pl.DataFrame, directory: str) -> str:
    """The index as an HTML page for `directory`: all runs, each leading to its HTML report."""
    from tracelens.report import html

    links = {run: quote(report_path(run, ".html")) for run in runs.filter(status=0)["run"]}
    return html.render_document(document(runs, directory, runs.height), links)


def worst_first(runs: pl.DataFrame) -> pl.DataFrame:
    """Unread runs, then by errors, late jobs, warnings, and how near the deadlines came."""
    return runs.sort(
        pl.col("status") > 0,
        "errors",
        "deadline_misses",
        "warnings",
        "nearest",
        descending=True,
        nulls_last=True,
        maintain_order=True,
    )


def _facts(runs: pl.DataFrame) -> str:
    events, jobs = runs.select(pl.col("events", "jobs").sum()).row(0)
    return f"{count(events, 'event')} · {count(jobs, 'job')} with a deadline judged"


def _verdict(runs: pl.DataFrame, unread: int) -> str:
    late = runs.filter(pl.col("deadline_misses") > 0).height
    wrong = runs.filter(pl.col("errors") > 0).height
    told = [f"{count(late, 'run')} with late jobs"] if late else []
    told += [f"{count(wrong, 'run')} with errors"] if wrong else []
    told += [f"{count(unread, 'log')} could not be read"] if unread else []
    if not told:
        return "Every log was read; no job was late, and no error was found."
    return f"{', '.join(told)}; the worst first:"


def _remarks(ranked: pl.DataFrame) -> tuple[Remark, ...]:
    """What is wrong in the worst runs: why it was not read, or its first finding."""
    wrong = ranked.filter((pl.col("status") > 0) | (pl.col("errors") > 0))
    told = wrong.head(MOST_REMARKS).select("run", pl.coalesce("error", "first_finding"))
    remarks = [Remark("error", f"{run}: {text}", "") for run, text in told.rows()]  # few rows: 8
    if wrong.height > MOST_REMARKS:
        more = f"{wrong.height - MOST_REMARKS} more runs: findings.csv has all"
        remarks.append(Remark("note", more, ""))
    return tuple(remarks)

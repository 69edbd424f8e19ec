"""The panel of response times: figure, and the statistics of the report with the job of each."""

import polars as pl

from tracelens.drawing.figures import Shown
from tracelens.drawing.panels.responses import response_times, responses
from tracelens.drawing.runs import Run
from tracelens.drawing.sheet import Sheet
from tracelens.measures.contract import FIVE
from tracelens.numbers import count, duration
from tracelens.report.blocks import Column
from tracelens.web.panels.grid import Grid, Head
from tracelens.web.panels.panel import Asked, Panel
from tracelens.web.panels.places import place

SAID = {
    "min": "shortest",
    "mean": "mean",
    "p50": "median",
    "p95": "95th percentile",
    "p99": "99th percentile",
    "max": "longest",
}


def _missing(run: Run) -> str:
    if run.analysis.timeline.jobs["response_ns"].count():
        return ""
    return (
        "No job was complete. Jobs are told by the waits between them, or by `arrive` and "
        "`finish` marks in the log."
    )


def _tasks(run: Run) -> list[str]:
    return [lane.name for lane in run.lanes.of("task") if not lane.idle]


def _figure(run: Run, asked: Asked, sheet: Sheet) -> Shown:
    return response_times(run, asked.of, sheet, asked.chosen)


def _data(run: Run, asked: Asked) -> pl.DataFrame:
    return responses(run, asked.of).select(
        "task", "job", "release_ns", "start_ns", "end_ns", "status", "execution_ns", "response_ns",
        "deadline_ns", "late",
    )  # fmt: skip


def _table(run: Run, of: str | None) -> Grid:
    task = run.analysis.tasks.filter(pl.col("task") == of)
    latency = pl.col("start_ns") - pl.col("release_ns")
    jobs = responses(run, of).filter(pl.col("status") == "complete")
    told = jobs.select(
        response="response_ns", latency=latency, place=place("release_ns", "end_ns", job="job_id")
    )
    values = {
        name: [
            task[f"{column}_{statistic}_ns"].item() if task.height else None for statistic in FIVE
        ]
        for name, column in (("response", "response"), ("latency", "start_latency"))
    }
    frame = pl.DataFrame(
        {"statistic": [SAID[statistic] for statistic in FIVE], **values},
        schema_overrides={"response": pl.Int64, "latency": pl.Int64},
    )
    for name in values:
        # A percentile is a value that was observed; a mean is not, and leads nowhere.
        first = told.group_by(name, maintain_order=True).agg(pl.col("place").first())
        found = frame.select(name).join(first, on=name, how="left", maintain_order="left")["place"]
        frame = frame.with_columns(
            pl.when(pl.col("statistic") != "mean").then(found).alias(f"{name}_place")
        )
    return Grid(
        frame,
        {
            "statistic": Head(Column("")),
            "response": Head(Column("response", "time"), leads="response_place"),
            "latency": Head(Column("start latency", "time"), leads="latency_place"),
        },
        note=_note(task),
    )


def _note(task: pl.DataFrame) -> str:
    if not task.height:
        return ""
    row = task.row(0, named=True)
    said = [f"{count(row['jobs'], 'job')} judged"]
    if row["deadline_ns"] is None:
        said.append("no deadline declared")
    else:
        said.append(f"{row['deadline_misses']} late, deadline {duration(row['deadline_ns'])}")
    if row["longest_miss_run"]:
        said.append(f"{row['longest_miss_run']} in a row")
    if row["release_jitter_ns"] is not None:
        said.append(f"release jitter {duration(row['release_jitter_ns'])}")
    for what in ("open", "excluded", "aborted", "inferred"):
        if row[f"jobs_{what}"]:
            said.append(f"{row[f'jobs_{what}']} {what}")
    return f"{'; '.join(said)}."


PANEL = Panel(
    value="responses",
    label="response times",
    missing=_missing,
    figure=_figure,
    data=_data,
    table=_table,
    of=_tasks,
    of_what="task",
    follows=frozenset({"chosen"}),
)

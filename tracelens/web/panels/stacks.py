"""The panel of stacks: size, mark and headroom of each, and how the mark moved."""

import polars as pl

from tracelens.drawing.figures import Shown
from tracelens.drawing.panels.stacks import marks_of, stack_over_time
from tracelens.drawing.runs import Run
from tracelens.drawing.sheet import Sheet
from tracelens.measures.stack import stack_marks
from tracelens.report.blocks import Column
from tracelens.spans import union
from tracelens.web.panels.grid import Grid, Head
from tracelens.web.panels.panel import Asked, Panel
from tracelens.web.panels.places import place


def _missing(run: Run) -> str:
    if run.analysis.tasks["stack_least_free_bytes"].count():
        return ""
    return (
        "No `stack` event is in this log: firmware that fills its stacks with a pattern can write "
        "`stack,TASK,BYTES` with the least free bytes; declare stack_bytes with each #task line."
    )


def _known(run: Run) -> pl.DataFrame:
    known = run.analysis.tasks.filter(pl.col("stack_least_free_bytes").is_not_null())
    return known.sort("stack_headroom", nulls_last=True, maintain_order=True)


def _names(run: Run) -> list[str]:
    return _known(run)["task"].to_list()


def _figure(run: Run, asked: Asked, sheet: Sheet) -> Shown:
    return stack_over_time(run, asked.of, sheet)


def _data(run: Run, asked: Asked) -> pl.DataFrame:
    return marks_of(run, asked.of)


def _table(run: Run, of: str | None) -> Grid:
    lowest = (
        stack_marks(run.analysis.timeline, union([run.analysis.window]))
        .sort("free_bytes", "at_ns", maintain_order=True)
        .unique("task", keep="first", maintain_order=True)
        .select("task", place=place("at_ns", "at_ns", lane="task"))
    )
    rows = _known(run).join(lowest, on="task", how="left", maintain_order="left")
    return Grid(
        rows,
        {
            "task": Head(Column("task")),
            "stack_headroom": Head(Column("headroom", "share"), leads="place", bar=True),
            "stack_least_free_bytes": Head(Column("least free", "bytes"), leads="place"),
            "stack_size_bytes": Head(Column("size", "bytes")),
            "stack_still_falling": Head(Column("still falling", "flag")),
        },
        note="Still falling: in the last third of the run; then the least free is no bound.",
    )


PANEL = Panel(
    value="stacks",
    label="stacks",
    missing=_missing,
    figure=_figure,
    data=_data,
    table=_table,
    of=_names,
    of_what="task",
    over_time=True,
)

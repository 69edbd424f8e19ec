"""The panel of marks: values that the application wrote, over time, and its phases as bands."""

import polars as pl

from tracelens.drawing.figures import Shown
from tracelens.drawing.panels.values import marks_between, values_over_time
from tracelens.drawing.runs import Run
from tracelens.drawing.sheet import Sheet
from tracelens.measures.marks import marks
from tracelens.report.blocks import Column
from tracelens.web.panels.grid import Grid, Head
from tracelens.web.panels.panel import Asked, Panel
from tracelens.web.panels.places import place


def _missing(run: Run) -> str:
    if run.analysis.phases.height or marks(run.analysis.timeline.log).height:
        return ""
    return (
        "The application marked nothing: it can write `mark,WORD,NUMBER` for a value over time, "
        "and `mark,WORD,begin` and `mark,WORD,end` for a phase."
    )


def _names(run: Run) -> list[str]:
    """Words with values first, then those that occur most often."""
    words = marks(run.analysis.timeline.log).group_by("mark", maintain_order=True)
    counted = words.agg(values=pl.col("value").count() > 0, times=pl.len())
    return counted.sort("values", "times", descending=True, maintain_order=True)["mark"].to_list()


def _figure(run: Run, asked: Asked, sheet: Sheet) -> Shown:
    return values_over_time(run, asked.of, asked.start_ns, asked.end_ns, sheet)


def _data(run: Run, asked: Asked) -> pl.DataFrame:
    return marks_between(run, asked.of, asked.start_ns, asked.end_ns)


def _table(run: Run, of: str | None) -> Grid:
    words = marks(run.analysis.timeline.log).group_by("mark", maintain_order=True)
    value = pl.col("value")
    told = words.agg(
        times=pl.len(),
        first_ns=pl.col("at_ns").first(),
        least=value.min(),
        least_at=pl.col("at_ns").get(value.arg_min()),
        greatest=value.max(),
        greatest_at=pl.col("at_ns").get(value.arg_max()),
    ).with_columns(
        what=pl.when(pl.col("least").is_null()).then(pl.lit("point")).otherwise(pl.lit("value")),
        first_place=place("first_ns", "first_ns"),
        least_place=place("least_at", "least_at"),
        greatest_place=place("greatest_at", "greatest_at"),
    )
    length = pl.col("end_ns") - pl.col("start_ns")
    phases = (
        run.analysis.phases.group_by("phase", maintain_order=True)
        .agg(
            times=pl.len(),
            first_ns=pl.col("start_ns").first(),
            first_end=pl.col("end_ns").first(),
            total_ns=length.sum(),
            from_ns=pl.col("start_ns").get(length.arg_max()),
            to_ns=pl.col("end_ns").get(length.arg_max()),
            longest_ns=length.max(),
        )
        .with_columns(
            what=pl.lit("phase"),
            first_place=place("first_ns", "first_end"),
            longest_place=place("from_ns", "to_ns"),
        )
        .rename({"phase": "mark"})
    )
    return Grid(
        pl.concat([told, phases], how="diagonal"),
        {
            "mark": Head(Column("mark")),
            "least": Head(Column("least", "number", rare=True), leads="least_place"),
            "greatest": Head(Column("greatest", "number", rare=True), leads="greatest_place"),
            "times": Head(Column("times", "count"), leads="first_place"),
            "longest_ns": Head(Column("longest", "time", rare=True), leads="longest_place"),
            "total_ns": Head(Column("in all", "time", "total", rare=True)),
            "first_ns": Head(Column("first at", "moment"), leads="first_place"),
            "what": Head(Column("what")),
        },
        note="Of the whole run.",
    )


PANEL = Panel(
    value="values",
    label="marks",
    missing=_missing,
    figure=_figure,
    data=_data,
    table=_table,
    of=_names,
    of_what="mark",
    follows=frozenset({"view"}),
    over_time=True,
)

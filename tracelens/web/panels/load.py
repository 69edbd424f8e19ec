"""The panel of load: curves over time, and the load and peak of each core, task and handler."""

import polars as pl

from tracelens.drawing.figures import Shown
from tracelens.drawing.panels.load import Curves, curves, load_over_time
from tracelens.drawing.runs import Run
from tracelens.drawing.sheet import Sheet
from tracelens.numbers import duration
from tracelens.report.blocks import Column
from tracelens.web.panels.grid import Grid, Head
from tracelens.web.panels.panel import Asked, Panel
from tracelens.web.panels.places import place

STEPS_OF_FILE = 1000
"""A file has so many windows unless the reader chooses their length."""


def _missing(run: Run) -> str:
    return "" if run.lanes.of("core") else "No core is known: the log has no `start` event."


def _figure(run: Run, asked: Asked, sheet: Sheet) -> Shown:
    return load_over_time(run, asked.start_ns, asked.end_ns, sheet, asked.window_ns, asked.of)


def _names(run: Run) -> list[str]:
    """Tasks and handlers, the busiest first."""
    loads = pl.concat(
        [
            run.analysis.tasks.select(name="task", load="load"),
            run.analysis.isrs.select(name="isr", load="load"),
        ]
    )
    return loads.sort("load", descending=True, nulls_last=True, maintain_order=True)[
        "name"
    ].to_list()


def _data(run: Run, asked: Asked) -> pl.DataFrame:
    drawn = curves(run, asked.start_ns, asked.end_ns, STEPS_OF_FILE, asked.window_ns, asked.of)
    return table_of(drawn, "load")


def table_of(drawn: Curves, what: str) -> pl.DataFrame:
    """Curves as a table for a file. Columns who, start_ns, end_ns and, called `what`, the share."""
    windows = pl.DataFrame({"start_ns": drawn.edges[:-1], "end_ns": drawn.edges[1:]})
    return pl.concat(
        windows.select(
            pl.lit(curve.name).alias("who"),
            "start_ns",
            "end_ns",
            pl.Series(what, curve.load).fill_nan(None),
        )
        for curve in drawn.curves
    )


def _table(run: Run, of: str | None) -> Grid:
    analysis = run.analysis
    labels = pl.Series([lane.label for lane in run.lanes.of("core")], dtype=pl.String)
    cores = analysis.cores.select(
        what=pl.lit("core"),
        name=labels,
        lane="name",
        load="load",
        peak_load="peak_load",
        peak_at_ns="peak_at_ns",
        peak_end_ns=pl.col("peak_at_ns") + pl.col("peak_window_ns"),
    )
    others = [
        frame.select(what=pl.lit(what), name=pl.col(column), load="load")
        for what, frame, column in (
            ("task", analysis.tasks, "task"),
            ("interrupt", analysis.isrs, "isr"),
        )
    ]
    rows = pl.concat([cores, *others], how="diagonal").with_columns(
        place=place("peak_at_ns", "peak_end_ns", lane="lane")
    )
    windows = analysis.cores["peak_window_ns"].drop_nulls()
    over = f" over {duration(windows[0])}" if len(windows) else ""
    return Grid(
        rows,
        {
            "name": Head(Column("core, task, handler")),
            "load": Head(Column("load", "share"), bar=True),
            "peak_load": Head(Column("peak", "share"), leads="place"),
            "peak_at_ns": Head(Column("at", "moment"), leads="place"),
        },
        note=f"Of the whole run; the peak is the busiest placement{over}.",
    )


PANEL = Panel(
    value="load",
    label="load",
    missing=_missing,
    figure=_figure,
    data=_data,
    table=_table,
    of=_names,
    of_what="task or handler",
    windows=True,
    follows=frozenset({"view"}),
    over_time=True,
)

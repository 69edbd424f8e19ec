"""The panel of sleep: how long each core slept, how often it woke, and for whom."""

from typing import Final

import polars as pl

from tracelens.drawing.figures import Shown
from tracelens.drawing.panels.load import STEP_PX, Curves, curves, shares_over_time
from tracelens.drawing.panels.rows import width
from tracelens.drawing.runs import Run
from tracelens.drawing.sheet import Sheet
from tracelens.measures.load import by_core
from tracelens.measures.sleep import wakes
from tracelens.report.blocks import Column
from tracelens.spans import union
from tracelens.web.panels.grid import Grid, Head
from tracelens.web.panels.load import table_of
from tracelens.web.panels.panel import Asked, Panel
from tracelens.web.panels.places import place

_STEPS_OF_FILE: Final = 1000


def _missing(run: Run) -> str:
    if run.analysis.sleep.height:
        return ""
    return (
        "No core slept in this log. Where the product sleeps, have the idle loop log `sleep` "
        "before and `wake` after it: then this panel says how long, how often, and for whom."
    )


def _asleep(run: Run, asked: Asked, steps: int) -> Curves:
    return curves(run, asked.start_ns, asked.end_ns, steps, asked.window_ns, states=("asleep",))


def _figure(run: Run, asked: Asked, sheet: Sheet) -> Shown:
    drawn = _asleep(run, asked, width(sheet) // STEP_PX)
    shown = shares_over_time(
        drawn, asked.start_ns, asked.end_ns, "asleep, %", sheet, asked.window_ns
    )
    return shown, ""


def _data(run: Run, asked: Asked) -> pl.DataFrame:
    return table_of(_asleep(run, asked, _STEPS_OF_FILE), "asleep")


def _table(run: Run, of: str | None) -> Grid:
    """A row for each core, followed by one for each that woke it, the most frequent first."""
    analysis = run.analysis
    windows = union([analysis.window])
    woken = [wakes(rows, windows) for rows in by_core(analysis.timeline.occupancy).values()]
    counted = (
        pl.concat(woken)
        .group_by("core", "who")
        .agg(wakeups=pl.len().cast(pl.Int64), at_ns=pl.col("at_ns").min())
    )
    first = counted.group_by("core").agg(pl.col("at_ns").min())
    slept = analysis.cores.join(analysis.sleep, on="core", suffix="_")
    known = slept.join(first, on="core", how="left", maintain_order="left").select(
        "core",
        core_name="name",
        who=pl.lit(None, pl.String),
        asleep_ns="asleep_ns",
        asleep="asleep",
        wakeups="wakeups",
        per_second="wakeups_per_s",
        at_ns="at_ns",
    )
    rate = known.select("core", "core_name", rate=pl.col("per_second") / pl.col("wakeups"))
    by_waker = counted.join(rate, on="core").with_columns(
        per_second=pl.col("wakeups") * pl.col("rate")
    )
    rows = (
        pl.concat([known, by_waker], how="diagonal")
        .sort(
            "core", pl.col("who").is_not_null(), pl.col("wakeups"), "who",
            descending=[False, False, True, False],
        )
        .select(
            "core_name", pl.col("who").fill_null("all"), "asleep", "asleep_ns", "wakeups",
            "per_second", place=place("at_ns", "at_ns"),
        )
    )  # fmt: skip
    return Grid(
        rows,
        {
            "core_name": Head(Column("core")),
            "asleep": Head(Column("asleep", "share"), bar=True),
            "asleep_ns": Head(Column("asleep", "time")),
            "who": Head(Column("woken by")),
            "wakeups": Head(Column("wake-ups", "count"), leads="place"),
            "per_second": Head(Column("a second", "number")),
        },
        note="Of the whole run. Woken by: who has the core next; a number leads to the first time.",
    )


PANEL = Panel(
    value="sleep",
    label="sleep",
    missing=_missing,
    figure=_figure,
    data=_data,
    table=_table,
    windows=True,
    follows=frozenset({"view"}),
    over_time=True,
)

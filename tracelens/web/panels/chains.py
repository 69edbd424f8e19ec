"""The panel of chains: latency of each instance, and the stages of the slowest one."""

import polars as pl

from tracelens.drawing.figures import Shown
from tracelens.drawing.panels.chains import instances, latencies
from tracelens.drawing.runs import Run
from tracelens.drawing.sheet import Sheet
from tracelens.numbers import count, duration
from tracelens.report.blocks import Column
from tracelens.report.selection import slowest_instances
from tracelens.web.panels.grid import Grid, Head
from tracelens.web.panels.panel import Asked, Panel
from tracelens.web.panels.places import place


def _missing(run: Run) -> str:
    if run.analysis.chains.height:
        return ""
    return (
        "No chain is declared: name the stages from cause to effect in a system file, "
        '[chains.NAME] path = ["HANDLER", "TASK", "TASK"], with deadline_us.'
    )


def _names(run: Run) -> list[str]:
    return run.analysis.chains["chain"].to_list()


def _figure(run: Run, asked: Asked, sheet: Sheet) -> Shown:
    return latencies(run, asked.of, sheet)


def _data(run: Run, asked: Asked) -> pl.DataFrame:
    return instances(run, asked.of).select(
        "chain", "instance", "start_ns", "end_ns", "latency_ns", "late"
    )


def _table(run: Run, of: str | None) -> Grid:
    slowest = slowest_instances(run.analysis).filter(pl.col("chain") == of)
    rows = run.analysis.chain_ledgers.join(
        slowest.select("chain", "instance", "end_ns"), on=["chain", "instance"]
    ).sort("position", "ns", descending=[False, True], maintain_order=True)
    # A stage's part ends where the next one's begins.
    starts = rows.select("position", "from_ns").unique(maintain_order=True)
    ends = starts.with_columns(to_ns=pl.col("from_ns").shift(-1)).drop("from_ns")
    rows = (
        rows.join(ends, on="position", how="left", maintain_order="left")
        .with_columns(to_ns=pl.coalesce("to_ns", "end_ns"))
        .with_columns(place=place("from_ns", "to_ns", lane="stage"))
    )
    return Grid(
        rows,
        {
            "stage": Head(Column("stage"), leads="place"),
            "ns": Head(Column("took", "time"), leads="place"),
            "entry": Head(Column("what it was")),
            "by": Head(Column("by")),
            "via": Head(Column("via")),
        },
        note=_note(run, of, slowest),
    )


def _note(run: Run, of: str | None, slowest: pl.DataFrame) -> str:
    told = run.analysis.chains.filter(pl.col("chain") == of)
    if told.is_empty() or slowest.is_empty():
        return ""
    chain, worst = told.row(0, named=True), slowest.row(0, named=True)
    said = [
        f"the slowest of {count(chain['instances'], 'instance')}, number {worst['instance']}: "
        f"{duration(worst['latency_ns'])}",
        f"median {duration(chain['latency_p50_ns'])}",
    ]
    if chain["deadline_ns"] is not None:
        said.append(f"{chain['deadline_misses']} late, deadline {duration(chain['deadline_ns'])}")
    text = "; ".join(said)
    return f"{text[0].upper()}{text[1:]}."


PANEL = Panel(
    value="chains",
    label="chains",
    missing=_missing,
    figure=_figure,
    data=_data,
    table=_table,
    of=_names,
    of_what="chain",
    over_time=True,
)

"""A history of runs as documents: the list of runs, and what changes from run to run."""

from typing import Any, Final

import polars as pl

from tracelens import numbers
from tracelens.findings.wording import OBSERVED, SAFETY
from tracelens.history import wording
from tracelens.history.store import History
from tracelens.history.trends import ranked
from tracelens.numbers import count
from tracelens.report.blocks import (
    Block,
    Cell,
    Column,
    Document,
    Kind,
    Listing,
    Paragraph,
    Remark,
    Section,
    Table,
)
from tracelens.report.rows import MOST_ROWS, left_out

MOST_REMARKS: Final = 20
_KEYS: Final = 4
"""So many keys of `#run` are columns; --json has all."""


def shown(history: History, place: str) -> Document:
    """The runs of a history, the newest last."""
    return Document(
        title=place,
        facts=(),
        verdict=f"{count(history.runs.height, 'run')}.",
        remarks=_unreadable(history),
        sections=(Section("Runs", (runs_table(history),)),),
    )


def runs_table(history: History) -> Table:
    """A row for each of the newest runs, the newest last."""
    runs = history.runs.tail(MOST_ROWS)
    cut = left_out(runs.height, history.runs.height, "runs", "newest")
    pairs = [{p["key"]: p["value"] for p in run["keys"]} for run in runs.to_dicts()]
    names = [*dict.fromkeys(key for keys in pairs for key in keys if key != "start")][:_KEYS]
    load = _greatest(history, "load")
    late = _greatest(history, "misses")
    rows: list[tuple[Cell, ...]] = [
        (
            wording.when(run),
            run["source"],
            *(keys.get(name) for name in names),
            run["span_ns"],
            run["coverage"],
            load.get(run["run"]),
            late.get(run["run"]),
        )
        for run, keys in zip(runs.to_dicts(), pairs, strict=True)
    ]
    columns = (
        Column("when, UTC"),
        Column("log"),
        *(Column(name) for name in names),
        Column("length", "time"),
        Column("known", "share"),
        Column("load", "share"),
        Column("late", "share"),
    )
    legend = (
        "load: of the busiest core. late: share of its jobs, of the task that is late most often."
    )
    return Table(columns, tuple(rows), note=f"{cut}{legend}")


def trend(history: History, found: pl.DataFrame, rate: float, place: str) -> Document:
    """What changes from run to run; `found` is a table of `TRENDS`."""
    changed = ranked(found).filter(pl.col("shape").is_not_null())
    runs = {run["run"]: run for run in history.runs.to_dicts()}
    remarks = [
        Remark(
            "warning" if row["worse"] else "note",
            wording.change(row, wording.name(runs[row["changed_at"]])),
            "",
        )
        for row in changed.head(MOST_REMARKS).to_dicts()
    ]
    if rest := changed.height - len(remarks):
        remarks.append(Remark("note", f"{rest} more changed; --json has all.", ""))
    first, last = (wording.name(run) for run in history.runs[[0, -1]].to_dicts())
    sections = [
        Section(title, (_table(found.filter(pl.col("unit") == unit), unit, rate),))
        for unit, title in (
            ("ns", "Times"),
            ("share", "Shares of time and of jobs"),
            ("items", "Items in queues"),
            ("bytes", "Bytes of stack left free"),
        )
        if not found.filter((pl.col("unit") == unit) & pl.col("slope").is_not_null()).is_empty()
    ]
    return Document(
        title=place,
        facts=(f"from {first} to {last}",),
        verdict=wording.verdict(found, history.runs.height),
        remarks=(*remarks, *_unreadable(history)),
        sections=(
            *sections,
            Section("How this was judged", (Listing(tuple(wording.method(rate))),)),
            Section("What this cannot say", (Paragraph(OBSERVED), Paragraph(SAFETY))),
        ),
    )


def _table(found: pl.DataFrame, unit: str, rate: float) -> Block:
    """The measures in one unit that were judged; those that changed first."""
    judged = ranked(found).filter(pl.col("slope").is_not_null())
    kept = judged.head(MOST_ROWS)
    kind: Kind = "time" if unit == "ns" else "share" if unit == "share" else "count"
    rows = [_cells(row, unit) for row in kept.to_dicts()]
    columns = (
        Column("of"),
        Column("measure"),
        Column("before", kind),
        Column("after", kind),
        Column("a run", "change" if unit == "share" else "text"),
        Column("p step", "count"),
        Column("p drift", "count"),
        Column("how"),
    )
    note = left_out(kept.height, judged.height, "rows", "surest") + (
        "before, after: medians on either side of the clearest step. A p of at most "
        f"{rate / 2:g} counts."
    )
    return Table(columns, tuple(rows), note=note)


def _cells(row: dict[str, Any], unit: str) -> tuple[Cell, ...]:
    levels: list[Cell] = [row["before"], row["after"]]
    if unit == "ns":
        levels = [round(row["before"]), round(row["after"])]
    elif unit != "share":
        levels = [f"{level:.4g}" for level in (row["before"], row["after"])]
    slope = row["slope"] if unit == "share" else wording.signed(row["slope"], unit)
    worse = {True: "worse", False: "better", None: ""}[row["worse"]]
    return (
        row["subject"],
        str(row["measure"]).replace("_", " "),
        *levels,
        slope,
        numbers.chance(row["change_p"]),
        numbers.chance(row["trend_p"]),
        f"{row['shape']}, {worse}" if row["shape"] else "",
    )


def _greatest(history: History, measure: str) -> dict[str, float]:
    """Run → its greatest value of a measure; of a load that of the busiest core."""
    rows = history.measures.filter(pl.col("measure") == measure)
    if measure == "load":
        rows = rows.filter(pl.col("subject").str.starts_with("core "))
    most = rows.group_by("run").agg(pl.col("value").max())
    return dict(zip(most["run"], most["value"], strict=True))


def _unreadable(history: History) -> tuple[Remark, ...]:
    return tuple(Remark("warning", text, "") for text in history.unreadable)

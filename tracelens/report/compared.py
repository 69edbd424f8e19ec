"""A comparison as a document: the verdict, what moved, and what else was compared."""

from collections.abc import Sequence
from typing import Final

import polars as pl

from tracelens import numbers
from tracelens.comparison import wording
from tracelens.comparison.observed import Setup
from tracelens.comparison.records import Comparison
from tracelens.findings.wording import OBSERVED, SAFETY
from tracelens.numbers import count, duration, listing
from tracelens.report.blocks import (
    Block,
    Column,
    Document,
    Listing,
    Paragraph,
    Remark,
    Section,
    Table,
)
from tracelens.report.rows import MOST_ROWS, left_out, table

MOST_REMARKS: Final = 12

_WORDS: Final = {
    "execution": "execution",
    "section": "section",
    "response": "response",
    "longest_response": "longest",
    "slow_execution": "long jobs",
    "slow_response": "slow jobs",
    "misses": "misses",
    "load": "load",
    "inversion": "inversion",
    "unbounded_inversion": "unbounded",
    "stack": "least free",
}


def document(found: Comparison) -> Document:
    """The whole comparison. Names are as in the logs: each renderer makes safe what it prints."""
    sections = (
        _times(found),
        _shares(found),
        _bytes(found),
        _jobs(found, "response", "Response times, all runs of a side together"),
        _jobs(found, "execution", "Execution times, all runs of a side together"),
    )
    return Document(
        title=wording.title(found),
        facts=(f"old: {_side(found.old)}", f"new: {_side(found.new)}"),
        verdict=wording.verdict(found),
        remarks=_remarks(found),
        sections=(
            _alike(found),
            *(section for section in sections if section),
            Section("How this was judged", (Listing(tuple(wording.method(found))),)),
            Section("What this cannot say", (Paragraph(OBSERVED), Paragraph(SAFETY))),
        ),
    )


def _side(runs: Sequence[Setup]) -> str:
    spans = sorted(run.span_ns for run in runs)
    long = duration(spans[0])
    if duration(spans[-1]) != long:
        long = f"{long} to {duration(spans[-1])}"
    told = [runs[0].name if len(runs) == 1 else f"{count(len(runs), 'run')} of", long]
    facts = [" ".join(told) if len(runs) > 1 else " · ".join(told)]
    for key in dict.fromkeys(key for run in runs for key in run.keys):
        values = [*dict.fromkeys(run.keys.get(key, "none") for run in runs)]
        if len(values) == 1 or key in ("build", "board"):
            facts.append(f"{key} {listing(values)}")
    return " · ".join(facts)


def _remarks(found: Comparison) -> tuple[Remark, ...]:
    told = [Remark("warning", text, "") for text in wording.presence(found)]
    rows = found.moved.head(MOST_REMARKS).to_dicts()
    told += [Remark("warning" if row["worse"] else "note", wording.moved(row), "") for row in rows]
    if rest := found.moved.height - len(rows):
        told.append(Remark("note", f"{rest} more moved; the tables below mark them.", ""))
    return (*told, *(Remark("note", text, "") for text in wording.counted(found)))


def _alike(found: Comparison) -> Section:
    title = "Can these runs be compared?"
    if not found.differences:
        text = (
            "They are alike in clock, cores, policy, priorities, periods, deadlines, length and "
            "in how much of their time is known."
        )
        return Section(title, (Paragraph(text),))
    return Section(title, (Listing(tuple(one.text for one in found.differences)),))


def _rows(found: Comparison, unit: str) -> pl.DataFrame:
    """The comparisons in one unit, with what is shown of them."""
    relative = unit != "share"
    base = pl.when(pl.col("old") != 0).then(pl.col("old")) if relative else pl.lit(1.0)
    of_unit = found.comparisons.filter(pl.col("unit") == unit)
    return of_unit.with_columns(
        what=pl.col("quantity").cast(pl.String).replace(_WORDS),
        shown_change=pl.col("change") / base,
        shown_detectable=pl.col("detectable") / base,
        shown_p=pl.Series(
            [None if p is None else numbers.chance(p) for p in of_unit["p"]], dtype=pl.String
        ),
        outcome=pl.when(pl.col("moved").is_null())
        .then(pl.lit(None, pl.String))
        .when(~pl.col("moved"))
        .then(pl.lit(""))
        .when(pl.col("worse"))
        .then(pl.lit("worse"))
        .otherwise(pl.lit("better")),
        # The table of times holds whole nanoseconds.
        **{side: pl.col(side).round().cast(pl.Int64) for side in ("old", "new") if unit == "ns"},
    )


def _columns(kind: Column, change: str) -> dict[str, Column]:
    return {
        "subject": Column("of"),
        "what": Column("quantity"),
        "old": Column("old", kind.kind, kind.group),
        "new": Column("new", kind.kind, kind.group),
        "shown_change": Column("change", "change", means=change),
        "shown_detectable": Column("detectable", "share"),
        "shown_p": Column("p", "count"),
        "outcome": Column("moved"),
    }


def _shown(rows: pl.DataFrame, columns: dict[str, Column]) -> Block:
    """At most `MOST_ROWS` in their order, those that moved among them; why some are not judged."""
    ranked = rows.with_row_index("row").sort(
        pl.col("moved").fill_null(False),
        pl.col("shown_change").abs() > 0,
        descending=True,
        maintain_order=True,
    )
    kept = ranked.head(MOST_ROWS).sort("row")
    cut = left_out(kept.height, rows.height, "rows", "most telling")
    why = kept["unjudged"].drop_nulls().unique(maintain_order=True).to_list()
    note = f"–: not judged, {'; '.join(why)}. " if why else ""
    return table(kept, columns, note=f"{cut}{note}")


def _times(found: Comparison) -> Section | None:
    rows = _rows(found, "ns")
    if rows.is_empty():
        return None
    columns = _columns(Column("", "time"), "of the old value, as is detectable")
    return Section("Times of the jobs, mean of the runs", (_shown(rows, columns),))


def _shares(found: Comparison) -> Section | None:
    """Without those that are 0 on both sides."""
    every = _rows(found, "share")
    rows = every.filter((pl.col("old") > 0) | (pl.col("new") > 0))
    if rows.is_empty():
        return None
    columns = _columns(Column("", "share"), "in points, as is detectable")
    meaning = (
        "Long jobs execute, slow jobs take, longer than 95 % of all jobs of both sides together. "
        "Inversion is time held up by locks of lower tasks, unbounded that in which third parties "
        "ran."
    )
    if nothing := every.height - rows.height:
        meaning += f" {nothing} that are 0 on both sides are left out."
    return Section("Shares of time and of jobs", (_shown(rows, columns), Paragraph(meaning)))


def _bytes(found: Comparison) -> Section | None:
    rows = _rows(found, "bytes")
    if rows.is_empty():
        return None
    columns = _columns(Column("", "number"), "of the old value, as is detectable")
    return Section("Bytes of stack left free", (_shown(rows, columns),))


def _jobs(found: Comparison, what: str, title: str) -> Section | None:
    rows = found.distributions.filter(pl.col("what") == what)
    if rows.is_empty():
        return None
    kept = rows.head(MOST_ROWS)
    columns = {
        "task": Column("task"),
        "side": Column("side"),
        "jobs": Column("jobs", "count"),
        **{
            f"{name}_ns": Column({"p50": "median"}.get(name, name), "time")
            for name in ("min", "p50", "p95", "p99", "max")
        },
    }
    shown: Table = table(kept, columns, note=left_out(kept.height, rows.height, "rows", "first"))
    return Section(title, (shown,))

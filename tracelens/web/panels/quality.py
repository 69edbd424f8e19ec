"""The panel of log quality: what was lost, not used, contradictory or mended, and where."""

from collections.abc import Iterator, Sequence
from typing import Any, Final

import polars as pl

from tracelens.drawing.figures import Shown
from tracelens.drawing.panels.quality import damage_over_time, signs, times_of
from tracelens.drawing.runs import Run
from tracelens.drawing.sheet import Sheet
from tracelens.numbers import grouped, percent
from tracelens.report.blocks import Column
from tracelens.web.panels.grid import Grid, Head
from tracelens.web.panels.panel import Asked, Panel
from tracelens.web.panels.places import place

_SCHEMA: Final = {
    "what": pl.String,
    "said": pl.String,
    "count": pl.Int64,
    "lines": pl.String,
    "part": pl.UInt16,
    "line": pl.UInt32,
    "at_ns": pl.Int64,
    "end_ns": pl.Int64,
}
_FIRST: Final = 3

Row = dict[str, Any]


def _figure(run: Run, asked: Asked, sheet: Sheet) -> Shown:
    return damage_over_time(run, sheet)


def _data(run: Run, asked: Asked) -> pl.DataFrame:
    return signs(run)


def _table(run: Run, of: str | None) -> Grid:
    rows = pl.DataFrame(
        [*_lost(run), *_unused(run), *_contradictions(run), *_repairs(run), *_remarks(run)],
        schema=_SCHEMA,
    )
    # What has no time of its own is near the last event above its line.
    near = times_of(run, rows.drop("at_ns"))
    rows = near.with_columns(
        at_ns=pl.when(pl.col("line").is_not_null()).then("at_ns").otherwise(rows["at_ns"])
    )
    rows = rows.with_columns(place=place("at_ns", "end_ns").fill_null(place("at_ns", "at_ns")))
    quality = run.analysis.quality
    return Grid(
        rows,
        {
            "what": Head(Column("what")),
            "count": Head(Column("count", "count"), leads="place"),
            "lines": Head(Column("first at line"), leads="place"),
            "said": Head(Column("why, which")),
        },
        note=f"What the cores did is known for {percent(quality.coverage)} of their time; "
        f"{grouped(quality.events)} events from {grouped(quality.lines)} lines.",
    )


def _lost(run: Run) -> Iterator[Row]:
    events = run.analysis.timeline.log.events
    lost = events.lazy().filter(pl.col("event") == "lost").head(_FIRST).collect()
    yield {
        "what": "lost",
        "said": "events that the target says it lost",
        "count": run.analysis.quality.lost_events,
        "lines": _lines(run, lost),
        "at_ns": lost["time_ns"][0] if lost.height else None,
    }


def _unused(run: Run) -> Iterator[Row]:
    unused = run.analysis.timeline.log.unused.to_dict(as_series=False)
    for reason, count, first in zip(*unused.values(), strict=True):
        places = [_read(run, told) for told in first[:_FIRST]]
        part, line = places[0] if places else (None, None)
        yield {
            "what": "line not used",
            "said": reason,
            "count": count,
            "lines": _said(run, places),
            "part": part,
            "line": line,
        }


def _read(run: Run, told: str) -> tuple[int, int]:
    """Part and line of '118', or of 'name.csv:118' where a log is in several files."""
    source, _, line = told.rpartition(":")
    sources = run.analysis.timeline.log.sources
    return sources.index(source) if source in sources else 0, int(line)


def _contradictions(run: Run) -> Iterator[Row]:
    found = run.analysis.timeline.contradictions
    if found.is_empty():
        return
    first = found.row(0, named=True)
    yield {
        "what": "contradiction",
        "said": "a task acts while another is known to run: first "
        f"{first['acted']} while {first['ran'] or 'nobody'} runs",
        "count": found.height,
        "lines": _lines(run, found.head(_FIRST)),
        "at_ns": first["start_ns"],
        "end_ns": first["end_ns"],
    }


def _repairs(run: Run) -> Iterator[Row]:
    for (reason,), found in run.analysis.timeline.repairs.group_by("reason", maintain_order=True):
        yield {
            "what": "repair",
            "said": reason,
            "count": found.height,
            "lines": _lines(run, found.head(_FIRST)),
            "part": found["part"][0],
            "line": found["line"][0],
        }


def _remarks(run: Run) -> Iterator[Row]:
    timeline = run.analysis.timeline
    for restart in timeline.log.restarts:
        yield {"what": "restart", "said": "of the target", "count": 1, "at_ns": restart}
    yield from _unknown(run)
    for text in (*timeline.log.warnings, *timeline.system.differences):
        yield {"what": "remark", "said": text}
    for (part, line), text in timeline.system.unknown:
        yield {
            "what": "not in the format",
            "said": text,
            "count": 1,
            "lines": str(line),
            "part": part,
            "line": line,
        }


def _unknown(run: Run) -> Iterator[Row]:
    """Each core that is not known all the time, and where it is not for longest."""
    length = pl.col("end_ns") - pl.col("start_ns")
    longest = (
        run.analysis.timeline.occupancy.filter(pl.col("occupant") == "unknown")
        .group_by("core")
        .agg(pl.len(), pl.col("start_ns", "end_ns").get(length.arg_max()))
    )
    cores = run.analysis.cores.filter(pl.col("unknown") > 0).join(longest, on="core", how="left")
    for core in cores.sort("core").iter_rows(named=True):  # few rows: one a core
        yield {
            "what": "not known",
            "said": f"{percent(core['unknown'])} of the time of core {core['name']}",
            "count": core["len"],
            "at_ns": core["start_ns"],
            "end_ns": core["end_ns"],
        }


def _lines(run: Run, found: pl.DataFrame) -> str:
    return _said(run, list(zip(found["part"], found["line"], strict=True)))


def _said(run: Run, places: Sequence[tuple[int, int]]) -> str:
    """'118, 240', or of a log in several files '2:118' for a line of the second."""
    several = len(run.analysis.timeline.log.sources) > 1
    return ", ".join(f"{part + 1}:{line}" if several else str(line) for part, line in places)


PANEL = Panel(
    value="quality",
    label="log quality",
    missing=lambda run: "",
    figure=_figure,
    data=_data,
    table=_table,
    over_time=True,
)

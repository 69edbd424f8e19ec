"""How far a log can be trusted, and what no log can tell."""

from typing import Final

import polars as pl

from tracelens.findings.wording import OBSERVED, SAFETY
from tracelens.model.results import Analysis
from tracelens.numbers import count, moment, percent
from tracelens.report.blocks import Block, Column, Listing, Paragraph, Section
from tracelens.report.rows import MOST_ROWS, left_out, names_of, table

FIRST_TOLD: Final = (
    "With --strict the command stops at the first of them and says what it found and expected."
)


def quality(analysis: Analysis) -> Section:
    """What was read, what was lost, what was mended, and every line that was not used."""
    blocks: list[Block] = [Listing(tuple(_facts(analysis)))]
    log = analysis.timeline.log
    if not log.unused.is_empty():
        lines = log.unused.head(MOST_ROWS).with_columns(pl.col("first_lines").list.join(", "))
        columns = {
            "reason": Column("lines not used, because"),
            "count": Column("lines", "count"),
            "first_lines": Column("first at line"),
        }
        blocks.append(table(lines, columns, note=FIRST_TOLD))
    if not analysis.timeline.repairs.is_empty():
        blocks.append(_repairs(analysis))
    if doubts := (*log.warnings, *analysis.timeline.system.differences, *_unknown_keys(analysis)):
        blocks.append(Listing(doubts[:MOST_ROWS]))
        if rest := left_out(min(len(doubts), MOST_ROWS), len(doubts), "remarks", "first"):
            blocks.append(Paragraph(rest.strip()))
    return Section("How far this log can be trusted", tuple(blocks))


def _facts(analysis: Analysis) -> list[str]:
    quality, timeline = analysis.quality, analysis.timeline
    unused = int(timeline.log.unused["count"].sum())
    facts = [
        f"{count(quality.events, 'event')} from {count(quality.lines, 'line')}; "
        f"{count(unused, 'line') if unused else 'no lines'} not used",
        f"what the cores did is known for {percent(quality.coverage)} of their time",
        f"{count(quality.lost_events, 'event') if quality.lost_events else 'no events'} reported "
        "lost by the target",
    ]
    if quality.contradictions:
        places = ", ".join(_places(timeline.contradictions.head(5), len(timeline.log.sources)))
        facts.append(
            f"{count(quality.contradictions, 'contradiction')}: a task acts while another is known "
            f"to run, so a switch was not recorded; first at line {places}"
        )
    else:
        facts.append("no contradictions: no sign of a switch that was not recorded")
    if quality.boots > 1:
        times = names_of([f"{moment(ns)}" for ns in timeline.log.restarts])
        facts.append(f"{quality.boots} boots laid end to end; the target restarted at {times}")
    return facts


def _repairs(analysis: Analysis) -> Block:
    repairs = analysis.timeline.repairs
    parts = len(analysis.timeline.log.sources)
    mended = (
        repairs.with_columns(place=pl.Series(_places(repairs, parts), dtype=pl.String))
        .group_by("reason", maintain_order=True)
        .agg(count=pl.len(), first=pl.col("place").head(5).str.join(", "))
        .sort("count", descending=True, maintain_order=True)
    )
    columns = {
        "reason": Column("mended"),
        "count": Column("times", "count"),
        "first": Column("first at line"),
    }
    return table(mended.head(MOST_ROWS), columns)


def _places(frame: pl.DataFrame, parts: int) -> list[str]:
    """'118', or of a log in several parts '2:118': line 118 of the second."""
    lines = frame["line"].cast(pl.String)
    if parts > 1:
        lines = (frame["part"].cast(pl.Int64) + 1).cast(pl.String) + ":" + lines
    return lines.to_list()


def _unknown_keys(analysis: Analysis) -> tuple[str, ...]:
    sources = analysis.timeline.log.sources
    return tuple(
        f"not known to this format: {text} ({sources[part]}:{line})"
        for (part, line), text in analysis.timeline.system.unknown
    )


def cautions() -> Section:
    """What every report says, whatever the log shows."""
    return Section("What this report cannot say", (Paragraph(OBSERVED), Paragraph(SAFETY)))

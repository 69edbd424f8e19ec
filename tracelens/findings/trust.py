"""How far the log, and the figures taken from it, can be trusted."""

from collections.abc import Iterator

import polars as pl

from tracelens.findings import wording
from tracelens.findings.evidence import Evidence
from tracelens.model.results import Analysis, Finding


def damage(evidence: Evidence) -> Iterator[Finding]:
    """Warnings: lost events, contradictions, unknown core time, lines that were not used."""
    analysis = evidence.analysis
    quality = analysis.quality
    if quality.lost_events:
        yield _about_log(
            "warning", "lost_events", wording.lost_events(quality.lost_events), quality.lost_events
        )
    if quality.contradictions:
        first = analysis.timeline.contradictions.head(1).to_dicts()[0]
        text = wording.contradictions(
            quality.contradictions,
            _line(analysis, first["part"], first["line"]),
            first["ran"],
            first["acted"],
            first["start_ns"],
        )
        yield _about_log(
            "warning", "contradictions", text, quality.contradictions, first["start_ns"]
        )
    if quality.coverage < evidence.limits.coverage:
        yield _about_log(
            "warning", "coverage", wording.coverage(quality.coverage), quality.coverage
        )
    for row in analysis.timeline.log.unused.sort(
        "count", descending=True, maintain_order=True
    ).to_dicts():
        first_line = row["first_lines"][0] if row["first_lines"] else "?"
        text = wording.unused_lines(row["count"], row["reason"], first_line)
        yield _about_log("warning", "unused_lines", text, row["count"])


def few_jobs(evidence: Evidence) -> Iterator[Finding]:
    """One note: the tasks with a deadline and too few judged jobs for a 99th percentile."""
    analysis = evidence.analysis
    few = analysis.tasks.filter(
        pl.col("deadline_ns").is_not_null()
        & pl.col("jobs").is_between(1, evidence.limits.jobs_for_p99, closed="left")
    )["task"].to_list()
    if few:
        yield _about_log(
            "note", "few_jobs", wording.few_jobs(few, round(evidence.limits.jobs_for_p99)), len(few)
        )


def remarks(evidence: Evidence) -> Iterator[Finding]:
    """Notes: where the log was mended, and what its reading remarked. The most frequent first."""
    analysis = evidence.analysis
    mended = (
        analysis.timeline.repairs.group_by("reason", maintain_order=True)
        .agg(pl.len().alias("count"), pl.col("part", "line").first())
        .sort("count", descending=True, maintain_order=True)
    )
    for row in mended.to_dicts():
        line = _line(analysis, row["part"], row["line"])
        text = wording.repairs(row["count"], row["reason"], line)
        yield _about_log("note", "repairs", text, row["count"])
    for sentence in analysis.timeline.log.warnings:
        yield _about_log("note", "log_warning", sentence, 1)
    for sentence in analysis.timeline.system.differences:
        yield _about_log("note", "system_difference", sentence, 1)


def _about_log(
    severity: str, kind: str, text: str, number: float, at_ns: int | None = None
) -> Finding:
    return Finding(severity, "log", text, at_ns, kind, {"count": number})


def _line(analysis: Analysis, part: int, line: int) -> str:
    """'118', or 'name:118' of a log in several parts."""
    sources = analysis.timeline.log.sources
    return str(line) if len(sources) < 2 else f"{sources[part]}:{line}"

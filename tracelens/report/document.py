"""An analysis as a document: what is wrong first, then why, then the particulars.

Every face that prints a report renders this document, and only this package words it; the
sentences about single facts are the findings' own.
"""

from collections.abc import Sequence
from pathlib import PurePath
from typing import Final

from tracelens.model.results import Analysis, Finding
from tracelens.numbers import duration, moment, percent
from tracelens.report import lateness
from tracelens.report.blocks import Document, Remark
from tracelens.report.particulars import particulars
from tracelens.report.quality import cautions, quality

SEVERITIES: Final = ("error", "warning", "note")
_MOST_REMARKS: Final = 200
_MOST_FACTS: Final = 50


def document(analysis: Analysis) -> Document:
    """The report on one analysis.

    Names are as in the log: each renderer makes safe what it prints.
    """
    late = (lateness.late_jobs, lateness.late_chains, lateness.deadlocks, lateness.inversions)
    sections = [section for make in late if (section := make(analysis))]
    return Document(
        title=title(analysis),
        facts=facts(analysis),
        verdict=_verdict(analysis.findings),
        remarks=_remarks(analysis),
        sections=(*sections, *particulars(analysis), quality(analysis), cautions()),
    )


def title(analysis: Analysis) -> str:
    """The name of the log, or of its first part."""
    names = [PurePath(source).name for source in analysis.timeline.log.sources]
    return names[0] if len(names) == 1 else f"{names[0]} and {len(names) - 1} more parts"


def facts(analysis: Analysis) -> tuple[str, ...]:
    """What was read: length, cores, events, the run's own keys, the window, notes."""
    timeline = analysis.timeline
    cores = analysis.cores.height
    told = [
        " · ".join(
            (
                duration(timeline.span_ns),
                f"{cores} core{'s' if cores != 1 else ''}",
                f"{analysis.quality.events} events",
                f"{percent(analysis.quality.coverage)} of core time known",
            )
        )
    ]
    if timeline.system.run:
        run = [f"{key} {value}" for key, value in timeline.system.run.items()]
        told += _first([" · ".join(run[:_MOST_FACTS])], len(run), "keys of #run")
    if analysis.window != (0, timeline.span_ns):
        start, end = map(moment, analysis.window)
        told.append(f"measured from {start} to {end}")
    notes = timeline.system.notes
    told += _first(notes[:_MOST_FACTS], len(notes), "notes")
    return tuple(told)


def _first(shown: Sequence[str], count: int, what: str) -> tuple[str, ...]:
    more = count - _MOST_FACTS
    return (*shown, *([f"{more} more {what} are in the JSON"] if more > 0 else []))


def _verdict(findings: tuple[Finding, ...]) -> str:
    counts = [sum(finding.severity == severity for finding in findings) for severity in SEVERITIES]
    told = [
        f"{count} {severity}{'s' if count > 1 else ''}"
        for count, severity in zip(counts, SEVERITIES, strict=True)
        if count
    ]
    if not counts[0] and not counts[1]:
        return "Nothing wrong was found in what this log shows."
    return f"{', '.join(told)}; the worst first:"


def worst_first(analysis: Analysis) -> tuple[Finding, ...]:
    """The findings in the order in which a document remarks on them."""
    return tuple(sorted(analysis.findings, key=lambda found: SEVERITIES.index(found.severity)))


def _remarks(analysis: Analysis) -> tuple[Remark, ...]:
    found = worst_first(analysis)
    shown = tuple(
        Remark(
            severity=one.severity,
            text=one.text,
            at="" if one.at_ns is None else moment(one.at_ns),
        )
        for one in found[:_MOST_REMARKS]
    )
    more = len(found) - _MOST_REMARKS
    return shown if more <= 0 else (*shown, Remark("note", f"{more} more are in the JSON.", ""))

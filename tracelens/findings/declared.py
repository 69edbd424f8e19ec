"""What nobody declared, and what a log therefore cannot tell."""

from collections.abc import Callable, Iterator

import polars as pl

from tracelens.findings import wording
from tracelens.findings.evidence import Evidence
from tracelens.model.results import Finding


def hidden_activations(evidence: Evidence) -> Iterator[Finding]:
    """One warning a task whose jobs hide further activations; the most first."""
    analysis = evidence.analysis
    hiding = analysis.tasks.filter(pl.col("hidden") > 0)
    for row in hiding.sort("hidden", descending=True, maintain_order=True).to_dicts():
        yield Finding(
            severity="warning",
            subject=row["task"],
            text=wording.hidden_activations(row["task"], row["hidden"]),
            at_ns=None,
            kind="hidden_activations",
            numbers={"hidden": row["hidden"]},
        )


def without_deadline(evidence: Evidence) -> Iterator[Finding]:
    """One note: the tasks with jobs and without a deadline."""
    analysis = evidence.analysis
    lacking = analysis.tasks.filter(
        ~pl.col("idle") & pl.col("deadline_ns").is_null() & (pl.col("jobs") > 0)
    )
    yield from _note(lacking, "no_deadline", wording.no_deadline)


def without_priority(evidence: Evidence) -> Iterator[Finding]:
    """One note: the tasks that ran and whose priority is not known."""
    analysis = evidence.analysis
    lacking = analysis.tasks.filter(
        ~pl.col("idle") & pl.col("priority").is_null() & (pl.col("execution_ns") > 0)
    )
    yield from _note(lacking, "no_priority", wording.no_priority)


def unknown_declarations(evidence: Evidence) -> Iterator[Finding]:
    """One note: the keys and declarations that the format does not know."""
    analysis = evidence.analysis
    unknown = analysis.timeline.system.unknown
    if unknown:
        sources = analysis.timeline.log.sources
        told = [
            f"{text} (line {line})" if len(sources) < 2 else f"{text} ({sources[part]}:{line})"
            for (part, line), text in unknown
        ]
        text = wording.unknown_declarations(told)
        yield Finding("note", "log", text, None, "unknown_declarations", {"count": len(told)})


def _note(lacking: pl.DataFrame, kind: str, say: Callable[[list[str]], str]) -> Iterator[Finding]:
    names = lacking["task"].to_list()
    if names:
        yield Finding("note", "log", say(names), None, kind, {"count": len(names)})

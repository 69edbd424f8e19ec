"""An explanation as a document: what happened to one job, why, and what to try."""

from collections.abc import Sequence
from typing import Final

from tracelens import numbers
from tracelens.explanation import wording
from tracelens.explanation.records import Explanation, Picture, Predecessor, Story
from tracelens.findings.wording import SAFETY
from tracelens.report.blocks import (
    Block,
    Cell,
    Column,
    Document,
    Drawing,
    Listing,
    Paragraph,
    Section,
    Table,
)

SIGNS: Final = {
    "execution": "#",
    "inversion": "V",
    "blocked": "B",
    "interference": "I",
    "isr": "H",
    "deferred": "D",
    "suspended": "S",
    "backlog": "=",
    "switching": "-",
    "asleep": "z",
    "unranked": "U",
    "unknown": "?",
}
"""Ledger entry → the character that draws it."""

MOST_CASES: Final = 3
"""So many parts are taken away one by one; --json has all."""
MOST_WAITS: Final = 8
MOST_GROWTHS: Final = 8
MOST_STORIES: Final = 10


def document(told: Explanation) -> Document:
    """The telling of one job. Names are as in the log: each renderer makes safe what it prints."""
    sections = (
        _ledger(told),
        _in_order(told),
        _locks(told),
        _backlog(told),
        _shorter(told),
        _repairs(told),
        _usual(told),
        _stories(told),
    )
    return Document(
        title=wording.title(told.job),
        facts=(" · ".join(wording.facts(told.job)),),
        verdict=wording.verdict(told.job),
        remarks=(),
        sections=(
            *(section for section in sections if section),
            Section("What this cannot say", (Paragraph(SAFETY),)),
        ),
    )


def _ledger(told: Explanation) -> Section:
    rows = [(r.entry, r.by, r.via, r.ns, r.ns / told.job.length_ns) for r in told.rows]
    columns = (
        Column("entry"),
        Column("by"),
        Column("via"),
        Column("time", "time"),
        Column("share", "share"),
    )
    drawn: list[Block] = [Drawing(_drawing(told))] if told.picture.columns else []
    listed = Table(columns, tuple(rows)) if rows else Paragraph("No time passed.")
    return Section("Where the time went", (*drawn, listed))


def _drawing(told: Explanation) -> tuple[str, ...]:
    """The bar, the deadline above it, and beneath it the scale and what the characters mean."""
    picture = told.picture
    signs = [SIGNS.get(entry, " ") for entry in picture.columns]
    above = []
    if picture.deadline is not None:
        signs.insert(picture.deadline, "|")
        above = [_deadline_above(picture, len(signs))]
    met = dict.fromkeys(entry for entry in picture.columns if entry)
    small = [row.entry for row in told.rows if row.entry not in met]
    left = "↑ released"
    right = f"{numbers.duration(told.job.length_ns)} ↑"
    end = max(i for i, sign in enumerate(signs) if sign not in " |") + 1
    gap = end - len(left) - len(right)
    beneath = f"{left}{' ' * gap}{right}" if gap > 0 else f"{left}; {right.removesuffix(' ↑')}"
    legend = [f"{SIGNS[entry]} {entry}" for entry in met]
    legend.append(f"one character is {numbers.duration(round(picture.column_ns))}")
    if small:
        legend.append(f"too short to show: {', '.join(dict.fromkeys(small))}")
    return (*above, "".join(signs).rstrip(), beneath, "", *_lines(legend))


def _deadline_above(picture: Picture, width: int) -> str:
    at = picture.deadline or 0
    label = "deadline"
    if at + len(label) + 2 <= width:
        return f"{' ' * at}↓ {label}"
    return f"{label} ↓".rjust(at + 1)


def _lines(words: Sequence[str], width: int = 78) -> list[str]:
    """Words joined by ' · ' in lines of at most `width`."""
    lines = [""]
    for word in words:
        longer = f"{lines[-1]} · {word}" if lines[-1] else word
        lines[-1:] = [longer] if len(longer) <= width else [lines[-1], word]
    return lines


def _in_order(told: Explanation) -> Section:
    """Times here are exact, to be found again in the log."""
    release, deadline = told.job.release_ns, told.job.deadline_ns
    rows: list[tuple[Cell, ...]] = []
    for s in told.told:
        since = [s.start_ns - release, s.end_ns - s.start_ns]
        if deadline is not None:
            since.insert(1, s.start_ns - release - deadline)
        rows.append((*since, wording.doing(s), wording.where(s.rows)))
    times = [Column("release", "exact"), Column("for", "exact")]
    if deadline is not None:
        times.insert(1, Column("deadline", "exact"))
    note = ""
    if len(told.told) < told.stretches.height:
        note = (
            f"{told.stretches.height} stretches; the shorter ones are folded together here, "
            "--json has every episode."
        )
    columns = (*times, Column("the job"), Column("where that time went"))
    moments = "the release" if deadline is None else "the release and from the deadline"
    words = Paragraph(f"When it began, in µs from {moments}, and for how many µs:")
    return Section("What happened, in order", (words, Table(columns, tuple(rows), note)))


def _locks(told: Explanation) -> Section | None:
    if not told.waits and not told.deadlocks:
        return None
    longest = sorted(told.waits, key=lambda wait: wait.start_ns - wait.end_ns)[:MOST_WAITS]
    shown = [wait for wait in told.waits if wait in longest]
    items = [text for wait in shown for text in wording.waited(wait, told.job)]
    items += [wording.deadlocked(cycle, told.job) for cycle in told.deadlocks]
    parts: list[Block] = [Paragraph("Times are from the release."), Listing(tuple(items))]
    every = len(told.waits) + told.waits_left_out
    if len(shown) < every:
        more = f"These are the {len(shown)} longest of {every}; --json has {len(told.waits)}."
        parts.append(Paragraph(more))
    return Section("Which locks were in the way, and who held them", tuple(parts))


def _backlog(told: Explanation) -> Section | None:
    chain = told.backlog
    if chain is None:
        return None
    columns = (
        Column("job", "count"),
        Column("released at", "moment"),
        Column("took", "time"),
        Column("past deadline", "time"),
        Column("what held it up most, backlog apart"),
    )
    rows = tuple(map(_earlier, (chain.first, *chain.last)))
    note = f"{chain.between} jobs between the first two are left out." if chain.between else ""
    return Section(
        "The jobs before it",
        (Paragraph(wording.backlog(chain, told.job)), Table(columns, rows, note)),
    )


def _earlier(earlier: Predecessor) -> tuple[Cell, ...]:
    job = earlier.job
    told = wording.predecessor(earlier)
    return (job.number, job.release_ns, job.length_ns, job.lateness_ns, told)


def _shorter(told: Explanation) -> Section | None:
    found = told.shorter
    if found is None:
        return None
    cases = list(found.alone[:MOST_CASES])
    if found.together is not None and len(found.together.parts) > 1:
        cases.append(found.together)
    items = [wording.without(case) for case in cases]
    if found.together is None:
        own_ns = sum(row.ns for row in told.rows if row.entry == "execution")
        items.insert(0, wording.nothing_suffices(told.job, own_ns))
    return Section(
        "What would have had to be shorter",
        (Paragraph(wording.too_long(told.job)), Listing(tuple(items))),
    )


def _repairs(told: Explanation) -> Section | None:
    if not told.repairs:
        return None
    return Section("What to try", (Listing(tuple(repair.text for repair in told.repairs)),))


def _usual(told: Explanation) -> Section | None:
    usual = told.usual
    if usual is None:
        return None
    columns = (
        Column("entry"),
        Column("by"),
        Column("via"),
        Column("this job", "time"),
        Column("median", "time"),
        Column("share of growth", "share"),
    )
    shown = usual.growths[:MOST_GROWTHS]
    rows = tuple((g.entry, g.by, g.via, g.ns, g.usual_ns, g.share) for g in shown)
    more = len(usual.growths) - len(shown)
    note = f"{more} more entries in --json." if more else ""
    return Section(
        "Beside the median job",
        (Paragraph(wording.beside_usual(told.job, usual)), Table(columns, rows, note)),
    )


def _stories(told: Explanation) -> Section | None:
    if not told.stories:
        return None
    columns = (
        Column("cause"),
        Column("late jobs", "count"),
        Column("of these by backlog", "count"),
        Column("first", "count"),
        Column("worst", "count"),
        Column("worst late by", "time"),
    )
    rows = tuple(map(_story, told.stories[:MOST_STORIES]))
    more = len(told.stories) - len(rows)
    words = wording.late_jobs(told.job.task, told.late_jobs, len(told.stories))
    note = f"{more} more causes in --json." if more else ""
    return Section(
        f"All late jobs of {told.job.task}", (Paragraph(words), Table(columns, rows, note))
    )


def _story(story: Story) -> tuple[Cell, ...]:
    return (
        wording.story(story),
        story.jobs,
        story.through_backlog,
        story.first.number,
        story.worst.number,
        story.worst.lateness_ns,
    )

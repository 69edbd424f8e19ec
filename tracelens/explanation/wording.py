"""The sentences of an explanation, but for what to try: plain and exact.

Durations have three significant digits; moments are exact to the microsecond.
"""

from collections.abc import Sequence
from typing import Final

from tracelens.explanation.records import (
    Backlog,
    Deadlock,
    Holder,
    Job,
    Predecessor,
    Row,
    Story,
    Stretch,
    Usual,
    Wait,
    Without,
)
from tracelens.model.system import Place
from tracelens.numbers import count, duration, listing, moment, percent

OTHER_THINGS_EQUAL: Final = (
    "By this account, other things equal: with one thing shorter, others would have run at other "
    "times, so this is arithmetic on the ledger and no prediction."
)

# ------------------------------------------------------------------------------------ the job


def title(job: Job) -> str:
    """'needle_select 21'."""
    return f"{job.task} {job.number}"


def verdict(job: Job) -> str:
    """What became of the job."""
    took = f"{title(job)} took {duration(job.length_ns)}"
    if not job.judged:
        why = (
            "was aborted"
            if job.status == "aborted"
            else "is not judged, for it touches time that the log does not show or was under way "
            "when the log began"
        )
        return f"{title(job)} {why}. It is told for {duration(job.length_ns)}."
    if job.status == "open":
        took = f"{title(job)} was not complete when the log ended, after {duration(job.length_ns)}"
    if job.deadline_ns is None:
        return f"{took}. No deadline is declared for {job.task}."
    early = job.deadline_ns - job.length_ns
    deadline = f"its deadline of {duration(job.deadline_ns)}"
    if job.late:
        return f"{took}: {duration(-early)} past {deadline}."
    if job.status == "open":
        return f"{took}; {deadline} is still {duration(early)} ahead."
    return f"{took}. It met {deadline}, with {duration(early)} to spare."


def facts(job: Job) -> list[str]:
    """When it was, where that stands in the log, and what of it is deduced."""
    end = {"complete": "completed at", "open": "the log ends at", "aborted": "aborted at"}
    said = [
        f"released at {moment(job.release_ns)}{_line(job.release_place)}",
        f"{end.get(job.status, 'told until')} {moment(job.end_ns)}{_line(job.end_place)}",
    ]
    if job.inferred:
        said.append("its begin or end is deduced, not recorded")
    if job.hidden:
        said.append(f"it hides {count(job.hidden, 'further activation')}")
    return said


def _line(place: Place | None) -> str:
    if place is None:
        return ""
    part, line = place
    return f" (part {part + 1}, line {line})" if part else f" (line {line})"


# --------------------------------------------------------------------------------- ledger rows


def row(entry: str, by: str | None, via: str | None) -> str:
    """A ledger entry in a few words: 'inversion by panel on flash_bus'."""
    on = f" on {via}" if via else ""
    whom = f" by {by}" if by else ""
    return {
        "execution": "own execution",
        "interference": f"interference{whom}",
        "blocked": f"blocking{whom}{on}",
        "inversion": f"inversion{whom}{on}",
        "isr": f"interrupt handler {by}",
        "deferred": f"deferral{whom}{' under a mask' if via else ''}",
        "suspended": f"waiting for {via}" if via else "waiting for what the log does not name",
        "unranked": f"{by}, whose priority is not known",
        "asleep": "sleep of the core",
        "unknown": "time that the log does not show",
    }.get(entry, entry)


def row_ns(of: Row) -> str:
    """'3.13 ms of inversion by panel on flash_bus'."""
    return f"{duration(of.ns)} of {row(of.entry, of.by, of.via)}"


def doing(stretch: Stretch) -> str:
    """What a stretch is, in the table of what happened in order."""
    if stretch.doing == "several":
        return f"({stretch.count} stretches)"
    if stretch.doing == "waits for lock":
        return f"waits for {stretch.what}"
    if stretch.doing == "suspended":
        return f"waits for {stretch.what}" if stretch.what else "waits"
    return {"backlog": "earlier job under way", "unknown": "not known"}.get(
        stretch.doing, stretch.doing
    )


def where(rows: Sequence[Row], most: int = 3) -> str:
    """The ledger of a stretch, the entry with most of its time first, and by whom."""
    if len(rows) == 1:
        only = rows[0]
        kind = _KINDS.get(only.entry, only.entry)
        return kind if only.by is None or only.entry == "execution" else f"{kind} ({only.by})"
    entries: dict[str, list[Row]] = {}
    for told in rows:
        entries.setdefault(told.entry, []).append(told)
    ranked = sorted(entries.items(), key=lambda found: -sum(row.ns for row in found[1]))
    return "; ".join(_entry(entry, told, most) for entry, told in ranked)


_KINDS: Final = {
    "execution": "own execution",
    "blocked": "blocking",
    "isr": "handlers",
    "deferred": "deferral",
    "suspended": "waiting",
    "asleep": "core asleep",
    "unknown": "not shown",
}


def _entry(entry: str, rows: Sequence[Row], most: int) -> str:
    total = f"{_KINDS.get(entry, entry)} {duration(sum(row.ns for row in rows))}"
    names = [row.by or row.via for row in rows if row.by or row.via]
    if entry in ("execution", "isr") or not names:
        return total
    if len(rows) == 1:
        return f"{total} ({names[0]})"
    shown = [f"{row.by or row.via} {duration(row.ns)}" for row in rows[:most]]
    more = f", {len(rows) - most} more" if len(rows) > most else ""
    return f"{total} ({', '.join(shown)}{more})"


# -------------------------------------------------------------------------------------- locks


def waited(wait: Wait, job: Job) -> list[str]:
    """A wait and its chain, one sentence a link."""
    for_ns = duration(wait.end_ns - wait.start_ns)
    at = from_release(wait.start_ns, job)
    how = {
        "wait": f"{wait.task} waited {for_ns} for {wait.lock}",
        "spin": f"{wait.task} spun {for_ns} for {wait.lock}",
        "refused": f"{wait.task} wanted {wait.wanted}, which was free, and was refused it for "
        f"{for_ns}: {wait.lock} stood in the way",
        "push_through": f"{wait.task} was ready, and a less urgent task raised by {wait.lock} "
        f"ran instead for {for_ns}",
    }[wait.kind]
    gave_up = "" if wait.got or wait.kind == "push_through" else "; it did not get it"
    said = [f"At {at} {how}{gave_up}."]
    for holder in wait.holders:
        said += _held(wait, holder, job)
    return said


def _held(wait: Wait, holder: Holder, job: Job) -> list[str]:
    name = holder.task or "a holder outside any task"
    took = from_release(holder.took_ns, job)
    until = from_release(holder.gave_ns, job)
    seen = "" if holder.complete else ", as far as the log shows"
    text = (
        f"{name} held {wait.lock} from {took} until {until}{seen}, and executed "
        f"{duration(holder.own_ns)} in that time"
    )
    if not holder.waits:
        return [f"{text}."]
    said = [f"{text}; meanwhile it waited itself."]
    for further in holder.waits:
        said += waited(further, job)
    return said


def from_release(ns: int, job: Job) -> str:
    """A moment as a distance from the release: '+118 µs', or '−734 µs' before it."""
    relative = ns - job.release_ns
    return f"{'−' if relative < 0 else '+'}{duration(abs(relative))}"


def deadlocked(cycle: Deadlock, job: Job) -> str:
    """A cycle, told link by link."""
    links = [
        f"{task} waits for {lock}, which {cycle.tasks[(i + 1) % len(cycle.tasks)]} holds"
        for i, (task, lock) in enumerate(zip(cycle.tasks, cycle.locks, strict=True))
    ]
    return f"Deadlock at {from_release(cycle.at_ns, job)}: {'; '.join(links)}. None can go on."


# ------------------------------------------------------------------------------------ backlog


def backlog(chain: Backlog, job: Job) -> str:
    """Where the backlog began."""
    first = chain.first.job
    late = "" if first.lateness_ns is None else _against_deadline(first)
    began = (
        f"job {first.number}, released at {moment(first.release_ns)}, which found no earlier one "
        f"under way and took {duration(first.length_ns)}{late}"
    )
    released = f"{title(job)} was released while an earlier job of {job.task} was under way"
    if chain.jobs == 1:
        return f"{released}: {began}."
    return f"{released}. The backlog is {chain.jobs} jobs long; it began with {began}."


def predecessor(earlier: Predecessor) -> str:
    """The largest part of what held an earlier job up, backlog apart.

    Its own execution, if that alone is longer than the deadline or there was nothing else.
    """
    own = [row for row in earlier.rows if row.entry == "execution"]
    rest = [row for row in earlier.rows if row.entry not in ("backlog", "execution")]
    too_long = own and own[0].ns > (earlier.job.deadline_ns or own[0].ns)
    told = own if too_long or not rest else rest
    return row_ns(told[0]) if told else "backlog alone"


def _against_deadline(job: Job) -> str:
    lateness = job.lateness_ns or 0
    if lateness > 0:
        return f", {duration(lateness)} past its deadline"
    return f", within its deadline of {duration(job.deadline_ns or 0)}"


# ------------------------------------------------------------------------ what had to be shorter


def too_long(job: Job) -> str:
    """By how much."""
    return (
        f"To meet its deadline it would have had to be {duration(job.lateness_ns or 0)} shorter. "
        f"{OTHER_THINGS_EQUAL}"
    )


def without(case: Without) -> str:
    """The response without some parts of it."""
    parts = listing([row_ns(part) for part in case.parts])
    taken = f"Without {'the ' if len(case.parts) == 1 else ''}{parts}"
    return f"{taken} it would have taken {duration(case.left_ns)}: {_margin(case.early_ns)}."


def _margin(early_ns: int) -> str:
    if early_ns < 0:
        return f"still {duration(-early_ns)} late"
    return f"{duration(early_ns)} before its deadline" if early_ns else "exactly at its deadline"


def nothing_suffices(job: Job, own_ns: int) -> str:
    """The job's own execution is too long already."""
    return (
        f"Its own execution alone, {duration(own_ns)}, is longer than its deadline of "
        f"{duration(job.deadline_ns or 0)}: with all else gone it would still have been late."
    )


# ------------------------------------------------------------ the median job, and other late jobs


def beside_usual(job: Job, usual: Usual) -> str:
    """The two jobs, and what of the difference the largest growth is."""
    more = job.length_ns - usual.job.length_ns
    beside = (
        f"Job {usual.job.number} is the median of the {count(usual.judged, 'judged job')} of "
        f"{job.task}, with {duration(usual.job.length_ns)}"
    )
    if usual.job.late:
        beside += ", and late itself"
    compare = f"{duration(abs(more))} {'more' if more > 0 else 'less'}"
    if more == 0:
        return f"{beside}; this one took as long."
    largest = usual.growths[0]
    grown = (
        f", and {percent(largest.share)} of what grew is "
        f"{row(largest.entry, largest.by, largest.via)}"
        if more > 0
        else ""
    )
    return f"{beside}; this one took {compare}{grown}."


def late_jobs(task: str, late: int, causes: int) -> str:
    """How many late jobs, and how many causes."""
    were = "was" if late == 1 else "were"
    causing = "one cause" if causes == 1 else count(causes, "cause")
    return (
        f"{count(late, 'job')} of {task} {were} late, from {causing}. A cause is the entry of the "
        "ledger that grew most against the median job; jobs late through backlog count with the "
        "job that it began with."
    )


def story(told: Story) -> str:
    """One cause in words."""
    return row(told.entry, told.by, told.via)

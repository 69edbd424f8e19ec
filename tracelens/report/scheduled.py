"""A schedulability analysis as a document: the verdict, every response and how it came about."""

from collections.abc import Mapping, Sequence
from typing import Final

from tracelens.findings.wording import SAFETY
from tracelens.observed import Seen
from tracelens.report import schedule_tests
from tracelens.report.blocks import (
    Block,
    Cell,
    Column,
    Document,
    Listing,
    Paragraph,
    Remark,
    Section,
    Table,
)
from tracelens.report.numbers import percent
from tracelens.report.schedule_tests import fraction, us
from tracelens.theory.records import Schedulability, TaskResult
from tracelens.theory.windows import Window

MOST_STEPS: Final = 24
"""So many values of an iteration are printed; --json has all."""
MOST_JOBS: Final = 12

VERDICTS: Final = {
    "schedulable": "Every task is shown to meet its deadline.",
    "unschedulable": "Not schedulable: at least one deadline cannot be kept.",
    "inconclusive": "Inconclusive: not every task is shown to meet its deadline.",
}


def document(found: Schedulability, title: str, seen: Mapping[str, Seen] | None = None) -> Document:
    """The analysis of a task set; with `seen`, of a run, beside what the run showed.

    Names are as declared: each renderer makes safe what it prints.
    """
    made = (
        _responses(found, seen or {}),
        _iterations(found),
        _blocking(found),
        schedule_tests.bounds(found),
        schedule_tests.points(found),
        *(schedule_tests.demand(core, found) for core in found.cores),
        schedule_tests.orders(found),
        schedule_tests.margins(found),
        _rests(found, seen is not None),
    )
    return Document(
        title=title,
        facts=(_facts(found),),
        verdict=VERDICTS[found.verdict],
        remarks=tuple(_remark(task) for task in found.tasks if not task.ok),
        sections=tuple(section for section in made if section is not None),
    )


def _facts(found: Schedulability) -> str:
    policy = {"fixed": "fixed priorities", "edf": "earliest deadline first"}
    cores = len(found.cores)
    handlers = sum(task.contender.handler for task in found.tasks)
    tasks = len(found.tasks) - handlers
    parts = [
        policy.get(found.policy, "fixed priorities, equal ones in turn"),
        f"{cores} core{'s' if cores != 1 else ''}",
        f"{tasks} task{'s' if tasks != 1 else ''}",
        f"load {fraction(found.utilisation)} = {percent(float(found.utilisation))} %",
    ]
    if handlers:
        parts.insert(3, f"{handlers} interrupt handler{'s' if handlers != 1 else ''}")
    return " · ".join(parts)


def _remark(task: TaskResult) -> Remark:
    severity = "error" if task.verdict == "unschedulable" else "warning"
    return Remark(severity, f"{task.name}: {_reason(task)}", "")


def _reason(task: TaskResult) -> str:
    due = us(task.contender.deadline_ns)
    if task.response_ns is None:
        return f"no bound: {task.why or 'it was not found'}"
    if task.verdict == "unschedulable":
        return f"its worst response is {us(task.response_ns)} µs, its deadline {due} µs"
    text = f"its bound is {us(task.response_ns)} µs, its deadline {due} µs, and the bound may be"
    return f"{text} too high to decide"


def _responses(found: Schedulability, seen: Mapping[str, Seen]) -> Section:
    several = len(found.cores) > 1
    columns = [
        Column("task"),
        Column("prio", "count"),
        Column("C", "count"),
        Column("T", "count"),
        Column("D", "count"),
        Column("B", "count"),
        Column("R", "count"),
        Column("R/D", "share"),
        Column("verdict"),
    ]
    if several:
        columns.insert(1, Column("core"))
    if seen:
        columns.insert(-2, Column("seen", "count"))
    names = {core.core: core.name for core in found.cores}
    rows = []
    for task in found.tasks:
        one = task.contender
        share = None
        if task.response_ns is not None and one.deadline_ns:
            share = task.response_ns / one.deadline_ns
        cells: list[Cell] = [
            task.name,
            None if one.priority is None else str(one.priority),
            us(one.cost_ns),
            us(one.period_ns),
            us(one.deadline_ns),
            us(task.blocking_ns),
            us(task.response_ns),
            share,
            _sign(task),
        ]
        if several:
            cells.insert(1, names[one.core])
        if seen:
            of = seen.get(task.name)
            cells.insert(-2, None if of is None else us(of.response_ns))
        rows.append(tuple(cells))
    text = (
        "Times in µs. C execution, T period or least separation, D deadline, B what lower tasks "
        "may block, R worst response from the due time."
    )
    if seen:
        text += " Seen is the longest response of this run."
    parts: list[Block] = [Paragraph(text), Table(tuple(columns), tuple(rows))]
    told = [f"{task.name}: {task.why}" for task in found.tasks if task.why is not None]
    if told:
        parts.append(Listing(tuple(told)))
    return Section("Worst-case response times", tuple(parts))


def _sign(task: TaskResult) -> str:
    if task.ok:
        return "in time" if task.contender.deadline_ns is not None else "bounded"
    return "late" if task.verdict == "unschedulable" else "not decided"


def _iterations(found: Schedulability) -> Section | None:
    items = []
    for task in found.tasks:
        worst = task.worst
        if worst is None or task.contender.handler:
            continue
        steps = " → ".join(str(us(ns)) for ns in _some(worst.iterations))
        text = f"{task.name}: {steps}"
        if found.policy == "edf":
            due = worst.finish_ns - worst.response_ns
            text += f"; the job due at {us(due)} is the worst: R = {us(worst.response_ns)}"
        elif task.contender.final_ns:
            text += f" starts its last stretch; it ends at {us(worst.finish_ns)}"
        if len(task.windows) > 1:
            text += f"; {_jobs(task.windows, worst)}"
        items.append(text)
    if not items:
        return None
    what = (
        "Each value is the time in which the work that came within the one before is done; where "
        "it stands still the job ends. In µs, from the begin of the busy period."
    )
    return Section("How they come about", (Paragraph(what), Listing(tuple(items))))


def _some(steps: Sequence[int]) -> list[int]:
    """The first and the last values of a long iteration."""
    if len(steps) <= MOST_STEPS:
        return list(steps)
    return [*steps[: MOST_STEPS - 1], steps[-1]]


def _jobs(windows: Sequence[Window], worst: Window) -> str:
    told = ", ".join(str(us(w.response_ns)) for w in windows[:MOST_JOBS])
    more = ", …" if len(windows) > MOST_JOBS else ""
    return f"job {worst.job} is the worst of the busy period, whose jobs take {told}{more}"


def _blocking(found: Schedulability) -> Section | None:
    rows = []
    for task in found.tasks:
        held = task.blocking
        if held is None or task.contender.handler:
            continue
        by = ", ".join(
            f"{b.task} {us(b.length_ns)}{'' if b.lock is None else f' in {b.lock}'}"
            for b in held.blockers
        )
        cells = (held.sums_ns, held.inherit_ns, held.ceiling_ns, held.total_ns)
        rows.append((task.name, *map(us, cells), by or "nobody"))
    if not any(row[4] != "0" or row[1] != "0" for row in rows):
        return None
    columns = (
        Column("task"),
        Column("sums", "count"),
        Column("exact", "count"),
        Column("ceiling", "count"),
        Column("here", "count"),
        Column("by"),
    )
    text = (
        "Once a busy period, in µs: the smaller of the sums by task and by lock and the exact "
        "value if all locks had priority inheritance; the longest section under either ceiling "
        "protocol; and what counts here, with the protocols that the locks have."
    )
    return Section("Blocking by lower tasks", (Paragraph(text), Table(columns, tuple(rows))))


def _rests(found: Schedulability, observed: bool) -> Section:
    notes = list(found.notes)
    if not observed:
        notes.append(
            "The bounds hold if no job takes longer, and none comes sooner, than declared."
        )
    return Section("What this rests on", (Listing(tuple(notes)), Paragraph(SAFETY)))

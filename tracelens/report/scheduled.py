"""A schedulability analysis as a document: the verdict, every response and how it came about."""

from collections.abc import Mapping, Sequence
from typing import Final

from tracelens.findings.wording import SAFETY
from tracelens.numbers import percent
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
from tracelens.report.schedule_tests import fraction, us
from tracelens.theory.records import Schedulability, TaskResult
from tracelens.theory.windows import Window
from tracelens.units import NS_PER_MS, NS_PER_US

MOST_STEPS: Final = 24
"""So many values of an iteration are printed; --json has all."""
MOST_JOBS: Final = 12

_COLUMNS: Final = (
    Column("task"),
    Column("prio", "count"),
    Column("C", "exact"),
    Column("T", "exact"),
    Column("D", "exact"),
    Column("B", "exact"),
    Column("R", "exact"),
    Column("seen", "exact"),
    Column("R/D", "share"),
    Column("verdict"),
)

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
    cores = found.number
    handlers = sum(task.contender.handler for task in found.tasks)
    tasks = len(found.tasks) - handlers
    parts = [
        policy.get(found.policy, "fixed priorities, equal ones in turn"),
        f"{cores} core{'s' if cores != 1 else ''}",
        f"{tasks} task{'s' if tasks != 1 else ''}",
        f"load {fraction(found.utilisation)} = {percent(float(found.utilisation))}",
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
    """A table a core: side by side with its name the columns would be too many for a page."""
    every = [
        ns for task in found.tasks for ns in (task.contender.period_ns, task.response_ns) if ns
    ]
    whole = max(every, default=0) >= NS_PER_MS and any(ns % NS_PER_US for ns in every)
    text = (
        "Times in µs. C execution, T period or least separation, D deadline, B what lower tasks "
        "may block, R worst response from the due time."
    )
    if seen:
        text += " Seen is the longest response of this run."
    if whole:
        text += " To the whole µs on the safe side; --json is exact."
    parts: list[Block] = [Paragraph(text)]
    for core in found.cores:
        rows = tuple(
            _response(task, seen, whole) for task in found.tasks if task.contender.core == core.core
        )
        if len(found.cores) > 1:
            parts.append(Paragraph(f"Core {core.name}:"))
        columns = [column for column in _COLUMNS if seen or column.head != "seen"]
        parts.append(Table(tuple(columns), rows))
    told = [
        f"{task.name}: {task.why}"
        for task in found.tasks
        if task.why is not None and (task.ok or task.response_ns is not None)  # else in a remark
    ]
    if told:
        parts.append(Listing(tuple(told)))
    return Section("Worst-case response times", tuple(parts))


def _response(task: TaskResult, seen: Mapping[str, Seen], whole: bool) -> tuple[Cell, ...]:
    one, of = task.contender, seen.get(task.name)
    share = None
    if task.response_ns is not None and one.deadline_ns:
        share = task.response_ns / one.deadline_ns
    up, down = (_up, _down) if whole else (_as_is, _as_is)
    cells: tuple[Cell, ...] = (
        task.name,
        one.priority,
        up(one.cost_ns),
        down(one.period_ns),
        down(one.deadline_ns),
        up(task.blocking_ns),
        up(task.response_ns),
    )
    if seen:
        cells = (*cells, None if of is None else up(of.response_ns))
    return (*cells, share, _sign(task))


def _up(ns: int | None) -> int | None:
    return None if ns is None else -(-ns // NS_PER_US) * NS_PER_US


def _down(ns: int | None) -> int | None:
    return None if ns is None else ns // NS_PER_US * NS_PER_US


def _as_is(ns: int | None) -> int | None:
    return ns


def _sign(task: TaskResult) -> str:
    if task.ok:
        return "in time" if task.contender.deadline_ns is not None else "bounded"
    return "late" if task.verdict == "unschedulable" else "undecided"


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
        rows.append((task.name, *cells, by or "nobody"))
    if not any(row[4] or row[1] for row in rows):
        return None
    columns = (
        Column("task"),
        Column("sums", "exact"),
        Column("exact", "exact"),
        Column("ceiling", "exact"),
        Column("here", "exact"),
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

"""The whole analysis of one system, in one function."""

from fractions import Fraction

from tracelens.model.taskset import TaskSet
from tracelens.theory.assignment import orders
from tracelens.theory.bounds import Row, by_load
from tracelens.theory.demand import Blocked, demand
from tracelens.theory.edf import edf_core
from tracelens.theory.from_taskset import workload as workload_of
from tracelens.theory.records import (
    CoreResult,
    Demand,
    Schedulability,
    TaskResult,
    Verdict,
    together,
)
from tracelens.theory.results import edf_results, fixed_results
from tracelens.theory.rivals import Responses, arriving
from tracelens.theory.schedule import apart, fixed
from tracelens.theory.sensitivity import margins as margins_of
from tracelens.theory.windows import FOREVER
from tracelens.theory.workload import Contender, Workload, rate


def analyse_set(taskset: TaskSet, *, margins: bool = True) -> Schedulability:
    """The schedulability of a task set; `margins` False leaves the sensitivity out.

    Raises `SystemFileError` for a body that never gives a lock back; what else may be wrong with a
    task set, `engine.check` says.
    """
    return analyse(workload_of(taskset), margins=margins)


def analyse(workload: Workload, *, margins: bool = True) -> Schedulability:
    """The same for work as the theory sees it."""
    edf = workload.policy == "edf"
    tasks = edf_results(workload) if edf else fixed_results(workload)
    known = {task.name: task.response_ns for task in tasks}
    cores = tuple(_core(core, workload, tasks, known) for core in workload.cores)
    whole = not any(contender.cannot for contender in workload.contenders)
    promised = any(contender.deadline_ns is not None for contender in workload.contenders)
    load = sum((_load(task.contender, workload, known) for task in tasks), Fraction())
    verdicts: list[Verdict] = [*(t.verdict for t in tasks), *(c.verdict for c in cores)]
    if load > workload.number and not workload.observed:
        verdicts.append("unschedulable")
    return Schedulability(
        policy=workload.policy,
        number=workload.number,
        utilisation=load,
        tasks=tasks,
        cores=cores,
        orders=() if edf else tuple(o for c in workload.cores for o in orders(workload, c)),
        margins=margins_of(workload) if margins and whole and promised else None,
        verdict=together(verdicts),
        notes=_notes(workload),
    )


def _core(
    number: int, workload: Workload, tasks: tuple[TaskResult, ...], known: Responses
) -> CoreResult:
    here = [task for task in tasks if task.contender.core == number]
    pinned = [task.contender for task in here if not task.contender.migrates]
    load = sum((_load(one, workload, known) for one in pinned), Fraction())
    rows, why = _rows(here, workload)
    verdicts: list[Verdict] = [task.verdict for task in here]
    if load > 1 and not workload.observed:
        verdicts.append("unschedulable")
    return CoreResult(
        core=number,
        name=workload.core_names.get(number, str(number)),
        utilisation=load,
        bounds=by_load(workload.policy, load, rows, why, proven=not workload.observed),
        demand=_demand(number, workload, known),
        verdict=together(verdicts),
    )


def _load(one: Contender, workload: Workload, known: Responses) -> Fraction:
    """Its share of a core, without the switches; without arrivals that have no bound."""
    came = arriving(one, workload, known)
    streams = one.streams if came is None else came.streams
    return sum((rate(stream) for stream in streams), Fraction()) * one.cost_ns


def _demand(number: int, workload: Workload, known: Responses) -> Demand:
    """The demand of a core; under fixed priorities for the record, without what blocks."""
    core = edf_core(number, workload, known)
    if workload.policy == "edf":
        return demand(core.claims, core.handlers, core.blocked, core.extra_ns)
    return demand(core.claims, core.handlers, Blocked((), {}, {}, {}))


def _rows(tasks: list[TaskResult], workload: Workload) -> tuple[list[Row] | None, str | None]:
    """What the tests by load need of a core; why they do not apply, if they do not."""
    rows = []
    why = None
    for task in tasks:
        one = task.contender
        why = why or _unfit(one, workload)
        period = one.period_ns
        if period is None:
            return None, why
        cost = one.cost_ns + (0 if one.handler else 2 * workload.switch_ns * (1 + one.waits))
        limit = min(period, FOREVER if one.deadline_ns is None else one.deadline_ns)
        held = task.blocking_ns or 0
        if task.blocking is not None and task.blocking.floor is not None:
            why = why or f"a plain lock can make {one.name} wait for others than its holder"
        if workload.policy == "edf" and (one.sections or one.masked_ns):
            held = max(held, *(s.length_ns for s in one.sections), one.masked_ns)
        rows.append(Row(cost, period, max(1, limit), held))
    return rows, why


def _unfit(one: Contender, workload: Workload) -> str | None:
    if one.cannot:
        return f"{one.name}: {one.cannot}"
    if workload.wake_ns:
        return "the core sleeps"
    if one.triggers or len(one.streams) != 1 or one.streams[0].most is not None:
        return f"{one.name} is neither periodic nor sporadic on its own"
    if one.jitter_ns or one.after or one.streams[0].jitter_ns:
        return f"{one.name} has release jitter"
    if one.suspensions:
        return f"{one.name} suspends itself"
    return None


def _notes(workload: Workload) -> tuple[str, ...]:
    """What the figures rest on, beyond what the system declares."""
    notes = list(workload.notes)
    levels = [(c.core, c.handler, c.level) for c in workload.contenders]
    if workload.policy != "edf" and len(set(levels)) < len(levels):
        notes.append("Contenders of equal priority count as being in each other's way.")
    if workload.switch_ns:
        notes.append("Each job costs the switch to it and the switch back.")
    if any(c.suspensions for c in workload.contenders):
        notes.append(
            "A task that suspends itself counts its suspension as execution in its own response."
        )
    if any(apart(workload, core) and fixed(workload, core) is None for core in workload.cores):
        notes.append("Tasks have first releases of their own; the bounds hold for any.")
    if any(c.jitter_ns for c in workload.contenders):
        notes.append("Responses count from the due time: release jitter is part of them.")
    return tuple(notes)

"""The pipeline: from what happened to what it amounts to, and what is worth saying about it."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

from tracelens.errors import UsageError
from tracelens.findings.ranking import find
from tracelens.measures.chain_ledgers import chain_ledgers
from tracelens.measures.chains import chain_instances, chains
from tracelens.measures.cut import cut, occurrences
from tracelens.measures.energy import charges, power
from tracelens.measures.interrupts import isrs, masked
from tracelens.measures.ledgers import late_ledgers
from tracelens.measures.load import cores, totals
from tracelens.measures.locks import locks
from tracelens.measures.phases import phases
from tracelens.measures.quality import quality
from tracelens.measures.queues import queues
from tracelens.measures.sleep import sleep
from tracelens.measures.tasks import tasks
from tracelens.model.results import Analysis, Timeline
from tracelens.numbers import moment
from tracelens.spans import Windows, common, union


def analyse(
    timeline: Timeline, *, window: tuple[int, int] | None = None, phase: str | None = None
) -> Analysis:
    """Take every measure of a run and collect the findings.

    `window` is [start, end) in ns from the first event; `phase` the name of a phase that the
    application marked: the measures are then taken over all its occurrences together. With both,
    over what they have in common; with neither, over the whole run. The tables of the analysis's
    timeline are cut likewise (see `measures.cut`); its log and the counts of `quality` are whole.

    Raises `UsageError` for a window outside the run, and for a phase that the log does not mark or
    that does not occur in the window.
    """
    marked = phases(timeline.log, timeline.span_ns)
    windows = _windows(timeline.span_ns, window)
    if phase is not None:
        names = marked["phase"].unique(maintain_order=True).to_list()
        windows = _of_phase(phase, names, common(windows, occurrences(marked, phase)))
    run = cut(timeline, windows)
    spent = totals(run.occupancy)
    asleep = sleep(run, spent, windows)
    charged = charges(run, asleep)
    instances = chain_instances(timeline, windows)
    with ThreadPoolExecutor(2) as beside:  # the slowest first; none needs another
        by_task = beside.submit(tasks, run, timeline.lock_waits, spent, windows)
        by_core = beside.submit(cores, run, spent, asleep, windows)
        by_queue = beside.submit(queues, run, windows)
        by_isr = beside.submit(isrs, run, spent)
        by_lock = beside.submit(locks, run)
        late = beside.submit(late_ledgers, run)
        measured = Analysis(
            timeline=run,
            window=(windows[0][0], windows[-1][1]) if windows else (0, timeline.span_ns),
            quality=quality(timeline, spent),
            cores=by_core.result(),
            tasks=by_task.result(),
            isrs=by_isr.result(),
            locks=by_lock.result(),
            queues=by_queue.result(),
            chains=chains(run, instances),
            chain_instances=instances,
            chain_ledgers=chain_ledgers(timeline, instances),
            ledgers=late.result(),
            phases=marked,
            sleep=asleep,
            masked=masked(run.masks),
            power=power(run, charged, asleep),
            charges=charged,
            findings=(),
        )
    return replace(measured, findings=find(measured, timeline.system.thresholds))


def _windows(span_ns: int, window: tuple[int, int] | None) -> Windows:
    if window is None:
        return union([(0, span_ns)])
    within_run(window, span_ns)
    return (window,)


def within_run(window: tuple[int, int], span_ns: int) -> None:
    """Raise `UsageError` unless [start, end) is a time of a run that lasts `span_ns`."""
    start, end = window
    if not 0 <= start < end <= span_ns:
        raise UsageError(
            f"no such time in this run: found {moment(start)} to {moment(end)}, expected a begin "
            f"before an end, both within {moment(0)} to {moment(span_ns)}",
            hint="times count from the first event of the log",
        )


def _of_phase(phase: str, marked: list[str], windows: Windows) -> Windows:
    if phase not in marked:
        told = ", ".join(marked) or "none"
        raise UsageError(
            f"no such phase: found {phase}, expected one that the log marks ({told})",
            hint="firmware marks a phase with `mark NAME begin` and `mark NAME end`",
        )
    if not windows:
        raise UsageError(
            f"phase {phase} does not occur in the window: found no time in common, expected some",
            hint="leave the window out, or see the table of phases for when it occurs",
        )
    return windows

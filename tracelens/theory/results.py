"""Each contender's result: its response against its deadline, and how far the figure is exact."""

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Final

from tracelens.theory.demand import demand
from tracelens.theory.edf import EdfCore, edf_core, response
from tracelens.theory.points import points
from tracelens.theory.records import Part, Point, TaskResult, Verdict
from tracelens.theory.response import Found, responses
from tracelens.theory.schedule import scheduled
from tracelens.theory.windows import Own, Rival, TooLongError, Window, before, within
from tracelens.theory.workload import Contender, Workload, higher_or_equal

MOST_WINDOWS: Final = 64
"""Jobs of a busy period that are kept; the worst one always is."""


def fixed_results(workload: Workload) -> tuple[TaskResult, ...]:
    """The results under fixed priorities, core by core, most urgent first."""
    found = responses(workload)
    plain = tuple(
        _fixed(one, found[one.name], workload)
        for core in workload.cores
        for one in workload.of_core(core)
    )
    return _with_offsets(plain, workload)


def _fixed(one: Contender, found: Found, workload: Workload) -> TaskResult:
    exact = found.why is None and _exact(one, found, workload)
    if found.overload:
        load = sum((c.utilisation for c in _before(one, workload)), one.utilisation)
        exact = load > 1 and not workload.observed
    worst = max(found.windows, key=lambda w: (w.response_ns, -w.job), default=None)
    own, held = found.own, found.blocking
    marks: tuple[Point, ...] = ()
    if own is not None and held is not None and one.deadline_ns and held.floor is None:
        lost = held.total_ns + workload.wake_ns
        marks = points(own, found.above, lost, one.deadline_ns)
    return TaskResult(
        contender=one,
        blocking=held,
        response_ns=found.response_ns,
        verdict=verdict(one, found.response_ns, exact),
        exact=exact,
        why=found.why,
        windows=_kept(found.windows, worst),
        worst_job=None if worst is None else worst.job,
        parts=() if worst is None else _parts(worst, found.above, own),
        points=marks,
        blocking_ns=None if held is None else held.total_ns,
    )


def verdict(one: Contender, response_ns: int | None, exact: bool) -> Verdict:
    """A response against the deadline; without a deadline, whether there is a response."""
    if response_ns is not None and (one.deadline_ns is None or response_ns <= one.deadline_ns):
        return "schedulable"
    return "unschedulable" if exact else "inconclusive"


def _before(one: Contender, workload: Workload) -> list[Contender]:
    others = workload.of_core(one.core)
    return [c for c in others if c is not one and higher_or_equal(c, one)]


def _exact(one: Contender, found: Found, workload: Workload) -> bool:
    """Whether some run of the declared system reaches the response.

    All must be able to come at once, each with its longest job, and nothing be counted that need
    not happen together: blocking, switching, suspensions, jitter of what is tied to a grid.
    """
    together = [one, *_before(one, workload)]
    if workload.observed:
        return False
    if found.blocking is not None and found.blocking.total_ns:
        return False
    if workload.switch_ns and not one.handler:
        return False
    if workload.wake_ns or any(c.triggers or c.after or c.suspensions for c in together):
        return False
    if any(c.level == one.level and c.handler == one.handler for c in together[1:]):
        return False
    if any(c.jitter_ns and c.offset_ns is not None for c in together):
        return False
    if any(stream.most is not None for c in together for stream in c.streams):
        return False
    return len({c.offset_ns for c in together if c.offset_ns is not None}) <= 1


def _kept(found: Sequence[Window], worst: Window | None) -> tuple[Window, ...]:
    kept = list(found[:MOST_WINDOWS])
    return tuple(kept if worst is None or worst in kept else [*kept, worst])


def _parts(worst: Window, above: Sequence[Rival], own: Own | None) -> tuple[Part, ...]:
    count = within if own is not None and own.final_ns else before
    width = worst.iterations[-1]
    counted = [(rival, count(rival.streams, width)) for rival in above]
    return tuple(Part(rival.name, number, number * rival.cost_ns) for rival, number in counted)


def edf_results(workload: Workload) -> tuple[TaskResult, ...]:
    """The results under earliest deadline first. The demand of a core judges all of its tasks.

    A task whose own response is within its deadline although the core's demand does not fit is
    not late itself, and is said to be schedulable.
    """
    known: dict[str, int | None] = {}
    handlers: dict[str, TaskResult] = {}
    chained = replace(
        workload, contenders=tuple(c for c in workload.contenders if c.handler), policy="fixed"
    )
    for result in fixed_results(chained):
        handlers[result.name] = result
        known[result.name] = result.response_ns
    known |= {c.name: None for c in workload.contenders if not c.handler}
    results = []
    for number in workload.cores:
        core = edf_core(number, workload, known)
        total = demand(core.claims, core.handlers, core.blocked, core.extra_ns)
        for one in workload.of_core(number):
            if one.handler:
                results.append(handlers[one.name])
            else:
                fits = total.passes and not core.cannot
                results.append(_edf(one, core, bool(fits), workload))
    return _with_offsets(tuple(results), workload)


def _edf(one: Contender, core: EdfCore, fits: bool, workload: Workload) -> TaskResult:
    why = core.cannot.get(one.name)
    if why is None and core.cannot:
        why = f"the work of {next(iter(core.cannot))} has no bound"
    found: tuple[Window, ...] = ()
    if why is None:
        try:
            made = response(one, core)
            found = made or ()
            why = None if made else "the load is more than its core"
        except TooLongError:
            why = "there are too many releases to try"
    worst = found[0] if found else None
    late = worst is not None and one.deadline_ns is not None and worst.response_ns > one.deadline_ns
    exact = _edf_exact(core, workload)
    overload = sum((c.as_rival.utilisation for c in core.claims), Fraction()) > 1
    said: Verdict = "inconclusive"
    if (worst is not None and not late) or (worst is None and fits):
        said = "schedulable"
    elif exact and (late or overload):
        said = "unschedulable"
    return TaskResult(
        contender=one,
        blocking=None,
        response_ns=None if worst is None else worst.response_ns,
        verdict=said,
        exact=exact,
        why=why,
        windows=found,
        worst_job=None if worst is None else worst.job,
        blocking_ns=None if one.deadline_ns is None else core.blocked.at(one.deadline_ns),
    )


def _edf_exact(core: EdfCore, workload: Workload) -> bool:
    """Whether all claims can come together as the worst case has them."""
    tasks = [c for c in workload.contenders if any(c.name == claim.name for claim in core.claims)]
    return not (
        workload.observed
        or core.cannot
        or core.blocked.anything
        or core.extra_ns
        or workload.switch_ns
        or any(c.suspensions or c.triggers or c.after for c in tasks)
        or any(c.jitter_ns and c.offset_ns is not None for c in tasks)
        or any(stream.most is not None for c in tasks for stream in c.streams)
        or len({c.offset_ns for c in tasks if c.offset_ns is not None}) > 1
    )


def _with_offsets(results: tuple[TaskResult, ...], workload: Workload) -> tuple[TaskResult, ...]:
    """Where releases are fixed and not all together, the schedule itself gives the responses."""
    found: dict[str, tuple[int, int]] = {}
    for core in workload.cores:
        found |= scheduled(workload, core) or {}
    made = []
    for result in results:
        exact = found.get(result.name)
        if exact is None:
            made.append(result)
            continue
        made.append(
            replace(
                result,
                response_ns=exact[0],
                verdict=verdict(result.contender, exact[0], exact=True),
                exact=True,
                why="from the schedule over the largest offset and two hyperperiods",
                bound_ns=result.response_ns,
            )
        )
    return tuple(made)

"""Earliest deadline first on one core: claims from contenders, and worst-case response times.

Spuri, "Analysis of deadline scheduled real-time systems", INRIA report 2772, 1996: the worst
response of a task is found in a busy period in which the others are released together and its own
job comes so late that its deadline falls together with another's.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from tracelens.theory.demand import Blocked, Claim
from tracelens.theory.rivals import Responses, arriving, own, rival
from tracelens.theory.windows import (
    FOREVER,
    Rival,
    TooLongError,
    Window,
    before,
    busy_period,
)
from tracelens.theory.workload import Contender, Workload

MOST_CANDIDATES: Final = 20_000
"""Releases of one task that are tried at most."""


@dataclass(frozen=True, slots=True)
class EdfCore:
    """One core's tasks as claims, its handlers, and what may be lost."""

    claims: tuple[Claim, ...]
    handlers: tuple[Rival, ...]
    blocked: Blocked
    extra_ns: int
    cannot: dict[str, str]


def edf_core(core: int, workload: Workload, known: Responses) -> EdfCore:
    """What the demand criterion needs of one core.

    Suspension counts as execution, and each return from it as another time to be blocked.
    """
    everyone = workload.of_core(core)
    tasks = [c for c in everyone if not c.handler]
    claims, cannot = [], {}
    handlers = []
    for one in everyone:
        came = None if one.cannot else arriving(one, workload, known)
        if came is None:
            cannot[one.name] = one.cannot or "what releases it has no bound on its response"
        elif one.handler:
            handlers.append(rival(came, one, workload, known, oblivious=True))
        elif one.deadline_ns is None:
            cannot[one.name] = "it has neither a deadline nor a period"
        else:
            switched = rival(came, one, workload, known, oblivious=True).cost_ns
            cost = max(switched, own(came, workload).cost_ns)
            claims.append(Claim(one.name, came.streams, cost, one.deadline_ns, came.jitter_ns))
    due = {t.name: t.deadline_ns if t.deadline_ns is not None else FOREVER for t in tasks}
    late = {claim.name: claim.counted_ns for claim in claims}
    blocked = Blocked(tasks, due, workload.locks, {t.name: late.get(t.name, 0) for t in tasks})
    for task in tasks:
        why = cannot.get(task.name) or _locks(task, tasks, workload)
        if why is not None:
            cannot[task.name] = why
    return EdfCore(tuple(claims), tuple(handlers), blocked, workload.wake_ns, cannot)


def _locks(task: Contender, tasks: Sequence[Contender], workload: Workload) -> str | None:
    for section in task.sections:
        users = [c for c in workload.contenders if any(s.lock == section.lock for s in c.sections)]
        if any(c.core != task.core for c in users):
            return f"tasks of several cores share {section.lock}, and this analysis is of one core"
        if len(users) > 1 and workload.locks[section.lock].protocol == "none":
            return f"nothing bounds its wait for the plain lock {section.lock}"
        if len(users) > 1 and section.sleeps:
            return f"{section.lock} is held while its holder waits for something else"
    if task.suspensions and len(tasks) > 1 and any(t.sections or t.masked_ns for t in tasks):
        return "it suspends itself, and others may block it whenever it comes back"
    return None


def response(of: Contender, core: EdfCore) -> tuple[Window, ...] | None:
    """The longest window of a task, alone in the tuple; None if there is no bound.

    Raises `TooLongError` where there are too many releases to try.
    """
    claim = next(c for c in core.claims if c.name == of.name)
    parts = [*(c.as_rival for c in core.claims), *core.handlers]
    lost = core.extra_ns + core.blocked.most()
    length = busy_period(parts, lost)
    if length is None:
        length = busy_period(parts, 0)
        if length is None or lost:
            return None
    best: Window | None = None
    for number, due in enumerate(_candidates(claim, core.claims, length), 1):
        iterations = _window(claim, due, core)
        finish = iterations[-1]
        found = Window(number, iterations, finish, finish - due)
        if best is None or found.response_ns > best.response_ns:
            best = found
    return None if best is None else (best,)


def _candidates(claim: Claim, others: Sequence[Claim], length_ns: int) -> list[int]:
    """Due times of the job, from the begin of the busy period, that can be the worst."""
    earliest = -claim.counted_ns
    found: set[int] = set()
    for other in others:
        for stream in other.streams:
            step = stream.period_ns or stream.apart_ns
            first = other.deadline_ns - stream.jitter_ns - claim.deadline_ns
            if other is claim:
                first = -stream.jitter_ns
            skip = max(0, -(-(earliest - first) // step)) if step else 0
            number = skip
            while first + number * step < length_ns and (
                stream.most is None or number < stream.most
            ):
                if first + number * step >= earliest:
                    found.add(first + number * step)
                number += 1
                if len(found) > MOST_CANDIDATES:
                    raise TooLongError
    return sorted(found | {earliest})


def _window(claim: Claim, due: int, core: EdfCore) -> tuple[int, ...]:
    """The iterations for a job of `claim` that is due at `due`."""
    deadline = due + claim.deadline_ns
    lost = core.extra_ns + core.blocked.at(deadline)
    own_work = max(1, claim.count(deadline)) * claim.cost_ns

    def work(width: int) -> int:
        total = lost + own_work
        for other in core.claims:
            if other is not claim:
                jobs = min(other.count(deadline), before(other.streams, width))
                total += jobs * other.cost_ns
        return total + sum(before(h.streams, width) * h.cost_ns for h in core.handlers)

    steps = [lost + own_work]
    while True:
        following = work(steps[-1])
        if following <= steps[-1]:
            return tuple(steps)
        steps.append(following)

"""Each contender as work in the way of others, and as the one under analysis.

Switching: a job costs the switch to it and the one back (Burns & Wellings, *Real-Time Systems and
Programming Languages*, on cyclic overheads). Self-suspension: in the way of others, a task that
suspends itself counts as released late by its response less its execution (Chen, Nelissen, Huang
et al., "Many suspensions, many problems", Real-Time Systems 55, 2019); for itself, suspension
counts as execution. Chains of releases: the response of the one that releases is jitter of the one
released (Tindell & Clark, "Holistic schedulability analysis for distributed hard real-time
systems", Microprocessing and Microprogramming 40, 1994).
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from tracelens.theory.windows import Own, Rival
from tracelens.theory.workload import EVERYBODY, Contender, Stream, Workload, higher_or_equal

Responses = Mapping[str, int | None]
"""Worst response of each contender so far; None: without bound."""


@dataclass(frozen=True, slots=True)
class Arriving:
    """A contender with all of its arrivals: by time, late by the tick's handler, and by others."""

    contender: Contender
    streams: tuple[Stream, ...]
    jitter_ns: int  # counted in the response


def arriving(one: Contender, workload: Workload, responses: Responses) -> Arriving | None:
    """The arrivals of a contender; None if one that releases it has no bound."""
    late = responses.get(one.after, 0) if one.after else 0
    if late is None:
        return None
    streams = [replace(s, jitter_ns=s.jitter_ns + late) for s in one.streams]
    for trigger in one.triggers:
        source = next(c for c in workload.contenders if c.name == trigger.source)
        response = responses[source.name]
        origin = arriving(source, workload, responses)
        if response is None or origin is None or source.cannot:
            return None
        for stream in origin.streams:
            jitter = stream.jitter_ns - origin.jitter_ns + max(0, response - trigger.least_ns)
            streams.append(Stream(stream.period_ns, jitter, 0, stream.most))
    counted = 0 if one.triggers else one.jitter_ns + late
    return Arriving(one, tuple(streams), counted)


def rival(
    of: Arriving,
    one: Contender,
    workload: Workload,
    responses: Responses,
    *,
    oblivious: bool = False,
    deferred: bool = False,
) -> Rival:
    """A contender as work in the way of `one`; `oblivious` counts its suspensions as execution.

    `deferred`: it may wait for a lock while less urgent work than `one` has the core, which is like
    suspension: it is late by its response less its execution.
    """
    other = of.contender
    cost, streams = other.cost_ns, of.streams
    if not other.handler:
        cost += 2 * workload.switch_ns * (1 + other.suspensions + other.waits)
    response = responses.get(other.name)
    period = other.period_ns
    short = response is not None and period is not None and response <= period
    if other.suspensions and (oblivious or not short or higher_or_equal(one, other)):
        cost += other.suspension_ns + workload.wake_ns * other.suspensions
    elif other.suspensions:
        deferred = True
    if deferred and response is not None:
        late = max(0, response - of.jitter_ns - other.cost_ns)
        streams = tuple(replace(s, jitter_ns=s.jitter_ns + late, apart_ns=0) for s in streams)
    level = EVERYBODY if other.handler else float(other.level or 0)
    return Rival(other.name, streams, cost, level)


def own(of: Arriving, workload: Workload, blocking_ns: int = 0) -> Own:
    """A contender as the one under analysis: with its suspensions and the switches to it.

    Whenever a job comes back lower tasks may hold it up again, for `blocking_ns` each time.
    """
    one = of.contender
    back = workload.wake_ns + blocking_ns
    cost = one.cost_ns + one.suspension_ns + back * one.suspensions
    if not one.handler:
        cost += workload.switch_ns * (1 + one.suspensions + 2 * one.waits)
    return Own(of.streams, cost, of.jitter_ns, one.final_ns, one.final_level)

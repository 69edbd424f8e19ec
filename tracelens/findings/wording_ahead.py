"""The sentences about causes, and about what has grown, drifts or could go wrong."""

from collections.abc import Mapping, Sequence

from tracelens.numbers import count, duration, listing, moment, percent


def main_cause(who: str, how: str, victims: Mapping[str, int], late: int) -> str:
    """What is behind most of the lateness of a run."""
    names = sorted(victims, key=lambda task: (-victims[task], task))
    told = listing([f"{task} ({victims[task]})" for task in names])
    return (
        f"{who}{how} explains most of what was late: it comes first in "
        f"{sum(victims.values())} of {count(late, 'late job')}: {told}."
    )


def interrupt_now(load: float, usual: float) -> str:
    """How much a handler took at its worst."""
    return f", with up to {percent(load)} of a core where {percent(usual)} is usual,"


def execution_now(risen_ns: float, usual_ns: float) -> str:
    """How long jobs take now."""
    return f", {duration(risen_ns)} a job where {duration(usual_ns)} was usual,"


def section_now(longest_ns: int) -> str:
    """How long the longest critical section is."""
    return f", up to {duration(longest_ns)} of execution in one critical section,"


def lock_of(lock: str, holder: str | None) -> str:
    """A lock and who holds it longest."""
    return f"Lock {lock}, held longest by {holder}" if holder else f"Lock {lock}"


def low_priority(task: str) -> str:
    """A priority that is out of order."""
    return f"The priority of {task}, below that of tasks with far longer deadlines,"


def slow_consumer(task: str, queue: str | None) -> str:
    """Who empties a queue too slowly."""
    return f"{task}, which is too slow in emptying {queue},"


def own_wait(task: str, what: str | None) -> str:
    """A job's own wait."""
    return f"That {task} waits for {what or 'an event that the log does not name'}"


def execution_grew(task: str, risen_ns: float, usual_ns: float, at_ns: int) -> str:
    """Jobs that execute longer for a while."""
    return (
        f"The jobs of {task} execute {duration(risen_ns)} from {moment(at_ns)} on, where "
        f"{duration(usual_ns)} is usual in this run."
    )


def long_job(task: str, longest_ns: float, usual_ns: float, at_ns: int) -> str:
    """One job that executed far longer than the others."""
    return (
        f"One job of {task}, released at {moment(at_ns)}, executed {duration(longest_ns)}, where "
        f"{duration(usual_ns)} is usual in this run."
    )


def single_section(lock: str, holder: str, longest_ns: float, usual_ns: float, at_ns: int) -> str:
    """One critical section that was far longer than the others."""
    return (
        f"{holder} executed {duration(longest_ns)} while it held {lock} from {moment(at_ns)} on, "
        f"where {duration(usual_ns)} is usual in this run."
    )


def long_execution(task: str, longest_ns: int, deadline_ns: int) -> str:
    """An execution that leaves little for others."""
    return (
        f"The execution of {task} alone, up to {duration(longest_ns)} a job, is "
        f"{percent(longest_ns / deadline_ns)} of its deadline of {duration(deadline_ns)}."
    )


def section_grew(lock: str, holder: str, risen_ns: float, usual_ns: float, at_ns: int) -> str:
    """A critical section that grew."""
    return (
        f"{holder} executes {duration(risen_ns)} while it holds {lock} from {moment(at_ns)} on, "
        f"where {duration(usual_ns)} is usual in this run."
    )


def long_section(lock: str, holder: str, own_ns: int, victim: str, deadline_ns: int) -> str:
    """A critical section that is long against the deadline of a more urgent user."""
    return (
        f"{holder} executes up to {duration(own_ns)} while it holds {lock}: that can block "
        f"{victim}, which is more urgent, for {percent(own_ns / deadline_ns)} of its deadline of "
        f"{duration(deadline_ns)}."
    )


def interrupt_storm(isr: str, load: float, usual: float, at_ns: int) -> str:
    """A burst of interrupts."""
    return (
        f"The interrupt handler {isr} took {percent(load)} of its core around {moment(at_ns)}; "
        f"{percent(usual)} is usual in this run."
    )


def interrupt_load(isr: str, load: float, runs: int) -> str:
    """A handler that takes much all the time."""
    return (
        f"The interrupt handler {isr} takes {percent(load)} of its core: it ran "
        f"{count(runs, 'time')}."
    )


def stack_drifts(task: str, first: int, free: int, ahead_ns: int) -> str:
    """A stack that is used up evenly."""
    return (
        f"The stack of {task} is used up steadily: from {first} to {count(free, 'free byte')} in "
        f"this run. At this rate none is left {_later(ahead_ns)}."
    )


def response_drifts(
    task: str, first_ns: float, last_ns: float, deadline_ns: int, ahead_ns: int
) -> str:
    """Responses that grow."""
    return (
        f"The response of {task} grows through the run, from {duration(first_ns)} to "
        f"{duration(last_ns)}. At this rate it reaches its deadline of {duration(deadline_ns)} "
        f"{_later(ahead_ns)}."
    )


def queue_drifts(queue: str, first: float, last: float, depth: int, ahead_ns: int) -> str:
    """A queue that fills."""
    return (
        f"Queue {queue} fills through the run: its highest level goes from {first:.0f} to "
        f"{last:.0f}. At this rate it reaches its depth of {depth} {_later(ahead_ns)}."
    )


def jitter_grows(task: str, first_ns: float, last_ns: float, period_ns: int) -> str:
    """Releases that stray."""
    return (
        f"The releases of {task} stray ever further from its period of {duration(period_ns)}: by "
        f"{duration(max(first_ns, 0))} at first, {duration(last_ns)} at the end."
    )


def starved(task: str, ready_ns: int, at_ns: int, most_ns: int, ran: tuple[str, int] | None) -> str:
    """A task that was ready and did not run."""
    who = f" Meanwhile {ran[0]} ran for {duration(ran[1])}." if ran else ""
    return (
        f"{task} was ready for {duration(ready_ns)} from {moment(at_ns)} on and did not run; more "
        f"than {duration(most_ns)} is too long for it.{who}"
    )


def deferred(task: str, by: str, ns: int, at_ns: int, switch_ns: int, times: int) -> str:
    """A ready task that had to wait for a lower one without a lock in between."""
    often = f", the longest of {times} such times" if times > 1 else ""
    return (
        f"{task} was ready while {by}, which is lower, ran for {duration(ns)} at {moment(at_ns)}"
        f"{often}; a switch takes {duration(switch_ns)} in this run."
    )


def out_of_order(task: str, deadline_ns: int, above: str, above_ns: int, equal: bool) -> str:
    """A priority that is not deadline-monotonic."""
    than = "no higher than" if equal else "below"
    return (
        f"{task} has a deadline of {duration(deadline_ns)} and a priority {than} that of {above}, "
        f"whose deadline is {duration(above_ns)}: usually "
        "the shorter deadline goes first (deadline-monotonic order)."
    )


def masked_long(who: str | None, what: str, ns: int, at_ns: int, task: str) -> str:
    """A long time with interrupts masked or the scheduler locked."""
    did = "kept interrupts masked" if what == "irq" else "kept the scheduler locked"
    return (
        f"{who or 'Code outside any task'} {did} for {duration(ns)} at {moment(at_ns)}, a large "
        f"part of the deadline of {task}."
    )


def held_asleep(lock: str, task: str, times: int, asleep_ns: int, at_ns: int) -> str:
    """A lock that is held while its holder waits."""
    often = "once" if times == 1 else f"{times} times"
    return (
        f"{task} waited for something else while it held {lock}, {often}, the longest time "
        f"{duration(asleep_ns)} in the hold from {moment(at_ns)} on: whoever wants it waits, too."
    )


def lock_order(cycle: Sequence[tuple[str, str, str]]) -> str:
    """Locks taken in circular order, as (held, taken, task)."""
    told = listing([f"{task} takes {taken} while it holds {held}" for held, taken, task in cycle])
    return f"These could deadlock, although they did not: {told}."


def _later(ahead_ns: int) -> str:
    return f"{duration(ahead_ns)} after the end of this log" if ahead_ns > 0 else "now"


##{'percent', 'moment', 'count', 'listing', 'duration'}

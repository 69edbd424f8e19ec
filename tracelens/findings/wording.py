"""Every sentence of the findings: plain and exact, with numbers, units and moments."""

from collections.abc import Sequence
from typing import Final

from tracelens.numbers import count, duration, listing, moment, percent

OBSERVED: Final = (
    "Observed is not worst. The largest response time, load or queue length seen here is a lower "
    "bound of the worst case: another run can show a larger one."
)
SAFETY: Final = (
    "A log shows what happened, not what can happen. Where this system can hurt someone, this "
    "report supports but does not replace the worst-case analysis, the functional-safety process "
    "and the qualified people that the applicable standards and local rules require."
)


# ------------------------------------------------------------------------------ what was late


def missed(task: str, misses: int, jobs: int, deadline_ns: int, run: int) -> str:
    """How often a task missed its deadline."""
    row = f", {run} of them in a row" if run > 1 else ""
    return (
        f"{task} missed its deadline of {duration(deadline_ns)} in {misses} of "
        f"{count(jobs, 'job')}{row}."
    )


def worst_job(job: int, release_ns: int, response_ns: int, deadline_ns: int, culprit: str) -> str:
    """Which job was the worst, and what most of its response went to."""
    return (
        f"The worst, job {job}, released at {moment(release_ns)}, took {duration(response_ns)}: "
        f"{duration(response_ns - deadline_ns)} too long{culprit}."
    )


def open_late(
    task: str,
    job: int,
    release_ns: int,
    age_ns: int,
    deadline_ns: int,
    culprit: str,
    others: int,
) -> str:
    """A job that is late already and was not complete when the log ended, and how many like it."""
    more = (
        f" {count(others, 'more job')} of {task} {'was' if others == 1 else 'were'} open and late."
    )
    return (
        f"Job {job} of {task}, released at {moment(release_ns)}, was not complete when the log "
        f"ended {duration(age_ns)} later; its deadline is {duration(deadline_ns)}{culprit}."
        f"{more if others else ''}"
    )


def culprit(entry: str, by: str | None, via: str | None, ns: int, members: int = 1) -> str:
    """The main entry of a ledger, as the end of a sentence about its job.

    The ledger may be that of `members` jobs in a row, of which each waited for the one before.
    """
    if entry == "execution":
        return f"; its own execution alone{_row(members)} took {duration(ns)}"
    return (
        f"; the largest part of what held it up{_row(members)}, {duration(ns)}, is "
        f"{_doing(entry, by, via)}"
    )


def grown(entry: str, by: str | None, via: str | None, ns: int, usual_ns: int, members: int) -> str:
    """The entry that has grown most against the usual, as the end of a sentence about a job."""
    return (
        f"; what has grown most{' in it' if members > 1 else ''}{_row(members)} is "
        f"{_doing(entry, by, via)}: {duration(ns)}, usually "
        f"{duration(usual_ns) if usual_ns else 'nothing'}"
    )


def _row(members: int) -> str:
    """' and the 3 jobs before it that it waited for', or nothing for a single job."""
    before = count(members - 1, "job")
    return f" and the {before} before it that it waited for" if members > 1 else ""


def _doing(entry: str, by: str | None, via: str | None) -> str:
    if entry == "blocked":
        return f"waiting for {by}, which holds {via}" if via else f"being held up by {by}"
    return {
        "execution": "its own execution",
        "interference": f"{by} running at a priority no lower",
        "inversion": f"{by} running although it is lower and has no part in {via}",
        "deferred": f"{by} running although it is lower",
        "isr": f"the interrupt handler {by}",
        "suspended": f"waiting for {via or 'an event that the log does not name'}",
        "backlog": "an earlier job of the same task",
        "asleep": "the core sleeping",
        "unranked": f"{by}, whose priority is not known",
        "switching": "the kernel's switching",
        "unknown": "time that the log does not show",
    }[entry]


def near_deadline(task: str, response_ns: int, deadline_ns: int, culprit: str) -> str:
    """A task that was in time, but hardly, and what most of that response went to."""
    return (
        f"{task} met every deadline, but its longest response, {duration(response_ns)}, is "
        f"{percent(response_ns / deadline_ns)} of its deadline of {duration(deadline_ns)}"
        f"{culprit}."
    )


def chain_missed(
    chain: str, misses: int, instances: int, latency_ns: int, deadline_ns: int, start_ns: int
) -> str:
    """How often a chain missed its deadline."""
    return (
        f"Chain {chain} missed its deadline of {duration(deadline_ns)} in {misses} of "
        f"{count(instances, 'instance')}; the longest, begun at {moment(start_ns)}, took "
        f"{duration(latency_ns)}."
    )


def chain_unseen(chain: str, path: Sequence[str]) -> str:
    """A declared chain without an instance."""
    return f"Chain {chain} ({' → '.join(path)}) has no complete instance in this run."


# ------------------------------------------------------------------------------------- locks


def deadlock(tasks: Sequence[str], locks: Sequence[str], at_ns: int) -> str:
    """A cycle of waits."""
    return (
        f"Deadlock at {moment(at_ns)}: {listing(tasks)} wait for each other's locks "
        f"({listing(locks)}), and none of them can go on."
    )


def unbounded_inversion(
    victim: str, lock: str, times: int, worst_ns: int, at_ns: int, third: str, third_ns: int
) -> str:
    """A priority inversion in which lower third parties ran."""
    return (
        f"Unbounded priority inversion: {victim} waited for {lock} {_times(times)} while lower "
        f"tasks that have no part in it ran. The worst, at {moment(at_ns)}, lasted "
        f"{duration(worst_ns)}, of which {third} took {duration(third_ns)}; nothing bounds that."
    )


def bounded_inversion(
    victim: str,
    lock: str,
    times: int,
    longest_ns: int,
    at_ns: int,
    holder_ns: int,
    limit: str,
) -> str:
    """A priority inversion without third parties; its critical section bounds what holders ran."""
    text = (
        f"Priority inversion: a lower task that holds {lock} held {victim} up {_times(times)}, "
        f"the longest time {duration(longest_ns)} at {moment(at_ns)}{limit}. "
    )
    if longest_ns - holder_ns <= longest_ns // 10:
        return f"{text}Its critical section bounds it."
    ran = f"only {duration(holder_ns)} of that" if holder_ns else "none of that time"
    return f"{text}The holder ran {ran}: its critical section does not bound the rest."


def contention(
    task: str, lock: str, wait_ns: int, at_ns: int, owner: str | None, limit: str
) -> str:
    """A long wait for a lock."""
    return (
        f"{task} waited {duration(wait_ns)} for {lock} from {moment(at_ns)} on{limit}; "
        f"{owner or 'a holder that the log does not name'} owned it."
    )


def of_deadline(ns: int, deadline_ns: int | None) -> str:
    """', 40.0 % of its deadline', or nothing if it has none."""
    return "" if deadline_ns is None else f", {percent(ns / deadline_ns)} of its deadline"


def _core(name: str) -> str:
    return name if name.lower().startswith("core") else f"core {name}"


def _times(number: int) -> str:
    return "once" if number == 1 else f"{number} times"


# --------------------------------------------------------------------------------- resources


def queue_full(queue: str, items: int, depth: int, at_ns: int) -> str:
    """A queue that reached its depth."""
    return (
        f"Queue {queue} was full, {items} of {depth}, at {moment(at_ns)}: it has no room for a "
        f"larger burst."
    )


def queue_nearly_full(queue: str, items: int, depth: int, at_ns: int) -> str:
    """A queue that came close to its depth."""
    return f"Queue {queue} held {items} of {count(depth, 'item')} at {moment(at_ns)}."


def stack_exhausted(task: str) -> str:
    """A stack without a free byte."""
    return f"The stack of {task} was used up: no byte of it was left free."


def stack_thin(task: str, free: int, size: int) -> str:
    """A stack with little left."""
    return (
        f"The stack of {task} had {count(free, 'byte')} of {size} left at its lowest, "
        f"{percent(free / size)}."
    )


def stack_falling(task: str, free: int) -> str:
    """A stack mark that still fell towards the end, as it may by chance."""
    return (
        f"The stack of {task} still grew in the last third of the run: the {count(free, 'byte')} "
        f"left are no bound."
    )


def core_load(
    core: str,
    load: float,
    low: float,
    high: float,
    busiest: tuple[str, float] | None,
    idle_named: bool = True,
) -> str:
    """A core with little or no time to spare; the bounds only if time is unknown.

    `idle_named` False: the log names no idle task, and one may be among those that load the core.
    """
    told = f"between {percent(low)} and {percent(high)}"
    bounds = f" ({told})" if percent(low) != percent(high) else ""
    most = f" Most of all takes {busiest[0]}: {percent(busiest[1])}." if busiest else ""
    spare = percent(1 - load)
    if load > 0.999:
        spare = "nothing" if load >= 1 else "next to nothing"
    idle = "" if idle_named else " No task is declared idle: if one of them is, say idle=yes."
    return f"The load of {_core(core)} is {percent(load)}{bounds}: {spare} is to spare.{most}{idle}"


def peak_load(core: str, load: float, window_ns: int, at_ns: int) -> str:
    """A time in which a core had nothing to spare."""
    return (
        f"The load of {_core(core)} reached {percent(load)} over {duration(window_ns)} from "
        f"{moment(at_ns)} on."
    )


# ------------------------------------------------------------------ how far to trust the log


def lost_events(lost: int) -> str:
    """Events that the log says are missing."""
    return f"The log lacks {count(lost, 'event')} that the target lost; that time is unknown."


def contradictions(number: int, line: str, ran: str | None, acted: str, at_ns: int) -> str:
    """Switches that were not recorded; `ran` is who was taken to run, None for nobody."""
    return (
        f"{count(number, 'contradiction')}: a task acts while another is known to run, so a switch "
        f"is not recorded. The first, in line {line}: {acted} acts while {ran or 'nobody'} runs, "
        f"unknown from {moment(at_ns)} on."
    )


def coverage(share: float) -> str:
    """Core time that is not known."""
    return f"What the cores did is known for {percent(share)} of their time only."


def unused_lines(number: int, reason: str, first: str) -> str:
    """Lines that were not used, of one reason."""
    return f"{count(number, 'line')} not used: {reason} (first at line {first})."


def repairs(number: int, reason: str, line: str) -> str:
    """Places where the log was mended, of one reason."""
    return f"Mended in {count(number, 'place')}: {reason} (first at line {line})."


def few_jobs(tasks: Sequence[str], needed: int) -> str:
    """Tasks with too few jobs for the highest percentile."""
    return (
        f"Fewer than {needed} jobs of {listing(tasks)} were judged: the 99th percentile is then "
        f"the largest value."
    )


# ------------------------------------------------------------------------- what is not said


def no_deadline(tasks: Sequence[str]) -> str:
    """Tasks that cannot miss anything."""
    whose = "its" if len(tasks) == 1 else "their"
    return f"No deadline is declared for {listing(tasks)}: none of {whose} jobs counts as late."


def no_priority(tasks: Sequence[str]) -> str:
    """Tasks whose rank is not known."""
    takes = "it takes" if len(tasks) == 1 else "they take"
    return (
        f"The priority of {listing(tasks)} is not known: time that {takes} from others is "
        f"'unranked', neither interference nor inversion."
    )


def hidden_activations(task: str, hidden: int) -> str:
    """Activations that late jobs swallowed."""
    return (
        f"Jobs of {task} hide {count(hidden, 'further activation')}: the log does not show where "
        f"one ends and the next begins. Let {task} write `arrive` and `finish`."
    )


def unknown_declarations(told: Sequence[str]) -> str:
    """Keys and declarations that the format does not know."""
    return f"Not known to the log format, and not used: {listing(told)}."

"""Every sentence about what to try."""

from collections.abc import Sequence
from typing import Final

from tracelens.explanation.records import Deadlock, Job, Predecessor
from tracelens.explanation.wording import predecessor, title
from tracelens.numbers import duration, listing

PLAIN_REPAIRS: Final = ("isr", "suspended", "switching", "asleep", "unranked", "unknown")
"""Entries for which what to try depends on nothing but who it was."""


def own_work(job: Job, own_ns: int) -> str:
    """Overload by the job itself."""
    return (
        f"Shorten the work of {job.task}, divide it, or give it more time: it executed "
        f"{duration(own_ns)} in this job, and its deadline is {duration(job.deadline_ns or 0)}. "
        "Nothing around it can mend that: no lock protocol, no other priority."
    )


def give_protocol(
    locks: Sequence[str], protocol: str | None, third: Sequence[str], own_ns: int
) -> str:
    """A protocol for locks without one."""
    which = "with `none`" if protocol == "none" else "without a protocol"
    left = (
        f" What stays is the owner's own execution under the lock, {duration(own_ns)} at most here."
        if own_ns
        else ""
    )
    plural = len(locks) > 1
    return (
        f"Create {listing(locks)} with priority inheritance or a priority ceiling; "
        f"{'they are' if plural else 'it is'} declared {which}. {'Their' if plural else 'Its'} "
        f"owner then runs ahead of {listing(third)} while a more urgent task waits.{left}"
    )


def protocol_does_not_act(lock: str, protocol: str, third: Sequence[str]) -> str:
    """A protocol that is declared, and an inversion nevertheless."""
    return (
        f"{lock} is declared with `{protocol}`, and yet {listing(third)} ran while its owner was "
        "ready. See whether the lock is really created so, and whether it also acts across cores."
    )


def shorten_section(holder: str, lock: str, blocked_ns: int, own_ns: int) -> str:
    """A critical section that runs while a more urgent task waits."""
    length = f", {duration(own_ns)} of execution here" if own_ns else ""
    return (
        f"Shorten the critical section of {holder} on {lock}{length}: it blocked for "
        f"{duration(blocked_ns)}. A protocol does not shorten what the holder itself runs."
    )


def sleeps_in_section(holder: str, lock: str, for_what: str | None, slept_ns: int) -> str:
    """A holder that waits for something else."""
    reason = f" for {for_what}" if for_what else ""
    return (
        f"Let {holder} give {lock} back before it waits{reason}, or keep that wait out of the "
        f"critical section: it waited {duration(slept_ns)} in there. No protocol shortens that."
    )


def break_deadlock(cycle: Deadlock) -> str:
    """A fixed order of locks, or a ceiling."""
    return (
        f"Take {listing(cycle.locks)} in one fixed order in {listing(cycle.tasks)}, or create "
        "them with a priority ceiling, which makes such a cycle impossible on one core."
    )


def first_job(first: Predecessor, jobs: int) -> str:
    """The repair lies with an earlier job."""
    whom = "the job before it" if jobs == 1 else "the job that began the backlog"
    return (
        f"Repair {whom}, {title(first.job)}: `explain --task {first.job.task} --job "
        f"{first.job.number}`. What held that one up "
        f"most was {predecessor(first)}."
    )


def lift_mask(who: str, what: str, by: str, ns: int) -> str:
    """A mask that kept the switch from happening."""
    thing = "the scheduler locked" if what == "sched" else "interrupts masked"
    return (
        f"Shorten the time for which {who} keeps {thing}: {by} went on for {duration(ns)} while "
        "this more urgent job was ready."
    )


def not_preempted(by: str, ns: int) -> str:
    """A lower task that ran on, with no mask in the log."""
    return (
        f"Find out why {by}, less urgent, was not preempted for {duration(ns)}: the log shows no "
        "mask. A part that is not preemptible, or a switch that waits for a tick, looks like this."
    )


def reorder(task: str, slower: Sequence[str], ns: int, early_ns: int) -> str:
    """Deadline-monotonic order, optimal for deadlines within the periods (Leung and Whitehead,
    "On the complexity of fixed-priority scheduling of periodic, real-time tasks", Performance
    Evaluation 2(4), 1982)."""
    have = "has a longer deadline and goes" if len(slower) == 1 else "have longer deadlines and go"
    enough = "" if early_ns >= 0 else " That alone does not suffice."
    return (
        f"Look at the order of priorities: {listing(slower)} {have} before {task} "
        f"({duration(ns)} here). The shorter deadline first is the order to begin with.{enough}"
    )


def reduce_load(task: str, names: Sequence[str], ns: int, policy: str, cores: int) -> str:
    """Too much urgent work."""
    elsewhere = "move work to another core" if cores > 1 else "take work off this core"
    turns = ", or give it a priority of its own" if policy == "round_robin" else ""
    return (
        f"Reduce the load of what goes before {task}: {listing(names)} took {duration(ns)}. "
        f"Shorten it, run it less often, or {elsewhere}{turns}. No lock protocol can mend this."
    )


def plain_repair(entry: str, subject: str, ns: int) -> str:
    """What to try where it depends on nothing but who it was."""
    took = duration(ns)
    return {
        "isr": f"Shorten the interrupt handler {subject}, limit how often it comes, or move its "
        f"work into a task: it took {took}.",
        "suspended": f"See why what it waits for ({subject}) came after {took}: the job slept for "
        "that long of its own accord, and no priority changes that.",
        "switching": f"Let fewer switches happen: the kernel's own time was {took}.",
        "asleep": f"Choose a sleep mode that wakes faster: the core slept for {took} of the job.",
        "unranked": f"Declare the priority of {subject}: whether its {took} are interference or "
        "inversion cannot be told without.",
        "unknown": f"Record more: the log does not show {took} of this job.",
    }[entry]

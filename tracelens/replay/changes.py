"""What may be changed in a replay, as written on a command line, and whether it makes sense."""

import difflib
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Final, Literal, get_args

from tracelens.errors import UsageError
from tracelens.model.system import System
from tracelens.units import NS_PER_US, time_ns

Kind = Literal[
    "priority", "protocol", "scale", "clock", "period", "offset", "core", "without", "section"
]
KINDS: Final[tuple[Kind, ...]] = get_args(Kind)
Protocol = Literal["none", "inherit", "ceiling"]
PROTOCOLS: Final[dict[str, Protocol]] = {one: one for one in get_args(Protocol)}
_PER_TASK: Final = ("priority", "scale", "period", "offset", "core", "section")

EXPECTED: Final[dict[str, str]] = {
    "priority": "a task and its priority, T=N",
    "protocol": "a lock and none, inherit or ceiling, L=inherit",
    "scale": "a task or handler and a factor above 0, T=0.8",
    "clock": "a factor above 0 of the core's speed, 0.5",
    "period": "a task and a time, T=10ms",
    "offset": "a task and a time by which its releases come later, T=500us",
    "core": "a task and a core's number, T=1",
    "without": "a task",
    "section": "a task, a lock and a factor above 0, T/L=0.5",
}
"""What is written after each option."""


@dataclass(frozen=True, slots=True)
class Change:
    """One change. `value` is a priority, a core, or a time in ns; `factor` of the others.

    `lock` is the lock of a critical section; a protocol's `subject` is the lock itself.
    """

    kind: Kind
    subject: str = ""
    lock: str = ""
    value: int = 0
    factor: float = 1.0
    protocol: Protocol | None = None

    def __str__(self) -> str:
        """As on the command line: '--priority archive=3'."""
        if self.kind == "without":
            return f"--without {self.subject}"
        if self.kind == "clock":
            return f"--clock {_told(self.factor)}"
        subject = f"{self.subject}/{self.lock}" if self.lock else self.subject
        told = str(self.protocol or self.value)
        if self.kind in ("scale", "section"):
            told = _told(self.factor)
        elif self.kind in ("period", "offset"):
            told = f"{Decimal(self.value) / NS_PER_US:f}us"
        return f"--{self.kind} {subject}={told}"


def parse(kind: Kind, text: str) -> Change:
    """One change as written after its option. Raises `UsageError`."""
    if kind == "without":
        return Change(kind, text)
    if kind == "clock":
        return Change(kind, factor=_factor(kind, text, text))
    subject, equals, value = text.rpartition("=")
    if not equals or not subject or not value:
        raise _unclear(kind, text)
    if kind == "protocol":
        if value not in PROTOCOLS:
            raise _unclear(kind, text, near=_nearest(value, PROTOCOLS))
        return Change(kind, subject, protocol=PROTOCOLS[value])
    if kind in ("period", "offset"):
        return Change(kind, subject, value=_time(kind, text, value))
    if kind == "scale":
        return Change(kind, subject, factor=_factor(kind, text, value))
    if kind == "section":
        task, slash, lock = subject.rpartition("/")
        if not slash or not task or not lock:
            raise _unclear(kind, text)
        return Change(kind, task, lock=lock, factor=_factor(kind, text, value))
    if not re.fullmatch(r"\d{1,9}", value):
        raise _unclear(kind, text)
    return Change(kind, subject, value=int(value))


def _told(factor: float) -> str:
    """In the fewest digits that are read as the same number."""
    return repr(factor).removesuffix(".0")


def _factor(kind: Kind, text: str, value: str) -> float:
    try:
        factor = Decimal(value)
    except InvalidOperation:
        raise _unclear(kind, text) from None
    if not factor.is_finite() or not Decimal("1e-6") <= factor <= Decimal("1e6"):
        raise _unclear(kind, text)
    return float(factor)


def _time(kind: Kind, text: str, value: str) -> int:
    ns = time_ns(value)
    if ns is None or ns < (1 if kind == "period" else 0) or ns != int(ns) or ns > 10**18:
        raise _unclear(kind, text)
    return int(ns)


def _unclear(kind: Kind, text: str, near: str | None = None) -> UsageError:
    return UsageError(
        f"--{kind}: found {text!r}, expected {EXPECTED[kind]}",
        hint=f"did you mean {near}?" if near else "tracelens whatif --help",
    )


def check(changes: Sequence[Change], system: System, used: dict[str, set[str]]) -> None:
    """Raise `UsageError` for the first change that names nothing, or that contradicts another.

    `used` gives the locks that each task takes in the run.
    """
    tasks = [task.name for task in system.tasks if task.name in used]
    handlers = [isr.name for isr in system.isrs]
    locks = [lock.name for lock in system.locks]
    seen: dict[tuple[str, str, str], Change] = {}
    for change in changes:
        if change.kind == "protocol":
            _known("lock", change.subject, locks)
        elif change.kind == "scale":
            _known("task or handler", change.subject, [*tasks, *handlers])
        elif change.kind != "clock":
            _known("task", change.subject, tasks)
        if change.kind == "section":
            _section(change, locks, used)
        if change.kind == "core":
            _core(change, system)
        if change.kind == "priority" and system.policy == "edf":
            raise UsageError(
                f"{change}: the policy is edf, where deadlines rank the tasks",
                hint="change periods, cores or execution instead",
            )
        key = (change.kind, change.subject, change.lock)
        if key in seen:
            raise UsageError(
                f"two changes of the same thing: found {seen[key]} and {change}, expected one",
                hint="leave one of them out",
            )
        seen[key] = change
    removed = {change.subject for change in changes if change.kind == "without"}
    for change in changes:
        if change.kind in _PER_TASK and change.subject in removed:
            raise UsageError(
                f"changes that contradict each other: found {change} and --without "
                f"{change.subject}, expected one of them",
                hint="leave one of them out",
            )


def _known(what: str, name: str, names: Iterable[str]) -> None:
    there = list(names)
    if name in there:
        return
    near = _nearest(name, there)
    told = f"did you mean {near}?" if near else f"the run has {', '.join(there[:12]) or 'none'}"
    raise UsageError(f"no such {what}: found {name}, expected one of the run", hint=told)


def _nearest(name: str, names: Iterable[str]) -> str | None:
    return next(iter(difflib.get_close_matches(name, list(names), 1, 0.4)), None)


def _section(change: Change, locks: Sequence[str], used: dict[str, set[str]]) -> None:
    _known("lock", change.lock, locks)
    mine = used[change.subject]
    if change.lock not in mine:
        raise UsageError(
            f"{change}: {change.subject} never takes {change.lock} in this run",
            hint=f"it takes {', '.join(sorted(mine)) or 'no lock'}",
        )


def _core(change: Change, system: System) -> None:
    cores = [core.id for core in system.cores]
    if change.value not in cores:
        raise UsageError(
            f"no such core: found {change.value}, expected one of the run",
            hint=f"the run has {', '.join(map(str, cores))}",
        )

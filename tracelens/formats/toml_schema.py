"""The one TOML schema that system files, budgets and task sets share.

    [clock]           hz, bits, late_us
    [priority]        order = "higher_first" or "lower_first"
    [policy]          name = "fixed", "edf" or "round_robin"; preemptive, slice_us
    [cores.NAME]      id
    [tasks.NAME]      what a log declares of a task, and for task sets its work
    [isrs.NAME]       the same for an interrupt handler
    [locks.NAME]      protocol, ceiling
    [queues.NAME]     depth, full
    [chains.NAME]     path, deadline_us
    [kernel]          how the scheduler of a task set behaves
    [simulation]      seed, until_us
    [power]           currents in mA, the charge of a wake-up in µC, the battery in mAh
    [run]             free keys, kept with the log
    [budgets]         limits to hold a run against (see `formats.budgets_toml`)

Every key is known or an error. Times are microseconds, whole or decimal.
"""

import difflib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final, Literal, TypeVar, get_args

import msgspec

from tracelens.errors import SystemFileError
from tracelens.formats import budgets_toml
from tracelens.formats.budget_values import shown
from tracelens.formats.toml_text import tables_of, text_of
from tracelens.model.budgets import Budgets
from tracelens.model.system import MOST_NAMES
from tracelens.units import NS_PER_US

Number = int | float


class Strict(msgspec.Struct, forbid_unknown_fields=True, frozen=True, kw_only=True):
    """A table whose every key is listed here."""


class ClockTable(Strict, frozen=True):
    """[clock]"""

    hz: int | None = None
    bits: int | None = None
    late_us: Number | None = None


class PriorityTable(Strict, frozen=True):
    """[priority]"""

    order: Literal["higher_first", "lower_first"] | None = None


class PolicyTable(Strict, frozen=True):
    """[policy]"""

    name: Literal["fixed", "edf", "round_robin"] | None = None
    preemptive: bool | None = None
    slice_us: Number | None = None


class CoreTable(Strict, frozen=True):
    """[cores.NAME]"""

    id: int


class _WorkTable(Strict, frozen=True):
    """The keys that say what a task or handler does, and when. Only task sets use them."""

    offset_us: Number | None = None
    period_us: Number | None = None
    jitter_us: Number | None = None
    every: str | Number | None = None
    releases_us: list[Number] | None = None
    most_jobs: int | None = None
    body: list[str] | None = None
    execution: str | Number | None = None


class TaskTable(_WorkTable, frozen=True):
    """[tasks.NAME]"""

    id: str | None = None
    priority: int | None = None
    separation_us: Number | None = None
    deadline_us: Number | None = None
    stack_bytes: int | None = None
    activation: str | None = None
    core: int | None = None
    idle: bool | None = None
    sections: dict[str, Number] | None = None
    stack_use: str | int | None = None
    stack_per_us: Number | None = None


class IsrTable(_WorkTable, frozen=True):
    """[isrs.NAME]"""

    id: str | None = None
    priority: int | None = None
    core: int | None = None
    pend: bool | None = None


class LockTable(Strict, frozen=True):
    """[locks.NAME]. `original_ceiling` is for task sets: a log declares such a lock `ceiling`."""

    id: str | None = None
    protocol: Literal["none", "inherit", "ceiling", "original_ceiling"] | None = None
    ceiling: int | None = None


class QueueTable(Strict, frozen=True):
    """[queues.NAME]. `full` says what becomes of an item that finds no room."""

    id: str | None = None
    depth: int | None = None
    full: Literal["wait", "drop"] | None = None


class ChainTable(Strict, frozen=True):
    """[chains.NAME]. A stage is a task, an interrupt handler or a mark; `mark:WORD` surely one."""

    path: list[str]
    deadline_us: Number | None = None


class KernelTable(Strict, frozen=True):
    """[kernel]"""

    switch_us: Number | None = None
    tick_us: Number | None = None
    tick_cost_us: Number | None = None
    idle: bool | None = None
    sleep: bool | None = None
    wake_us: Number | None = None
    clock_stops: bool | None = None


class PowerTable(Strict, frozen=True):
    """[power]; `modes` are sleep modes by the name that `sleep` events give."""

    active_ma: Number
    idle_ma: Number
    sleep_ma: Number = 0
    modes: dict[str, Number] = {}
    wake_uc: Number = 0
    fixed_ma: Number = 0
    battery_mah: Number | None = None


class SimulationTable(Strict, frozen=True):
    """[simulation]"""

    seed: int | None = None
    until_us: Number | None = None


class SystemFile(Strict, frozen=True):
    """A whole file. `place` is its path, for messages."""

    place: str = ""
    clock: ClockTable = ClockTable()
    priority: PriorityTable = PriorityTable()
    policy: PolicyTable = PolicyTable()
    cores: dict[str, CoreTable] = {}
    tasks: dict[str, TaskTable] = {}
    isrs: dict[str, IsrTable] = {}
    locks: dict[str, LockTable] = {}
    queues: dict[str, QueueTable] = {}
    chains: dict[str, ChainTable] = {}
    kernel: KernelTable = KernelTable()
    simulation: SimulationTable = SimulationTable()
    power: PowerTable | None = None
    run: dict[str, str | Number | bool] = {}
    budgets: Budgets = Budgets()


_TABLES: Final[dict[str, type[Strict]]] = {
    "clock": ClockTable,
    "priority": PriorityTable,
    "policy": PolicyTable,
    "kernel": KernelTable,
    "simulation": SimulationTable,
    "power": PowerTable,
}
_GROUPS: Final[dict[str, type[Strict]]] = {
    "cores": CoreTable,
    "tasks": TaskTable,
    "isrs": IsrTable,
    "locks": LockTable,
    "queues": QueueTable,
    "chains": ChainTable,
}

_MOST: Final = 2**63 - 1
_MOST_US: Final = _MOST // NS_PER_US
_ANY: Final = (-_MOST, _MOST, "a number that 63 bits can hold")
_COUNT: Final = (0, _MOST, "a whole number, 0 or more")
_TIME: Final = (0, _MOST_US, "a time in µs, 0 or more, at most 292 years")
_LENGTH: Final = (0.001, _MOST_US, "a time in µs above 0, at most 292 years")
_RANGES: Final[dict[str, tuple[float, float, str]]] = {
    "hz": (1, 9_000_000_000, "1 to 9000000000"),
    "bits": (8, 64, "8 to 64"),
    "core": (0, 255, "a whole number from 0 to 255"),
    "id": (0, 255, "a whole number from 0 to 255"),
    **dict.fromkeys(("depth", "stack_bytes", "most_jobs", "seed"), _COUNT),
    **dict.fromkeys(("period_us", "separation_us", "deadline_us"), _LENGTH),
    **dict.fromkeys(("slice_us", "tick_us", "until_us"), _LENGTH),
    "stack_per_us": (0, _MOST, "0 or more"),
}
"""What the numbers of a table may be, both ends included; times in µs but for these are `_TIME`."""

_Kind = TypeVar("_Kind", bound=Strict)


def read_toml(path: str | Path) -> SystemFile:
    """Read a TOML file of this schema. Raises `SystemFileError`, one line a mistake."""
    return parse_toml(text_of(path), str(path))


def parse_toml(text: str, place: str = "task set") -> SystemFile:
    """The same for text that is in memory already."""
    raw = tables_of(text, place)
    known = [*_TABLES, *_GROUPS, "run", "budgets"]
    parts: dict[str, Any] = {"place": place}
    for word, value in raw.items():
        if word not in known:
            raise _unknown(word, known, place)
        if word == "budgets":
            parts[word] = budgets_toml.parse(value, text, place)
        elif word == "run":
            if not isinstance(value, Mapping):
                raise SystemFileError(
                    f"{word}: found {shown(value)}, expected a table", place=place
                )
            parts[word] = value
        elif word in _TABLES:
            parts[word] = table_of(value, _TABLES[word], word, place)
        elif not isinstance(value, Mapping):
            raise SystemFileError(
                f"{word}: found {shown(value)}, expected tables [{word}.NAME]", place=place
            )
        elif len(value) > MOST_NAMES:
            raise SystemFileError(
                f"{word}: found {len(value)} of them, expected at most {MOST_NAMES}", place=place
            )
        else:
            parts[word] = {
                name: table_of(entry, _GROUPS[word], f"{word}.{name}", place)
                for name, entry in value.items()
            }
    return SystemFile(**parts)


def table_of(value: object, kind: type[_Kind], where: str, place: str) -> _Kind:
    """A parsed table as the record `kind`. Raises `SystemFileError`: `where` is its name."""
    if not isinstance(value, Mapping):
        raise SystemFileError(f"{where}: found {shown(value)}, expected a table", place=place)
    known = kind.__struct_fields__
    for key in value:
        if key not in known:
            raise _unknown(f"{where}.{key}", [f"{where}.{word}" for word in known], place)
    try:
        table = msgspec.convert(value, kind)
    except msgspec.ValidationError as error:
        what, _, path = str(error).partition(" - at `$")
        inner = path.rstrip("`")
        raise SystemFileError(
            f"{where}{inner}: {_plain(what, kind, inner.removeprefix('.'))}", place=place
        ) from error
    for key, given in value.items():
        if problem := _out_of_range(key, given):
            raise SystemFileError(f"{where}.{key}: {problem}", place=place)
    return table


def _out_of_range(key: str, value: object) -> str:
    """What is wrong with a number; '' if nothing is. Of a list, what is wrong with one of it."""
    if isinstance(value, list):
        return next(filter(None, (_out_of_range(key, one) for one in value)), "")
    if isinstance(value, bool) or not isinstance(value, int | float):
        return ""
    low, high, expected = _RANGES.get(key, _ANY)
    if key.endswith("_us") and key not in _RANGES:
        low, high, expected = _TIME
    return "" if low <= value <= high else f"found {shown(value)}, expected {expected}"


def _plain(what: str, kind: type[Strict], key: str) -> str:
    """The library's sentence in this project's words: what was found, what was expected."""
    found = what.removeprefix("Invalid enum value ")
    if found != what:
        parts = get_args(kind.__annotations__[key])
        choices = [
            word for part in parts for word in get_args(part) or [part] if isinstance(word, str)
        ]
        return f"found {found}, expected one of {', '.join(choices)}"
    expected, _, found = what.partition(", got ")
    if not found:
        return what[0].lower() + what[1:]
    return f"found {found.strip('`')}, expected {expected.removeprefix('Expected ').strip('`')}"


def _unknown(key: str, known: list[str], place: str) -> SystemFileError:
    near = difflib.get_close_matches(key, known, 1, cutoff=0.6)
    said = f": did you mean {near[0].rpartition('.')[2]}?" if near else ""
    words = ", ".join(word.rpartition(".")[2] for word in known)
    return SystemFileError(
        f"{key} is not a key{said}", place=place, hint=None if near else f"the keys are {words}"
    )

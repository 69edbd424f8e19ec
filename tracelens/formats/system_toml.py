"""A system file: what it says overrides what the log declares."""

import difflib
from collections.abc import Iterable
from dataclasses import fields, replace
from pathlib import Path
from typing import Any, Final, TypeVar

from tracelens.errors import SystemFileError
from tracelens.formats.toml_schema import SystemFile, read_toml
from tracelens.model.system import Chain, Clock, Core, Isr, Lock, Power, Queue, System, Task
from tracelens.units import ns_to_us, us_to_ns

Thing = TypeVar("Thing", Task, Isr, Lock, Queue)

_UNITS: Final = {"_us": "_ns"}


def read_system(path: str | Path) -> SystemFile:
    """Read a system file. Raises `SystemFileError`."""
    return read_toml(path)


def apply(system: System, overrides: SystemFile | str | Path, known: Iterable[str] = ()) -> System:
    """What holds after a system file: its values before those that the log declares.

    `known` are names that stand in the log's events without a declaration; the file may declare
    those too. A file may name nothing that the log does not know: that would be a slip of the
    pen that changes nothing, and so `SystemFileError`. Where the file and the log both say
    something and differ, `differences` has a sentence.
    """
    file = overrides if isinstance(overrides, SystemFile) else read_system(overrides)
    said: list[str] = []
    extra = set(known)
    order, policy = file.priority.order, file.policy.name
    if order is not None and system.order not in (None, order):
        said.append(_differs("priority.order", order, system.order))
    if policy is not None and policy != system.policy:
        said.append(_differs("policy.name", policy, system.policy))
    locks = {
        name: {**_given(table), "protocol": _protocol(table.protocol)}
        for name, table in file.locks.items()
    }
    ids = {queue.name: queue.id for queue in system.queues}
    tasks = _tables(file.tasks)
    for given in tasks.values():
        if "activation" in given:  # a log tells a queue by its id
            given["activation"] = ids.get(given["activation"], given["activation"])
    return replace(
        system,
        clocks=_clocks(system, file, said),
        order=order or system.order,
        policy=policy or system.policy,
        tasks=_merge("tasks", Task, system.tasks, tasks, extra, file.place, said),
        isrs=_merge("isrs", Isr, system.isrs, _tables(file.isrs), extra, file.place, said),
        locks=_merge("locks", Lock, system.locks, locks, extra, file.place, said),
        queues=_merge(
            "queues", Queue, system.queues, _tables(file.queues), extra, file.place, said
        ),
        cores=_cores(system, file, said),
        chains=_chains(system, file),
        run={**system.run, **{key: str(value) for key, value in file.run.items()}},
        differences=(*system.differences, *said),
        power=_power(file) or system.power,
        thresholds={**system.thresholds, **file.budgets.thresholds},
    )


def _power(file: SystemFile) -> Power | None:
    """The declared currents. Raises `SystemFileError` for one that cannot be."""
    table = file.power
    if table is None:
        return None
    values = {
        "active_ma": table.active_ma,
        "idle_ma": table.idle_ma,
        "sleep_ma": table.sleep_ma,
        "wake_uc": table.wake_uc,
        "fixed_ma": table.fixed_ma,
        **({} if table.battery_mah is None else {"battery_mah": table.battery_mah}),
        **{f"modes.{name}": value for name, value in table.modes.items()},
    }
    for key, value in values.items():
        if not 0 <= value < float("inf"):
            raise SystemFileError(
                f"power.{key}: found {value}, expected 0 or more", place=file.place
            )
    if table.fixed_ma > table.active_ma:
        raise SystemFileError(
            f"power.fixed_ma: found {table.fixed_ma}, expected at most active_ma, which is "
            f"{table.active_ma}",
            place=file.place,
        )
    return Power(
        active_ma=float(table.active_ma),
        idle_ma=float(table.idle_ma),
        sleep_ma=float(table.sleep_ma),
        modes={name: float(value) for name, value in table.modes.items()},
        wake_uc=float(table.wake_uc),
        fixed_ma=float(table.fixed_ma),
        battery_mah=None if table.battery_mah is None else float(table.battery_mah),
    )


def _protocol(word: str | None) -> str | None:
    return "ceiling" if word == "original_ceiling" else word


def _given(table: Any) -> dict[str, Any]:
    """The keys of a table that were given, with times in nanoseconds."""
    found = {}
    for key in table.__struct_fields__:
        value = getattr(table, key)
        if value is None:
            continue
        if key.endswith("_us") and not isinstance(value, list):
            found[key.removesuffix("_us") + "_ns"] = us_to_ns(value)
        else:
            found[key] = value
    return found


def _tables(tables: dict[str, Any]) -> dict[str, dict[str, Any]]:
    return {name: _given(table) for name, table in tables.items()}


def _merge(
    group: str,
    kind: type[Thing],
    declared: tuple[Thing, ...],
    tables: dict[str, dict[str, Any]],
    known: set[str],
    place: str,
    said: list[str],
) -> tuple[Thing, ...]:
    keys = {field.name for field in fields(kind)} - {"id", "name", "line"}
    merged = list(declared)
    names: list[str] = [thing.name for thing in declared]
    for name, given in tables.items():
        values = {key: value for key, value in given.items() if key in keys and value is not None}
        if name not in names:
            if name not in known:
                raise _no_such(group, name, [*names, *sorted(known)], place)
            merged.append(kind(given.get("id", name), name, **values))
            continue
        for index, thing in enumerate(merged):
            if thing.name == name:
                for key, value in values.items():
                    old = getattr(thing, key)
                    if old not in (None, value):
                        said.append(_differs(f"{group}.{name}.{key}", value, old))
                merged[index] = replace(thing, **values)
    return tuple(merged)


def _no_such(group: str, name: str, names: list[str], place: str) -> SystemFileError:
    near = difflib.get_close_matches(name, names, 1)
    what = {"tasks": "task", "isrs": "interrupt handler", "locks": "lock", "queues": "queue"}[group]
    there = f"the log has {', '.join(names)}" if names else f"the log declares no {what}"
    return SystemFileError(
        f"{group}.{name}: the log has no {what} of that name"
        + (f": did you mean {near[0]}?" if near else ""),
        place=place,
        hint=None if near else there,
    )


def _differs(key: str, ours: object, theirs: object) -> str:
    if key.endswith("_ns") and isinstance(ours, int) and isinstance(theirs, int):
        key = key.removesuffix("_ns") + "_us"
        return f"{key} is {ns_to_us(ours):g} in the system file and {ns_to_us(theirs):g} in the log"
    return f"{key} is {ours} in the system file and {theirs} in the log"


def _clocks(system: System, file: SystemFile, said: list[str]) -> tuple[Clock, ...]:
    given = _given(file.clock)
    if not given:
        return system.clocks
    shared = [clock for clock in system.clocks if clock.core is None]
    if not shared:
        if "hz" not in given:
            raise SystemFileError("clock: no hz, and the log declares none", place=file.place)
        return (Clock(**given), *system.clocks)
    for key, value in given.items():
        if getattr(shared[0], key) != value:
            said.append(_differs(f"clock.{key}", value, getattr(shared[0], key)))
    changed = replace(shared[0], **given)
    return tuple(changed if clock is shared[0] else clock for clock in system.clocks)


def _cores(system: System, file: SystemFile, said: list[str]) -> tuple[Core, ...]:
    cores = {core.id: core for core in system.cores}
    for name, table in file.cores.items():
        old = cores.get(table.id)
        if old is not None and old.name != name:
            said.append(f"core {table.id} is {name} in the system file and {old.name} in the log")
        cores[table.id] = Core(table.id, name, None if old is None else old.line)
    return tuple(cores[index] for index in sorted(cores))


def _chains(system: System, file: SystemFile) -> tuple[Chain, ...]:
    chains = {chain.name: chain for chain in system.chains}
    for name, table in file.chains.items():
        deadline = None if table.deadline_us is None else us_to_ns(table.deadline_us)
        chains[name] = Chain(name, tuple(table.path), deadline)
    return tuple(chains.values())

"""The textbook samples as exercises: one for each set, with the protocols it is shown under."""

from dataclasses import dataclass, replace
from functools import cache
from typing import Final

from tracelens.formats.toml_schema import SystemFile, TaskTable, read_toml
from tracelens.model.system import PROTOCOLS
from tracelens.samples import samples
from tracelens.web.rooms.classroom.exercise import Exercise, Row, ms

FIRST: Final = "four_processes"
"""What the classroom opens on."""


@dataclass(frozen=True, slots=True)
class Example:
    """An exercise with its name and what its file says of it."""

    name: str
    about: str
    exercise: Exercise


@cache
def examples() -> dict[str, Example]:
    """Every textbook set by name. Samples that differ by their protocol alone are one example."""
    found: dict[str, Example] = {}
    for sample in samples():
        if not sample.classroom:
            continue
        file = read_toml(sample.taskset)
        protocols = {lock.protocol for lock in file.locks.values()}
        protocol = next((p for p in protocols if p), "none")
        name = sample.name.removesuffix(f"_{protocol}")
        known = found.get(name)
        chosen = {protocol, *(known.exercise.protocols if known else ())}
        in_order = tuple(word for word in PROTOCOLS if word in chosen)
        exercise = replace(from_file(file), protocols=in_order)
        about = sample.about if known is None or protocol == "none" else known.about
        found[name] = Example(name, about, exercise)
    return found


def from_file(file: SystemFile) -> Exercise:
    """A task-set file as an exercise; what the table has no column for is left out."""
    return Exercise(
        rows=tuple(_row(name, table) for name, table in file.tasks.items()),
        policy=file.policy.name or "fixed",
        order=file.priority.order or "higher_first",
        preemptive=file.policy.preemptive is not False,
        slice=ms(file.policy.slice_us or 10_000),
        cores=str(max(1, len(file.cores))),
        until=ms(file.simulation.until_us or 20_000),
    )


def _row(name: str, table: TaskTable) -> Row:
    first = [table.offset_us] if table.offset_us else table.releases_us or []
    return Row(
        name=name,
        priority="" if table.priority is None else str(table.priority),
        period="" if table.period_us is None else ms(table.period_us),
        first=", ".join(map(ms, first)),
        deadline="" if table.deadline_us is None else ms(table.deadline_us),
        steps=", ".join(map(_in_ms, table.body or ())),
    )


def _in_ms(step: str) -> str:
    kind, _, what = step.partition(" ")
    return f"{kind} {ms(what) if kind in ('run', 'suspend') else what}"

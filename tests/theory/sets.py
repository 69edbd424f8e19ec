"""Task sets as the textbooks print them. A unit is 1 µs."""

from tests.engine.textbook import periodic
from tracelens.formats.taskset_toml import parse_taskset
from tracelens.theory import Schedulability, analyse_set
from tracelens.theory.records import TaskResult

UNIT = 1_000


def analysed(
    rows: list[tuple[float, ...]], *, margins: bool = False, **how: object
) -> Schedulability:
    """The analysis of rows (period, execution[, deadline]), most urgent first: a, b, c, ..."""
    return analyse_set(periodic(rows, **how), margins=margins)


def of(text: str, *, margins: bool = False) -> Schedulability:
    """The analysis of a task set as text."""
    return analyse_set(parse_taskset(text), margins=margins)


def task(found: Schedulability, name: str) -> TaskResult:
    return next(one for one in found.tasks if one.name == name)


def responses(found: Schedulability) -> list[float | None]:
    return [None if t.response_ns is None else t.response_ns / UNIT for t in found.tasks]


def iterations(found: Schedulability, name: str) -> list[float]:
    worst = task(found, name).worst
    assert worst is not None
    return [ns / UNIT for ns in worst.iterations]


def with_sections(tasks: list[dict[str, float]], protocol: str) -> Schedulability:
    """Tasks, most urgent first, each a lock → its longest section; T = 1000, C their sum + 1."""
    locks = sorted({name for sections in tasks for name in sections})
    parts = ['[priority]\norder = "higher_first"']
    parts += [f'[locks.{name}]\nprotocol = "{protocol}"' for name in locks]
    for place, sections in enumerate(tasks):
        written = ", ".join(f"{name} = {length}" for name, length in sections.items())
        parts.append(
            f"[tasks.t{place + 1}]\npriority = {len(tasks) - place}\nperiod_us = 1000\n"
            f"execution = {sum(sections.values()) + 1}\nsections = {{ {written} }}"
        )
    return of("\n\n".join(parts))

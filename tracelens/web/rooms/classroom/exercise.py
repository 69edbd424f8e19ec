"""A task set as it is typed into the table: what is wrong in which cell, and the set as TOML.

Times are typed in milliseconds, to the microsecond. What a job does is written in steps, with
commas between them: `run 1, lock Q, run 4, unlock Q, run 1`.
"""

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from difflib import get_close_matches
from typing import Final

from tracelens.model.system import PROTOCOLS

COLUMNS: Final = ("name", "priority", "period", "first", "deadline", "steps")
POLICIES: Final = {
    "fixed": "fixed priorities",
    "edf": "earliest deadline first",
    "round_robin": "round robin",
}
MOST_TASKS: Final = 12
MOST_CORES: Final = 4
LONGEST_CELL: Final = 600
_MOST_RELEASES: Final = 40
_KINDS: Final = ("run", "lock", "unlock", "suspend", "activate")
_ONE_OF: Final = f"one of {', '.join(_KINDS)}"

# Whole ms with up to three decimals: 4   0.25   100000
_TIME: Final = re.compile(r"\d{1,6}(\.\d{1,3})?")
_NAME: Final = re.compile(r"[A-Za-z_][A-Za-z0-9_.-]{0,23}")
_PRIORITY: Final = re.compile(r"\d{1,3}")


@dataclass(frozen=True, slots=True)
class Row:
    """One task, as typed."""

    name: str = ""
    priority: str = ""
    period: str = ""
    first: str = ""
    deadline: str = ""
    steps: str = ""


@dataclass(frozen=True, slots=True)
class Exercise:
    """A whole set, as typed. `protocols` are those to be seen side by side."""

    rows: tuple[Row, ...] = ()
    policy: str = "fixed"
    order: str = "higher_first"
    preemptive: bool = True
    slice: str = "10"
    cores: str = "1"
    until: str = "20"
    protocols: tuple[str, ...] = ("none",)


@dataclass(frozen=True, slots=True)
class Mistake:
    """What is wrong in a cell of row `row`, or, with None, in a setting; `column` names either."""

    row: int | None
    column: str
    text: str


def mistakes(exercise: Exercise) -> list[Mistake]:
    """Everything that is wrong with what was typed; what it means together, the engine checks."""
    found = list(_settings(exercise))
    if not exercise.rows:
        found.append(Mistake(None, "rows", "no task: found none, expected one or more"))
    names = [row.name.strip() for row in exercise.rows]
    for number, row in enumerate(exercise.rows):
        found += [Mistake(number, column, text) for column, text in _row(exercise, row)]
        if names[number] and names.index(names[number]) < number:
            found.append(Mistake(number, "name", f"{names[number]!r} is the name of another task"))
    return found


def to_toml(exercise: Exercise, protocol: str) -> str:
    """The set as a task-set file, every lock under `protocol`. Only for a set without mistakes."""
    lines = ["[priority]", f'order = "{exercise.order}"', "", "[policy]"]
    lines.append(f'name = "{exercise.policy}"')
    if not exercise.preemptive:
        lines.append("preemptive = false")
    if exercise.policy == "round_robin":
        lines.append(f"slice_us = {_us(exercise.slice)}")
    if exercise.cores != "1":
        for core in range(int(exercise.cores)):
            lines += ["", f"[cores.core{core}]", f"id = {core}"]
    for lock in locks(exercise):
        lines += ["", f"[locks.{_key(lock)}]", f'protocol = "{protocol}"']
    for row in exercise.rows:
        lines += ["", *_task(exercise, row)]
    return "\n".join([*lines, "", "[simulation]", f"until_us = {_us(exercise.until)}", ""])


def locks(exercise: Exercise) -> list[str]:
    """Every lock that a step names, once, in order."""
    steps = [step.split() for row in exercise.rows for step in row.steps.split(",")]
    named = [words[1] for words in steps if words[:1] == ["lock"] and len(words) > 1]
    return list(dict.fromkeys(named))


def ms(us: float | int | str) -> str:
    """Microseconds as milliseconds, without needless digits: 2500 → '2.5'."""
    return f"{(Decimal(str(us)) / 1000).normalize():f}"


def _settings(exercise: Exercise) -> Iterator[Mistake]:
    for column in ("until", "slice"):
        if column == "slice" and exercise.policy != "round_robin":
            continue
        text = getattr(exercise, column)
        if not _is_time(text):
            yield Mistake(None, column, _wrong(text, "a time above 0 in ms"))
    if exercise.cores not in map(str, range(1, MOST_CORES + 1)):
        yield Mistake(None, "cores", _wrong(exercise.cores, f"1 to {MOST_CORES}"))
    for column, text, known in (
        ("policy", exercise.policy, tuple(POLICIES)),
        ("order", exercise.order, ("higher_first", "lower_first")),
    ):
        if text not in known:
            yield Mistake(None, column, _wrong(text, f"one of {', '.join(known)}"))
    if not exercise.protocols or not set(exercise.protocols) <= set(PROTOCOLS):
        yield Mistake(None, "protocols", "no protocol is chosen: expected one or more")


def _row(exercise: Exercise, row: Row) -> Iterator[tuple[str, str]]:
    if not _NAME.fullmatch(row.name.strip()):
        yield "name", _wrong(row.name, "a short word of letters, digits, _ . -")
    priority = row.priority.strip()
    if (priority or exercise.policy != "edf") and not _PRIORITY.fullmatch(priority):
        yield "priority", _wrong(row.priority, "a whole number")
    for column in ("period", "deadline"):
        text = getattr(row, column).strip()
        if text and not _is_time(text):
            yield column, _wrong(text, "a time above 0 in ms, or nothing")
    first = [part.strip() for part in row.first.split(",")] if row.first.strip() else []
    if len(first) > _MOST_RELEASES or not all(_TIME.fullmatch(text) for text in first):
        yield "first", _wrong(row.first, "a time in ms, or several with commas between them")
    elif row.period.strip() and len(first) > 1:
        yield "first", "found several times, expected one: with a period the others follow"
    wrong = _steps(exercise, row)
    if wrong:
        yield "steps", wrong


def _steps(exercise: Exercise, row: Row) -> str | None:
    if len(row.steps) > LONGEST_CELL:
        return f"found {len(row.steps)} characters, expected at most {LONGEST_CELL}"
    if not row.steps.strip():
        return "found nothing, expected steps such as: run 1, lock Q, run 2, unlock Q"
    names = [other.name.strip() for other in exercise.rows]
    for number, step in enumerate(row.steps.split(","), 1):
        kind, _, what = step.strip().partition(" ")
        what = what.strip()
        if kind not in _KINDS:
            near = get_close_matches(kind, _KINDS, 1)
            meant = f"; did you mean {near[0]}?" if near else ""
            return f"step {number}: {_wrong(step, _ONE_OF)}{meant}"
        if kind in ("run", "suspend"):
            if not _is_time(what):
                return f"step {number}: {_wrong(what, f'a time above 0 in ms after {kind}')}"
        elif not _NAME.fullmatch(what):
            return f"step {number}: {_wrong(what, f'a name after {kind}')}"
        elif kind == "activate" and what not in names:
            return f"step {number}: {_wrong(what, 'the name of a task')}"
    return None


def _task(exercise: Exercise, row: Row) -> list[str]:
    lines = [f"[tasks.{_key(row.name.strip())}]"]
    if row.priority.strip():
        lines.append(f"priority = {int(row.priority)}")
    first = [_us(text) for text in row.first.split(",")] if row.first.strip() else []
    if row.period.strip():
        lines.append(f"period_us = {_us(row.period)}")
        lines += [f"offset_us = {first[0]}"] if first and first[0] != "0" else []
    elif not _is_activated(exercise, row):
        lines.append(f"releases_us = [{', '.join(first or ['0'])}]")
    if row.deadline.strip():
        lines.append(f"deadline_us = {_us(row.deadline)}")
    lines.append('activation = "activate"')
    return [*lines, f"body = [{', '.join(map(_in_us, row.steps.split(',')))}]"]


def _is_activated(exercise: Exercise, row: Row) -> bool:
    """Whether another task releases it, and time does not."""
    if row.first.strip():
        return False
    step = f"activate {row.name.strip()}"
    steps = (" ".join(s.split()) for other in exercise.rows for s in other.steps.split(","))
    return step in steps


def _in_us(step: str) -> str:
    kind, what = step.split()
    return json.dumps(f"{kind} {_us(what) if kind in ('run', 'suspend') else what}")


def _us(text: str) -> str:
    return f"{Decimal(text.strip()) * 1000:f}".partition(".")[0]


def _is_time(text: str) -> bool:
    return _TIME.fullmatch(text.strip()) is not None and Decimal(text.strip()) > 0


def _key(name: str) -> str:
    return json.dumps(name) if "." in name else name


def _wrong(text: str, expected: str) -> str:
    found = repr(text.strip()[:40]) if text.strip() else "nothing"
    return f"found {found}, expected {expected}"

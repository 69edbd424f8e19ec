"""Small task sets with small numbers, drawn until they make a sensible exercise."""

from dataclasses import dataclass
from fractions import Fraction
from math import lcm
from random import Random
from typing import Final, Literal

from tracelens.formats.taskset_toml import parse_taskset
from tracelens.model.taskset import TaskSet

UNIT_US: Final = 1000
"""A unit of an exercise, 1 ms, in µs: what a task set is written in."""
UNIT_NS: Final = UNIT_US * 1000

PERIODS: Final = (4, 5, 6, 8, 10, 12, 15, 20, 24, 30)
NAMES: Final = "abcdef"


@dataclass(frozen=True, slots=True)
class Row:
    """A periodic task in units; the first row is the most urgent."""

    name: str
    period: int
    cost: int
    deadline: int


def load(rows: tuple[Row, ...]) -> Fraction:
    """The load of all rows."""
    return sum((Fraction(row.cost, row.period) for row in rows), Fraction())


def rows(draw: Random, number: int, *, longest: int, short_deadlines: bool) -> tuple[Row, ...]:
    """Tasks in deadline-monotonic order whose hyperperiod is at most `longest`."""
    while True:
        periods = sorted(draw.sample(PERIODS, number))
        if lcm(*periods) <= longest:
            break
    made = []
    for period in periods:
        cost = draw.randint(1, max(1, period // 3))
        deadline = period
        if short_deadlines and draw.random() < 0.5:
            deadline = draw.randint(min(period, cost + 1), period)
        made.append((deadline, period, cost))
    made.sort(key=lambda row: row[0])
    return tuple(
        Row(name, period, cost, deadline)
        for name, (deadline, period, cost) in zip(NAMES, made, strict=False)
    )


def text(tasks: tuple[Row, ...], policy: Literal["fixed", "edf"], note: str) -> str:
    """The rows as a task-set file."""
    parts = [f"# {note}", '[priority]\norder = "higher_first"', f'[policy]\nname = "{policy}"']
    for place, row in enumerate(tasks):
        lines = [f"[tasks.{row.name}]"]
        if policy == "fixed":
            lines.append(f"priority = {len(tasks) - place}")
        lines += [
            f"period_us = {row.period * UNIT_US}",
            f"deadline_us = {row.deadline * UNIT_US}",
            'activation = "activate"',
            f'body = ["run {row.cost * UNIT_US}"]',
        ]
        parts.append("\n".join(lines))
    span = lcm(*(row.period for row in tasks))
    parts.append(f"[simulation]\nuntil_us = {span * UNIT_US}")
    return "\n\n".join(parts) + "\n"


def taskset(written: str) -> TaskSet:
    """A task-set file's text as a task set."""
    return parse_taskset(written, "set.toml")


def table(tasks: tuple[Row, ...], *, priorities: bool) -> str:
    """The rows as a Markdown table."""
    heads = ["task", "period T", "execution C", "deadline D"]
    lines = [
        f"| {' | '.join(heads)} |" + (" priority |" if priorities else ""),
        "|" + " :-- |" + " --: |" * (len(heads) - 1 + priorities),
    ]
    for place, row in enumerate(tasks):
        cells = [row.name, row.period, row.cost, row.deadline]
        cells += [len(tasks) - place] if priorities else []
        lines.append("| " + " | ".join(map(str, cells)) + " |")
    return "\n".join(lines)

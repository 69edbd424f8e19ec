"""Kind `schedule`: draw the schedule of a small task set over one hyperperiod."""

from functools import partial
from itertools import groupby
from math import lcm
from random import Random
from typing import Literal

import polars as pl

from tracelens.engine import Simulated, simulate
from tracelens.exercises.records import Answer, Exercise, Question
from tracelens.exercises.sets import UNIT_NS, Row, load, rows, table, taskset, text

IDLE = "-"
_RULES = {
    "fixed": "Fixed priorities, pre-emptive: the ready job of the highest priority runs.",
    "edf": (
        "Earliest deadline first, pre-emptive: the ready job whose absolute deadline is nearest "
        "runs; of equal ones the job that runs already, then the one released first, then the "
        "task that stands first in the table."
    ),
}


def draw_schedule(draw: Random, seed: int) -> Exercise:
    """An exercise with a hyperperiod of at most 24 units and at least one pre-emption."""
    policy: Literal["fixed", "edf"] = draw.choice(("fixed", "edf"))
    while True:
        tasks = rows(draw, 3, longest=24, short_deadlines=False)
        if not 0.7 <= load(tasks) <= 1:
            continue
        written = text(tasks, policy, f"exercise schedule, seed {seed}")
        done = simulate(taskset(written))
        units = _units(done, lcm(*(row.period for row in tasks)))
        if _preempted(units, tasks):
            break
    span = len(units)
    late = _late(done)
    worst = {row.name: _first_response(done, row.name) for row in tasks}
    questions = [
        Question(
            "schedule",
            f"Who runs in each of the {span} units from 0 to {span}? Write one letter a unit, and "
            f"`{IDLE}` where nobody runs.",
            "units",
            units,
            f"The schedule is `{units}`.",
            partial(_wrong, units=units, tasks=tasks, policy=policy),
        )
    ]
    for row in tasks:
        told = f"Its first job, released at 0, ends at {worst[row.name]}."
        questions.append(
            Question(
                f"response_{row.name}",
                f"What is the response time of the first job of {row.name}?",
                "number",
                worst[row.name],
                told,
                partial(_wrong_response, right=worst[row.name], row=row),
            )
        )
    missing = ", ".join(late) or "nobody"
    questions.append(
        Question(
            "late",
            "Which tasks miss a deadline in this time? An empty list if none does.",
            "words",
            tuple(late),
            f"Late in this time: {missing}.",
            partial(_wrong_late, late=late),
        )
    )
    return Exercise(
        "schedule",
        seed,
        "Draw the schedule",
        (
            "All tasks are released together at time 0. Times are in units of 1 ms; switching "
            f"costs nothing. {_RULES[policy]}",
            table(tasks, priorities=policy == "fixed"),
        ),
        tuple(questions),
        written,
    )


def _units(done: Simulated, span: int) -> str:
    """One letter a unit of the first core's schedule."""
    units = [IDLE] * span
    ran = done.truth.occupancy.filter(pl.col("occupant") == "task")
    columns = ran.select(pl.col("who").cast(pl.String), "start_ns", "end_ns")
    for who, start, end in zip(*columns.to_dict(as_series=False).values(), strict=True):
        for unit in range(start // UNIT_NS, end // UNIT_NS):
            units[unit] = who
    return "".join(units)


def _preempted(units: str, tasks: tuple[Row, ...]) -> bool:
    """Whether some job runs in two pieces: a piece that is shorter than its task's execution."""
    costs = {row.name: row.cost for row in tasks}
    return any(len(list(piece)) % costs[who] for who, piece in groupby(units) if who in costs)


def _late(done: Simulated) -> list[str]:
    jobs = done.truth.jobs
    ended = jobs.filter(pl.col("late") & (pl.col("status") == "complete"))
    return sorted(ended["task"].cast(pl.String).unique().to_list())


def _first_response(done: Simulated, task: str) -> int:
    jobs = done.truth.jobs.filter((pl.col("task").cast(pl.String) == task) & (pl.col("job") == 1))
    return int(jobs["response_ns"].to_list()[0]) // UNIT_NS


def _wrong(answer: Answer, *, units: str, tasks: tuple[Row, ...], policy: str) -> str:
    given = str(answer).replace(" ", "")
    if len(given) != len(units):
        return f"it has {len(given)} units, and the schedule has {len(units)}"
    place = next(n for n, (a, b) in enumerate(zip(given, units, strict=True)) if a != b)
    return f"in the unit from {place} to {place + 1}: {_ready(place, given, units, tasks, policy)}"


def _ready(place: int, given: str, units: str, tasks: tuple[Row, ...], policy: str) -> str:
    """Why the right one runs there, with what was done before."""
    wrong, right = given[place], units[place]
    done = {row.name: units[:place].count(row.name) for row in tasks}
    due = {row.name: (place // row.period + 1) * row.cost - done[row.name] for row in tasks}
    ready = [row.name for row in tasks if due[row.name] > 0]
    if right == IDLE:
        return f"nobody is ready, so the core idles; you have {wrong}"
    if wrong not in due and wrong != IDLE:
        return f"{wrong!r} is no task"
    if wrong != IDLE and due[wrong] <= 0:
        return f"{wrong} has no work left there; ready: {', '.join(ready)}, and {right} goes first"
    if wrong == IDLE:
        return f"the core does not idle while somebody is ready: {', '.join(ready)}"
    if policy == "fixed":
        return f"{wrong} is ready, but {right} is too and has the higher priority"
    deadlines = {
        row.name: (done[row.name] // row.cost) * row.period + row.deadline for row in tasks
    }
    return (
        f"the deadline of {right}'s job is {deadlines[right]}, that of {wrong}'s {deadlines[wrong]}"
    )


def _wrong_response(answer: Answer, *, right: int, row: Row) -> str:
    if answer == row.cost:
        return f"that is its execution alone; it also waits for those before it, until {right}"
    return f"its first job, released at 0, ends at {right}: look where its last unit is"


def _wrong_late(answer: Answer, *, late: list[str]) -> str:
    given = set(map(str, answer)) if isinstance(answer, tuple) else {str(answer)}
    extra, left = sorted(given - set(late)), sorted(set(late) - given)
    parts = []
    if extra:
        parts.append(
            f"{', '.join(map(str, extra))} ends in time: to end at the deadline is not late"
        )
    if left:
        parts.append(f"{', '.join(left)} ends a job after its deadline")
    return "; ".join(parts)

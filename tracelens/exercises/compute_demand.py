"""Kind `demand`: does a set with short deadlines fit, earliest deadline first?"""

from functools import partial
from random import Random

from tracelens.exercises.records import Answer, Exercise, Question, plainly
from tracelens.exercises.sets import UNIT_NS, Row, load, rows, table, taskset, text
from tracelens.theory import analyse_set


def compute_demand(draw: Random, seed: int) -> Exercise:
    """An exercise of three tasks with deadlines before the periods' ends; half of them fit."""
    wanted = draw.random() < 0.5
    while True:
        tasks = rows(draw, 3, longest=120, short_deadlines=True)
        if not 0.6 <= load(tasks) < 1 or all(row.deadline == row.period for row in tasks):
            continue
        written = text(tasks, "edf", f"exercise demand, seed {seed}")
        found = analyse_set(taskset(written), margins=False)
        demand = found.cores[0].demand
        points = [(p.t_ns // UNIT_NS, p.demand_ns // UNIT_NS) for p in demand.points]
        busy = None if demand.busy_ns is None else demand.busy_ns // UNIT_NS
        asked = [(t, h) for t, h in points if busy is not None and t <= busy]
        if busy is not None and 4 <= len(asked) <= 10 and demand.passes is wanted:
            break
    questions = [
        Question(
            "busy_period",
            "How long is the busy period that begins when all tasks are released together?",
            "number",
            busy,
            f"The least L with L = Σ ⌈L / T⌉ C is {busy}.",
            partial(_wrong_busy, right=busy, tasks=tasks),
        ),
        Question(
            "deadlines",
            "Which absolute deadlines lie within that busy period? In ascending order.",
            "numbers",
            tuple(t for t, _ in asked),
            f"Deadlines at D, D + T, …: {', '.join(str(t) for t, _ in asked)}.",
            plainly("each task has deadlines at D, D + T, D + 2T, … up to the end, each once"),
        ),
        Question(
            "demand",
            "What is the demand h(t) at each of them?",
            "numbers",
            tuple(h for _, h in asked),
            ", ".join(f"h({t}) = {h}" for t, h in asked) + ".",
            partial(_wrong_demand, asked=asked, tasks=tasks),
        ),
        Question(
            "schedulable",
            "Are all deadlines kept, earliest deadline first?",
            "yes_no",
            wanted,
            _verdict(asked),
            plainly(_verdict(asked)),
        ),
    ]
    return Exercise(
        "demand",
        seed,
        "Compute the processor demand",
        (
            "Earliest deadline first, pre-emptive, on one core; times in units of 1 ms, switching "
            "costs nothing. h(t) = Σ max(0, ⌊(t − D) / T⌋ + 1) C is the work of all jobs whose "
            "release and deadline lie within [0, t] (Baruah, Rosier & Howell 1990).",
            table(tasks, priorities=False),
        ),
        tuple(questions),
        written,
    )


def _verdict(asked: list[tuple[int, int]]) -> str:
    over = [(t, h) for t, h in asked if h > t]
    if not over:
        return "h(t) ≤ t at every deadline within the busy period: yes."
    t, h = over[0]
    return f"h({t}) = {h} is more than {t}: no."


def _wrong_busy(answer: Answer, *, right: int, tasks: tuple[Row, ...]) -> str:
    once = sum(row.cost for row in tasks)
    if answer == once:
        return f"by {once}, the work of the first jobs, others have come"
    if isinstance(answer, int) and answer > 0:
        work = sum(-(-answer // row.period) * row.cost for row in tasks)
        if work != answer:
            return f"Σ ⌈{answer} / T⌉ C = {work}, not {answer}: go on until the two are equal"
        return f"the two are equal there, but {right} is the least such time"
    return "it is a number above 0"


def _wrong_demand(answer: Answer, *, asked: list[tuple[int, int]], tasks: tuple[Row, ...]) -> str:
    given = answer if isinstance(answer, tuple) else ()
    if len(given) != len(asked):
        return f"there are {len(asked)} deadlines, and {len(given)} values"
    t, h, said = next((t, h, g) for (t, h), g in zip(asked, given, strict=True) if g != h)
    jobs = [max(0, (t - row.deadline) // row.period + 1) for row in tasks]
    terms = " + ".join(f"{count}·{row.cost}" for count, row in zip(jobs, tasks, strict=True))
    return f"h({t}) = {terms} = {h}, not {said}"

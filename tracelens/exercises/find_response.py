"""Kind `response`: worst-case response times by the recurrence, and the tests by load."""

from collections.abc import Sequence
from functools import partial
from itertools import pairwise
from random import Random

from tracelens.exercises.records import Answer, Exercise, Question, plainly
from tracelens.exercises.sets import UNIT_NS, Row, load, rows, table, taskset, text
from tracelens.theory import Schedulability, analyse_set
from tracelens.theory.bounds import liu_layland


def find_response(draw: Random, seed: int) -> Exercise:
    """An exercise of four tasks; the last one needs some steps, and most meet their deadlines."""
    while True:
        tasks = rows(draw, 4, longest=240, short_deadlines=draw.random() < 0.5)
        if not 0.7 <= load(tasks) <= 1:
            continue
        written = text(tasks, "fixed", f"exercise response, seed {seed}")
        found = analyse_set(taskset(written), margins=False)
        steps = _steps(found, len(tasks) - 1)
        if 4 <= len(steps) <= 8 and max(_responses(found)) <= 2 * max(r.deadline for r in tasks):
            break
    last = tasks[-1]
    responses = _responses(found)
    questions = [_response(place, tasks, responses[place], found) for place in range(len(tasks))]
    questions.append(
        Question(
            "iterations",
            f"Which values does the recurrence take for {last.name}, from its own execution "
            "to the value at which it stands still?",
            "numbers",
            steps,
            f"{last.name}: {' → '.join(map(str, steps))}.",
            partial(_wrong_steps, right=steps, tasks=tasks),
        )
    )
    late = [row.name for row, r in zip(tasks, responses, strict=True) if r > row.deadline]
    questions.append(
        Question(
            "late",
            "Which tasks miss their deadline in the worst case? An empty list if none does.",
            "words",
            tuple(late),
            f"R > D for {', '.join(late) or 'none of them'}.",
            plainly("compare each response with its deadline; equal is in time"),
        )
    )
    bound = liu_layland(len(tasks))
    accepted = _accepts(found)
    total = load(tasks)
    told = (
        f"U = {total} = {float(total):.4f}, and 4(2^(1/4) − 1) = {bound:.4f}: "
        f"{'accepted' if accepted else 'the bound does not accept it, which decides nothing'}."
    )
    if all(row.deadline == row.period for row in tasks):
        questions.append(
            Question(
                "bound_accepts",
                "Does the bound of Liu & Layland, n(2^(1/n) − 1), accept the set by its load?",
                "yes_no",
                accepted,
                told,
                plainly(told),
            )
        )
    return Exercise(
        "response",
        seed,
        "Find the worst-case response times",
        (
            "Fixed priorities, pre-emptive, on one core; times in units of 1 ms, switching costs "
            "nothing. The worst response of a task is the least w with "
            "w = C + Σ ⌈w / T_j⌉ C_j, the sum over all tasks of higher priority (Joseph & Pandya "
            "1986).",
            table(tasks, priorities=True),
        ),
        tuple(questions),
        written,
    )


def _responses(found: Schedulability) -> list[int]:
    """Of each task by its first job, as the recurrence of the sheet has it."""
    return [task.windows[0].finish_ns // UNIT_NS if task.windows else 10**6 for task in found.tasks]


def _steps(found: Schedulability, place: int) -> tuple[int, ...]:
    windows = found.tasks[place].windows
    return tuple(ns // UNIT_NS for ns in windows[0].iterations) if windows else ()


def _accepts(found: Schedulability) -> bool:
    bounds = {bound.name: bound for bound in found.cores[0].bounds}
    return bounds["liu_layland"].verdict == "schedulable"


def _response(place: int, tasks: tuple[Row, ...], response: int, found: Schedulability) -> Question:
    row = tasks[place]
    steps = _steps(found, place)
    worked = f"R = {response}: {_sum(row, tasks[:place], response)}."
    return Question(
        f"R_{row.name}",
        f"What is the worst-case response time of {row.name}?",
        "number",
        response,
        worked,
        partial(_wrong_response, right=response, steps=steps, row=row, above=tasks[:place]),
    )


def _sum(row: Row, above: Sequence[Row], w: int) -> str:
    """The right side of the recurrence at w, written out."""
    terms = [str(row.cost), *(f"⌈{w}/{one.period}⌉·{one.cost}" for one in above)]
    return f"{' + '.join(terms)} = {_value(row, above, w)}"


def _value(row: Row, above: Sequence[Row], w: int) -> int:
    return row.cost + sum(-(-w // one.period) * one.cost for one in above)


def _wrong_response(
    answer: Answer, *, right: int, steps: tuple[int, ...], row: Row, above: Sequence[Row]
) -> str:
    if answer == row.cost and above:
        return "that is its execution alone, without those of higher priority"
    if answer in steps[:-1] and isinstance(answer, int):
        return f"it does not stand still there: {_sum(row, above, answer)}"
    once = row.cost + sum(one.cost for one in above)
    if answer == once:
        return f"those of higher priority may come more than once by then: at w = {once}, " + _sum(
            row, above, once
        )
    whole = row.cost + sum((right // one.period) * one.cost for one in above)
    if answer == whole:
        return "round up, not down: a job that comes within the window is in the way as a whole"
    if isinstance(answer, int) and answer > 0 and _value(row, above, answer) == answer:
        return f"the recurrence stands still there too, but {right} is the least such value"
    if isinstance(answer, int) and answer > 0:
        return f"the recurrence does not stand still there: {_sum(row, above, answer)}"
    return "a response time is a number above 0"


def _wrong_steps(answer: Answer, *, right: tuple[int, ...], tasks: tuple[Row, ...]) -> str:
    given = answer if isinstance(answer, tuple) else ()
    row, above = tasks[-1], tasks[:-1]
    if not given or given[0] != row.cost:
        return f"begin with its own execution, {row.cost}"
    for before, after in pairwise(given):
        if isinstance(before, int) and _value(row, above, before) != after:
            return f"after {before} comes {_sum(row, above, before)}, not {after}"
    last = given[-1]
    if isinstance(last, int) and last != right[-1]:
        return f"{last} is not the end: {_sum(row, above, last)}"
    return f"each value once, to the first that repeats: {', '.join(map(str, right))}"

"""Kind `blocking`: how long may lower tasks block, under inheritance and under ceilings."""

from collections.abc import Mapping, Sequence
from functools import partial
from random import Random

from tracelens.exercises.records import Answer, Exercise, Question, plainly
from tracelens.exercises.sets import UNIT_NS, UNIT_US, taskset
from tracelens.theory.blocking import Blocking, blocking
from tracelens.theory.from_taskset import workload

Sections = Mapping[str, Mapping[str, int]]
"""Task, most urgent first → lock → its longest section, in units."""


def bound_blocking(draw: Random, seed: int) -> Exercise:
    """An exercise in which the two protocols differ, and not every section counts."""
    while True:
        sections = _draw(draw)
        written = _text(sections, f"exercise blocking, seed {seed}")
        work = workload(taskset(written))
        found = {c.name: blocking(c, work.contenders, work.locks) for c in work.contenders}
        differ = any(one.inherit_ns != one.ceiling_ns for one in found.values())
        through = any(one.ceiling_ns and not sections[name] for name, one in found.items())
        if differ and through:
            break
    locks = sorted({lock for taken in sections.values() for lock in taken})
    questions = [
        Question(
            f"ceiling_{lock}",
            f"Which task's priority is the ceiling of {lock}?",
            "word",
            next(name for name, taken in sections.items() if lock in taken),
            f"{lock} is used by {', '.join(n for n, t in sections.items() if lock in t)}.",
            plainly("the ceiling of a lock is the highest priority of the tasks that use it"),
        )
        for lock in locks
    ]
    for name, one in found.items():
        questions.append(_question(name, one, "inherit", sections))
        questions.append(_question(name, one, "ceiling", sections))
    return Exercise(
        "blocking",
        seed,
        "Bound the blocking",
        (
            "Tasks stand in order of priority, the highest first. Each entry is the longest "
            "critical section of the task on the lock, in units of 1 ms; sections are not nested. "
            "Under priority inheritance a job can be blocked once by each lower task and once by "
            "each lock, by sections whose lock has a ceiling at or above its priority; take the "
            "largest sum that this allows. Under a ceiling protocol it can be blocked once "
            "(Sha, Rajkumar & Lehoczky 1990).",
            _table(sections, locks),
        ),
        tuple(questions),
        written,
    )


def _draw(draw: Random) -> Sections:
    locks = ("P", "Q", "R")
    found: dict[str, dict[str, int]] = {}
    for name in "abcd":
        used = draw.sample(locks, draw.randint(0 if name == "b" else 1, 2))
        found[name] = {lock: draw.randint(1, 9) for lock in sorted(used)}
    return found


def _text(sections: Sections, note: str) -> str:
    locks = sorted({lock for taken in sections.values() for lock in taken})
    parts = [f"# {note}", '[priority]\norder = "higher_first"']
    parts += [f'[locks.{lock}]\nprotocol = "inherit"' for lock in locks]
    for place, (name, taken) in enumerate(sections.items()):
        steps = ["run 1000"]
        for lock, length in taken.items():
            steps += [f"lock {lock}", f"run {length * UNIT_US}", f"unlock {lock}"]
        body = ", ".join(f'"{step}"' for step in steps)
        period = 200 * (place + 1) * UNIT_US
        parts.append(
            f"[tasks.{name}]\npriority = {len(sections) - place}\nperiod_us = {period}\n"
            f"body = [{body}]"
        )
    return "\n\n".join([*parts, f"[simulation]\nuntil_us = {800 * UNIT_US}"]) + "\n"


def _table(sections: Sections, locks: Sequence[str]) -> str:
    lines = [f"| task | {' | '.join(locks)} |", "| :-- |" + " --: |" * len(locks)]
    for name, taken in sections.items():
        lines.append(f"| {name} | {' | '.join(str(taken.get(k, '–')) for k in locks)} |")
    return "\n".join(lines)


def _question(name: str, one: Blocking, protocol: str, sections: Sections) -> Question:
    ceiling = protocol == "ceiling"
    right = (one.ceiling_ns if ceiling else one.inherit_ns) // UNIT_NS
    counted = _counted(name, sections)
    told = ", ".join(f"{task} {length} in {lock}" for task, lock, length in counted) or "none"
    how = "the longest of them" if ceiling else "the best choice, no task and no lock twice"
    return Question(
        f"{protocol}_{name}",
        f"How long can {name} be blocked under "
        f"{'a ceiling protocol' if ceiling else 'priority inheritance'}?",
        "number",
        right,
        f"Sections of lower tasks whose lock reaches {name}: {told}; {how}: {right}.",
        partial(_wrong, name=name, right=right, ceiling=ceiling, sections=sections),
    )


def _counted(name: str, sections: Sections) -> list[tuple[str, str, int]]:
    """The sections of lower tasks on locks that `name` or somebody above it uses."""
    order = list(sections)
    upto, lower = order[: order.index(name) + 1], order[order.index(name) + 1 :]
    reach = {lock for one in upto for lock in sections[one]}
    return [
        (task, lock, length)
        for task in lower
        for lock, length in sections[task].items()
        if lock in reach
    ]


def _wrong(answer: Answer, *, name: str, right: int, ceiling: bool, sections: Sections) -> str:
    counted = _counted(name, sections)
    direct = [s for s in counted if s[1] in sections[name]]
    lengths = [length for _, _, length in counted]
    if answer == 0 and right:
        return (
            f"{name} can be blocked by locks that it never takes: a lower task that holds one may "
            "be raised above it (push-through)"
        )
    if answer == sum(lengths) and answer != right:
        why = "only one section blocks" if ceiling else "no lower task and no lock blocks twice"
        return f"that is the sum of all sections that reach {name}; {why}"
    if direct and answer == max(length for _, _, length in direct) and answer != right:
        return f"locks that {name} does not use count as well, if one above it uses them"
    if ceiling and isinstance(answer, int) and answer > right:
        return "under a ceiling protocol only the one longest section counts"
    told = ", ".join(f"{task} {length} in {lock}" for task, lock, length in counted) or "none"
    return f"the sections that reach {name}: {told}"

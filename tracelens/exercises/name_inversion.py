"""Kind `inversion`: who is held up by whom, for how long, and what the protocols make of it."""

from dataclasses import dataclass
from functools import partial
from random import Random

import polars as pl

from tracelens.engine import Simulated, simulate
from tracelens.exercises.records import Answer, Exercise, Question
from tracelens.exercises.sets import UNIT_NS, UNIT_US, taskset

LOCK = "X"


@dataclass(frozen=True, slots=True)
class _Job:
    """One job in units: `own` before, inside and after the section; no section: only `own[0]`."""

    name: str
    priority: int
    release: int
    own: tuple[int, ...]


def name_inversion(draw: Random, seed: int) -> Exercise:
    """An exercise with exactly one inversion, in which a third party runs."""
    while True:
        jobs = _draw(draw)
        note = f"exercise inversion, seed {seed}"
        plain = simulate(taskset(_text(jobs, "none", note)))
        found = plain.truth.inversions
        if found.height != 1 or found["third_party_ns"].to_list()[0] == 0:
            continue
        inherit = simulate(taskset(_text(jobs, "inherit", note)))
        ceiling = simulate(taskset(_text(jobs, "ceiling", note)))
        victim = str(found["victim"].to_list()[0])
        responses = [_response(run, victim) for run in (plain, inherit, ceiling)]
        if responses[0] > responses[1]:
            break
    (row,) = found.to_dicts()
    third = sorted(plain.truth.third_parties["task"].cast(pl.String).to_list())
    holder = str(row["chain"][0])
    length = (row["end_ns"] - row["start_ns"]) // UNIT_NS
    unbounded = row["third_party_ns"] // UNIT_NS
    start = row["start_ns"] // UNIT_NS
    facts = (
        f"At {start} {victim} asks for {LOCK}, which {holder} holds until {start + length}; "
        f"meanwhile {' and '.join(third)} run{'s' if len(third) == 1 else ''} for {unbounded}."
    )
    questions = (
        Question(
            "victim",
            "Which task is held up by a lock of a lower one?",
            "word",
            victim,
            facts,
            partial(_wrong_name, role="victim", victim=victim, holder=holder, third=third),
        ),
        Question(
            "holder",
            "Which task holds the lock meanwhile?",
            "word",
            holder,
            facts,
            partial(_wrong_name, role="holder", victim=victim, holder=holder, third=third),
        ),
        Question(
            "third_parties",
            "Which tasks of lower priority than the victim run meanwhile and have no part in the "
            "lock?",
            "words",
            tuple(third),
            facts,
            lambda _answer: (
                f"they are below {victim}, above {holder}, and run between {start} and "
                f"{start + length} without {LOCK}"
            ),
        ),
        _number(
            "inversion",
            "How long does the inversion last, from the request that has to wait to the unlock?",
            length,
            facts,
            {unbounded: "that is only the part in which third parties run"},
        ),
        _number(
            "unbounded",
            "For how long of it do the third parties run? (No critical section bounds that part.)",
            unbounded,
            facts,
            {
                length: "that is the whole inversion; the holder's own section is the bounded part",
                length - unbounded: "that is the bounded part, in which the holder runs",
            },
        ),
        *_responses(victim, responses),
    )
    return Exercise(
        "inversion",
        seed,
        "Name the inversion",
        (
            "One job each, on one core, pre-emptive fixed priorities, a larger number is more "
            f"urgent. {LOCK} is a plain mutex. Times are in units of 1 ms.",
            _table(jobs),
        ),
        questions,
        _text(jobs, "none", note),
    )


def _draw(draw: Random) -> tuple[_Job, ...]:
    names = ["high", "mid", "low"]
    if draw.random() < 0.5:
        names.insert(2, "also")
    jobs = []
    for place, name in enumerate(names):
        priority = len(names) - place
        own: tuple[int, ...]
        if name == "low":
            own = (draw.randint(1, 2), draw.randint(2, 5), draw.randint(1, 2))
            release = 0
        elif name == "high":
            own = (draw.randint(1, 2), draw.randint(1, 3), draw.randint(1, 2))
            release = draw.randint(2, 5)
        else:
            own = (draw.randint(2, 6),)
            release = draw.randint(2, 8)
        jobs.append(_Job(name, priority, release, own))
    return tuple(jobs)


def _text(jobs: tuple[_Job, ...], protocol: str, note: str) -> str:
    parts = [
        f"# {note}",
        '[priority]\norder = "higher_first"',
        f'[locks.{LOCK}]\nprotocol = "{protocol}"',
    ]
    for job in jobs:
        runs = [f"run {units * UNIT_US}" for units in job.own]
        if len(runs) == 3:
            runs = [runs[0], f"lock {LOCK}", runs[1], f"unlock {LOCK}", runs[2]]
        body = ", ".join(f'"{step}"' for step in runs)
        parts.append(
            f"[tasks.{job.name}]\npriority = {job.priority}\n"
            f"releases_us = [{job.release * UNIT_US}]\nbody = [{body}]"
        )
    span = sum(sum(job.own) for job in jobs) + max(job.release for job in jobs) + 1
    return "\n\n".join([*parts, f"[simulation]\nuntil_us = {span * UNIT_US}"]) + "\n"


def _table(jobs: tuple[_Job, ...]) -> str:
    lines = ["| task | priority | released at | what its job does |", "| :-- | --: | --: | :-- |"]
    for job in jobs:
        does = f"runs {job.own[0]}"
        if len(job.own) == 3:
            does += f", locks {LOCK}, runs {job.own[1]}, unlocks {LOCK}, runs {job.own[2]}"
        lines.append(f"| {job.name} | {job.priority} | {job.release} | {does} |")
    return "\n".join(lines)


def _response(done: Simulated, task: str) -> int:
    jobs = done.truth.jobs.filter(pl.col("task").cast(pl.String) == task)
    return int(jobs["response_ns"].to_list()[0]) // UNIT_NS


def _wrong_name(answer: Answer, *, role: str, victim: str, holder: str, third: list[str]) -> str:
    if answer in third:
        return f"{answer} never asks for {LOCK}: it is a third party"
    if answer == holder and role == "victim":
        return f"{answer} holds {LOCK}; the victim is the more urgent one that waits for it"
    if answer == victim and role == "holder":
        return f"{answer} waits for {LOCK}; the holder is the one that has it"
    return "that is no task of this exercise"


def _number(key: str, ask: str, right: int, worked: str, slips: dict[int, str]) -> Question:
    def wrong(answer: Answer) -> str:
        said = slips.get(answer) if isinstance(answer, int) and answer != right else None
        return said or worked

    return Question(key, ask, "number", right, worked, wrong)


def _responses(victim: str, responses: list[int]) -> tuple[Question, ...]:
    plain, inherit, ceiling = responses
    return (
        _number(
            "response_plain",
            f"What is the response time of {victim} with the plain mutex?",
            plain,
            f"{victim} takes {plain} with the plain mutex.",
            {inherit: "that is what it would be with inheritance"},
        ),
        _number(
            "response_inherit",
            f"And if {LOCK} had priority inheritance?",
            inherit,
            f"{victim} takes {inherit}: the holder runs at its priority until the unlock.",
            {plain: "the third parties cannot run while the holder inherits the priority"},
        ),
        _number(
            "response_ceiling",
            f"And if {LOCK} had the immediate ceiling protocol?",
            ceiling,
            f"{victim} takes {ceiling}: the holder runs at the ceiling from its lock on, so "
            f"{victim} starts only when {LOCK} is free.",
            {plain: "the third parties cannot run while the holder is at the ceiling"},
        ),
    )

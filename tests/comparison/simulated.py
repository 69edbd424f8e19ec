"""Task sets whose jobs are written out: each depends on the one before, and boards vary."""

from dataclasses import replace

import numpy as np

from tests.comparison.drawn import ar1
from tracelens.model.system import Task
from tracelens.model.taskset import Duration, Job, Program, Step, TaskSet

TASK = "needle_select"
MEMORY = 0.5
SPREAD = 0.08


def written_out(
    taskset: TaskSet,
    rng: np.random.Generator,
    boards: float,
    slower: float = 1.0,
    until_ns: int | None = None,
) -> TaskSet:
    """The set on one board: all execution times a factor, and periodic tasks job by job.

    `slower` multiplies the execution of `TASK`.
    """
    board = 1 + boards * rng.standard_normal()
    until = until_ns or taskset.until_ns or 0
    programs = {}
    for name, program in taskset.programs.items():
        task = next((task for task in taskset.system.tasks if task.name == name), None)
        factor = board * (slower if name == TASK else 1.0)
        if task is not None and task.period_ns:
            programs[name] = _jobs(program, task, factor, until, rng)
        else:
            programs[name] = replace(program, body=_times(program.body, factor))
    return replace(taskset, programs=programs, until_ns=until)


def _jobs(
    program: Program, task: Task, factor: float, until_ns: int, rng: np.random.Generator
) -> Program:
    releases = range(task.offset_ns or 0, until_ns, task.period_ns or 1)
    level = np.exp(SPREAD * ar1(len(releases), MEMORY, rng))
    jobs = tuple(
        Job(at, tuple(_drawn(step, factor * part, rng) for step in program.body))
        for at, part in zip(releases, level.tolist(), strict=True)
    )
    return replace(program, given=jobs)


def _drawn(step: Step, factor: float, rng: np.random.Generator) -> Step:
    if step.time is None:
        return step
    ns = rng.uniform(step.time.low_ns, step.time.high_ns)
    whole = round(ns * factor) if step.kind == "run" else round(ns)
    return replace(step, time=Duration(whole, whole))


def _times(body: tuple[Step, ...], factor: float) -> tuple[Step, ...]:
    return tuple(
        replace(
            step,
            time=Duration(
                round(step.time.low_ns * factor), round(step.time.high_ns * factor), step.time.tail
            ),
        )
        if step.kind == "run" and step.time is not None
        else step
        for step in body
    )

"""The engine against a second scheduler of another author's kind: random sets, same completions."""

import random

import pytest

from tests.engine.other_model import OtherTask, finish_times
from tests.engine.textbook import UNIT, execute, run
from tracelens.model.system import Clock, Lock, System, Task
from tracelens.model.taskset import Program, Step, TaskSet

UNTIL = 60


def random_set(seed: int) -> list[OtherTask]:
    """Two to six tasks, with distinct or shared priorities, nested sections, odd releases."""
    draw = random.Random(seed)
    tasks = []
    levels = draw.choice([3, 10])
    for index in range(draw.randint(2, 6)):
        program: list[tuple[str, object]] = []
        held: list[str] = []
        for _ in range(draw.randint(1, 4)):
            program.append(("run", draw.randint(1, 3)))
            free = [name for name in "XYZ" if name not in held]
            if held and draw.random() < 0.5:
                program.append(("unlock", held.pop()))
            elif free and draw.random() < 0.6:
                held.append(draw.choice(free))
                program.append(("lock", held[-1]))
        if program[-1][0] == "lock":
            program.append(("run", 1))
        program += [("unlock", name) for name in reversed(held)]
        first, period = draw.randint(0, 12), draw.randint(8, 40)
        tasks.append(
            OtherTask(
                f"t{index}",
                draw.randint(1, levels),
                list(range(first, UNTIL, period)),
                program,
                draw.randint(5, 50),
            )
        )
    return tasks


def as_taskset(tasks: list[OtherTask], protocol: str, policy: str) -> TaskSet:
    programs = {}
    for task in tasks:
        body = tuple(
            execute(what) if kind == "run" else Step(kind, what) for kind, what in task.program
        )
        programs[task.name] = Program(body, releases_ns=tuple(r * UNIT for r in task.releases))
    system = System(
        clocks=(Clock(1_000_000),),
        order="higher_first",
        policy=policy,
        tasks=tuple(
            Task(
                task.name,
                task.name,
                task.priority,
                activation="activate",
                deadline_ns=task.deadline * UNIT,
            )
            for task in tasks
        ),
        locks=tuple(Lock(name, name, protocol) for name in "XYZ"),
    )
    return TaskSet(system, programs)


def compare(seed: int, protocol: str, policy: str) -> None:
    tasks = random_set(seed)
    done = run(as_taskset(tasks, protocol, policy), UNTIL)
    ended = done.truth.jobs.filter(done.truth.jobs["status"] == "complete")
    ours = {
        (task, job): end // UNIT for task, job, end in ended.select("task", "job", "end_ns").rows()
    }
    theirs = finish_times(tasks, UNTIL, inherit=protocol == "inherit", edf=policy == "edf")
    assert ours == theirs, (seed, tasks)


CASES = [("none", "fixed"), ("inherit", "fixed"), ("none", "edf"), ("inherit", "edf")]


@pytest.mark.parametrize(("protocol", "policy"), CASES)
@pytest.mark.parametrize("block", range(5))
def test_same_completions(protocol, policy, block):
    for seed in range(block * 25, block * 25 + 25):
        compare(seed, protocol, policy)


@pytest.mark.night
@pytest.mark.parametrize(("protocol", "policy"), CASES)
def test_same_completions_at_length(protocol, policy):
    for seed in range(1_000, 6_000):
        compare(seed, protocol, policy)

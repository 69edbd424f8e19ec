"""Given work: the same engine replays listed jobs, and something may be changed."""

from dataclasses import replace

import polars as pl

from tests.engine.textbook import UNIT, execute, periodic, run, schedule, steps
from tracelens.engine import simulate
from tracelens.formats.taskset_toml import parse_taskset
from tracelens.model.system import Clock, Lock, Queue, System, Task
from tracelens.model.taskset import Job, Program, TaskSet


def given(*jobs: tuple[float | None, str]) -> Program:
    """Jobs as (release, program in the textbooks' notation)."""
    return Program(
        given=tuple(
            Job(None if release is None else round(release * UNIT), steps(text))
            for release, text in jobs
        )
    )


def system(**changes: object) -> System:
    whole = System(
        clocks=(Clock(1_000_000_000),),
        order="higher_first",
        tasks=(
            Task("idle", "idle", 0, idle=True),
            Task("high", "high", 3, activation="activate", deadline_ns=6 * UNIT),
            Task("low", "low", 1, activation="activate"),
        ),
        locks=(Lock("X", "X", "none"),),
    )
    return replace(whole, **changes)


def test_given_jobs_run_as_listed():
    done = run(
        TaskSet(
            system(),
            {
                "high": given((2, "E X+E X-"), (10, "EEE")),
                "low": given((0, "X+EEEEE X-"), (11, "E")),
            },
        ),
        30,
    )
    assert schedule(done) == "low0-2 high2-3 low3-6 high6-7 high10-13 low13-14"
    assert done.truth.jobs["end_ns"].to_list() == [7 * UNIT, 13 * UNIT, 6 * UNIT, 14 * UNIT]


def test_something_may_be_changed():
    """The lander of 1997 in small: the same jobs, with and without a third task in the way."""
    jobs = {
        "high": given((2, "E X+E X-")),
        "low": given((0, "X+EEEEE X-")),
        "mid": given((3, "EEEE")),
    }
    tasks = (*system().tasks, Task("mid", "mid", 2, activation="activate"))
    before = run(TaskSet(system(tasks=tasks), jobs), 30)
    after = run(TaskSet(system(tasks=tasks, locks=(Lock("X", "X", "inherit"),)), jobs), 30)
    assert before.truth.jobs["late"].to_list() == [True, False, False]
    assert after.truth.jobs["late"].to_list() == [False, False, False]
    assert schedule(after) == "low0-2 high2-3 low3-6 high6-7 mid7-11"


def test_given_and_drawn_are_one_engine():
    """A periodic set, and its jobs listed one by one, give the same events."""
    rows = [(5, 2), (7, 4)]
    drawn = run(periodic(rows), 70)
    listed = periodic(rows)
    programs = {
        name: Program(
            given=tuple(
                Job(round(n * period * UNIT), (execute(cost),)) for n in range(70 // period + 1)
            )
        )
        for name, (period, cost) in zip("ab", rows, strict=True)
    }
    replayed = run(replace(listed, programs=programs), 70)
    assert replayed.log == drawn.log
    assert replayed.truth.episodes.equals(drawn.truth.episodes)


def test_an_item_releases_the_next_given_job():
    tasks = (*system().tasks[:2], Task("eater", "eater", 2, activation="q"))
    body = parse_taskset(
        '[priority]\norder = "higher_first"\n[queues.q]\n[tasks.high]\npriority = 3\n'
        'releases_us = [2]\nbody = ["run 1", "send q", "run 1", "send q"]\n'
    ).programs["high"]
    done = simulate(
        TaskSet(
            system(tasks=tasks, queues=(Queue("q", "q"),)),
            {"high": body, "eater": given((None, "EE"), (None, "EEEEE"))},
        ),
        until_ns=30 * UNIT,
    )
    eater = done.truth.jobs.filter(pl.col("task") == "eater")
    assert (eater["release_ns"] // UNIT).to_list() == [3, 4]
    assert (eater["execution_ns"] // UNIT).to_list() == [2, 5]


def test_a_late_waiting_task_begins_its_next_given_job_at_once():
    tasks = (system().tasks[0], Task("loop", "loop", 1, activation="delay"))
    done = run(TaskSet(system(tasks=tasks), {"loop": given((0, "EEEEE"), (3, "E"), (10, "E"))}), 30)
    rows = done.truth.jobs.select("release_ns", "start_ns", "end_ns").rows()
    assert [tuple(ns // UNIT for ns in row) for row in rows] == [(0, 0, 5), (3, 5, 6), (10, 10, 11)]


def test_steps_that_take_no_time_are_left_out():
    program = Program(given=(Job(0, (execute(0), execute(2), execute(0))),))
    tasks = system().tasks[:2]
    done = run(TaskSet(system(tasks=tasks), {"high": program}), 10)
    assert schedule(done) == "high0-2"

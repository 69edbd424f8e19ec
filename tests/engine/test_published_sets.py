"""Response times and schedules of published task sets, from a synchronous release.

R1–R4: Burns & Wellings, Real-Time Systems and Programming Languages, chapter on scheduling (R3:
also Leung & Whitehead, Performance Evaluation 2(4), 1982). R5, R6, E2, E3, E5: Buttazzo, Hard
Real-Time Computing Systems, ch. 4. R7, R8, E1, E4: course exercises. R9, R10: Lehoczky, Sha &
Ding, RTSS 1989, and Sha & Goodenough, IEEE Computer 23(4), 1990. R11: Lehoczky, RTSS 1990. R12:
Davis, Burns, Bril & Lukkien, Real-Time Systems 35(3), 2007. C1: Dhall & Liu, Operations Research
26(1), 1978. C2: course notes on several cores. S1: Locke, Vogel & Mesler, RTSS 1991.
"""

import polars as pl
import pytest

from tests.engine.textbook import all_responses, periodic, responses, run, schedule
from tracelens.model.events import CODE

FIXED = {
    "R1": ([(30, 10), (40, 10), (50, 12)], [10, 20, 52]),
    "R2": ([(20, 5), (40, 10), (80, 40)], [5, 15, 80]),
    "R3": ([(20, 3, 5), (15, 3, 7), (10, 4, 10), (20, 3, 20)], [3, 6, 10, 20]),
    "R3-rate-monotonic": ([(10, 4, 10), (15, 3, 7), (20, 3, 5), (20, 3, 20)], [4, 7, 10, 20]),
    "R4": ([(8, 4, 5), (20, 4, 10), (20, 4, 12)], [4, 8, 16]),
    "R5": ([(4, 1, 3), (5, 1, 4), (6, 2, 5), (11, 1, 10)], [1, 2, 4, 10]),
    "R6": ([(4, 1), (6, 2), (10, 3)], [1, 3, 10]),
    "R7": ([(3, 1), (6, 2), (12, 3), (12, 1)], [1, 3, 11, 12]),
    "R8": ([(5, 2), (7, 2), (9, 2)], [2, 4, 10]),
    "R9": ([(100, 20), (150, 40), (350, 100)], [20, 60, 240]),
    "R10": ([(100, 40), (150, 40), (350, 100)], [40, 80, 300]),
    "U3": ([(5, 3), (8, 1), (10, 1)], [3, 4, 5]),
    "U4": ([(6, 2), (8, 2), (12, 2)], [2, 4, 6]),
}


@pytest.mark.parametrize("name", FIXED)
@pytest.mark.parametrize("activation", ["activate", "delay"])
def test_first_response_is_the_worst_case(name, activation):
    tasks, expected = FIXED[name]
    done = run(periodic(tasks, activation=activation), 400)
    assert list(responses(done).values()) == expected
    deadlines = [row[-1] if len(row) > 2 else row[0] for row in tasks]
    late = done.truth.jobs.filter(pl.col("job") == 1)["late"].to_list()
    assert late == [r > d for r, d in zip(expected, deadlines, strict=True)]


def test_r1_first_miss():
    done = run(periodic(FIXED["R1"][0]), 120)
    first = done.truth.jobs.filter(pl.col("late")).sort("end_ns").row(0, named=True)
    assert (first["task"], first["release_ns"], first["end_ns"]) == ("c", 0, 52_000)


def test_r4b_with_an_offset():
    done = run(periodic(FIXED["R4"][0], offsets={"c": 10}), 40)
    worst = {task: max(all_responses(done, task)) for task in "abc"}
    assert worst == {"a": 4, "b": 8, "c": 8}


@pytest.mark.parametrize("activation", ["activate", "delay"])
def test_r11_deadlines_beyond_the_period(activation):
    """Jobs of one task run first in, first out; the worst is not the first."""
    done = run(periodic([(70, 26), (100, 62, 200)], activation=activation), 695)
    assert all_responses(done, "b") == [114, 102, 116, 104, 118, 106, 94]


def test_r12_non_preemptive():
    tasks = [(2.5, 1, 2.5), (3.5, 1, 3.25), (3.5, 1, 3.25)]
    done = run(periodic(tasks, preemptive=False), 8)
    assert all_responses(done, "a")[:1] == [1]
    assert all_responses(done, "b")[:1] == [2]
    assert all_responses(done, "c")[:2] == [3, 3.5]
    late = done.truth.jobs.filter(pl.col("late")).select("task", "job").rows()
    assert late[0] == ("c", 2)


S1 = [
    (200, 3, 5), (25, 2), (25, 5), (40, 1), (50, 3), (50, 5), (59, 8), (80, 9), (80, 2), (100, 5),
    (200, 1), (200, 3), (200, 1), (200, 1), (200, 3), (1000, 1), (1000, 1),
]  # fmt: skip
S1_RESPONSES = [3, 5, 10, 11, 14, 19, 34, 44, 46, 74, 75, 97, 98, 99, 138, 139, 140]


def test_s1_avionics_platform():
    done = run(periodic(S1), 1000)
    assert list(responses(done).values()) == S1_RESPONSES
    busy = done.truth.occupancy.filter(pl.col("occupant") == "task")
    assert (busy["end_ns"] - busy["start_ns"]).sum() == 856_000
    assert (done.truth.jobs["status"] == "complete").sum() == 230


EDF = {
    "E1": [(3, 1, 2), (5, 2, 4), (14, 3, 12)],
    "E2": [(6, 2, 5), (8, 2, 4), (12, 4, 8)],
    "E3": [(5, 1, 5), (9, 4, 8), (6, 2, 4)],
}


@pytest.mark.parametrize("name", EDF)
def test_schedulable_under_edf(name):
    done = run(periodic(EDF[name], policy="edf"), 210 * 4)
    assert not done.truth.jobs["late"].any()


def test_e2_deadline_monotonic_is_late():
    done = run(periodic(sorted(EDF["E2"], key=lambda row: row[2])), 24)
    assert responses(done)["c"] == 12
    assert done.truth.jobs["late"].any()


def test_e3_rate_monotonic_is_late():
    done = run(periodic(sorted(EDF["E3"])), 45)
    assert responses(done)["c"] == 10


def test_e4_two_tasks_at_once():
    done = run(periodic([(10, 2, 2), (10, 2, 2)], policy="edf"), 10)
    assert done.truth.jobs["late"].to_list() == [False, True]


E5 = [(5, 2), (7, 4)]


@pytest.mark.parametrize("activation", ["activate", "delay"])
def test_e5_earliest_deadline_first(activation):
    done = run(periodic(E5, policy="edf", activation=activation), 35)
    assert schedule(done) == (
        "a0-2 b2-6 a6-8 b8-12 a12-14 b14-15 a15-17 b17-20 a20-22 b22-26 a26-28 b28-32 a32-34"
    )
    assert all_responses(done, "a") == [2, 3, 4, 2, 2, 3, 4]
    assert all_responses(done, "b") == [6, 5, 6, 5, 4]
    assert not done.truth.jobs["late"].any()


def test_e5_rate_monotonic():
    done = run(periodic(E5), 35)
    own = done.truth.occupancy.filter(pl.col("who") == "a").select("start_ns", "end_ns").rows()
    assert [(a // 1000, b // 1000) for a, b in own] == [(5 * n, 5 * n + 2) for n in range(7)]
    jobs = done.truth.jobs.filter(pl.col("task") == "b")
    assert (jobs["end_ns"] // 1000).to_list() == [8, 14, 20, 28, 34]
    assert jobs["late"].to_list()[0]


@pytest.mark.parametrize(("policy", "finish"), [("edf", 12), ("fixed", 14)])
def test_c1_one_heavy_task_beside_two_light_ones(policy, finish):
    done = run(periodic([(10, 2), (10, 2), (11, 10)], policy=policy, cores=2), 22)
    heavy = done.truth.jobs.filter((pl.col("task") == "c") & (pl.col("job") == 1))
    assert heavy["end_ns"].item() == finish * 1000
    assert heavy["late"].item()


def test_c1_partitioned():
    pinned = {"a": 0, "b": 0, "c": 1}
    done = run(periodic([(10, 2), (10, 2), (11, 10)], cores=2, pinned=pinned), 110)
    assert not done.truth.jobs["late"].any()


def test_c2_global_edf():
    tasks = [(10, 3, 10), (10, 3, 10), (12, 8, 10)]
    done = run(periodic(tasks, policy="edf", cores=2), 12)
    assert schedule(done, 0).startswith("a0-3 c3-11")
    assert schedule(done, 1).startswith("b0-3")
    third = done.truth.jobs.filter((pl.col("task") == "c") & (pl.col("job") == 1))
    assert third["late"].item()


def test_preemptions_of_e5():
    """One preemption under EDF, at 15; five under rate-monotonic priorities."""
    for policy, expected in (("edf", [15]), ("fixed", None)):
        done = run(periodic(E5, policy=policy), 35)
        rows = done.truth.occupancy.filter(pl.col("occupant") == "task")
        ends = set(done.truth.jobs["end_ns"].to_list())
        cut = [end // 1000 for end in rows["end_ns"].to_list() if end not in ends]
        cut = [time for time in cut if time < 35]
        assert cut == expected if expected is not None else len(cut) == 5


def test_the_log_has_what_the_engine_knows():
    """Starts in the log are the starts in the engine's own record."""
    done = run(periodic(E5, policy="edf"), 35)
    rows = done.truth.occupancy.filter(pl.col("who") != "").select("start_ns", "who").rows()
    starts = done.events.filter(pl.col("event").to_physical() == CODE["start"]).select(
        "time_ns", pl.col("subject").cast(pl.String)
    )
    logged = [row for row in starts.rows() if not row[1].startswith("idle")]
    assert logged == [(time, str(who)) for time, who in rows]

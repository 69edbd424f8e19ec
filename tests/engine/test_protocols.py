"""Lock protocols against published timelines.

L1: Burns & Wellings, Real-Time Systems and Programming Languages, 4th ed., sect. 11.8.
L2, L3: structures of Sha, Rajkumar & Lehoczky, IEEE Trans. Computers 39(9), 1990.
L4: the lander of 1997, roles after G. Reeves, "What Really Happened on Mars"; own durations.
L5: a classroom scenario of three tasks. L6: a textbook exercise of four tasks.
"""

import pytest

from tests.engine.textbook import (
    ledger,
    lock_events,
    low_time,
    one_job_each,
    responses,
    run,
    schedule,
)

L1 = {
    "a": (1, 0, "E Q+EEEE Q- E"),
    "b": (2, 2, "EE"),
    "c": (3, 2, "E V+EE V- E"),
    "d": (4, 4, "EE Q+E Q- V+E V- E"),
}
L2 = {
    "J0": (3, 5, "E X+E X- E"),
    "J1": (2, 2, "E Y+E Z+E Z-E Y-E"),
    "J2": (1, 0, "E Z+EE Y+E Y-E Z-E"),
}
L3 = {
    "J1": (3, 6, "E X+E X- Y+E Y- E"),
    "J2": (2, 3, "E Y+EEE Y- E"),
    "J3": (1, 0, "E X+EEEE X- E"),
}
L4 = {
    "bus": (4, 4, "E M+E M- E"),
    "comm": (2, 5, "E" * 12),
    "met": (1, 0, "E M+EEEEE M- E"),
}
L5 = {
    "H": (3, 1, "X+E X-"),
    "M": (2, 2, "EE"),
    "L": (1, 0, "X+EEE X-"),
}
L6 = {
    "a": (4, 10, "EE A+E A- E"),
    "b": (3, 7, "E A+E A- B+E B- E"),
    "c": (2, 4, "E B+E B- C+E C- E"),
    "d": (1, 0, "EE A+E B+EE B- EE A- C+E C- EEE"),
}

TIMELINES = [
    (
        L1,
        "none",
        "a0-2 c2-4 d4-6 c6-8 b8-10 a10-13 d13-16 a16-17",
        {"a": 17, "b": 8, "c": 6, "d": 12},
        {"a": 0, "b": 0, "c": 0, "d": 7},
    ),
    (
        L1,
        "inherit",
        "a0-2 c2-4 d4-6 a6-9 d9-10 c10-11 d11-13 c13-14 b14-16 a16-17",
        {"a": 17, "b": 14, "c": 12, "d": 9},
        {"a": 0, "b": 3, "c": 3, "d": 4},
    ),
    (
        L1,
        "original_ceiling",
        "a0-2 c2-3 a3-4 d4-6 a6-8 d8-11 c11-14 b14-16 a16-17",
        {"a": 17, "b": 14, "c": 12, "d": 7},
        {"a": 0, "b": 3, "c": 3, "d": 2},
    ),
    (
        L1,
        "ceiling",
        "a0-5 d5-10 c10-14 b14-16 a16-17",
        {"a": 17, "b": 14, "c": 12, "d": 6},
        {"a": 0, "b": 3, "c": 3, "d": 1},
    ),
    (
        L2,
        "original_ceiling",
        "J20-2 J12-3 J23-5 J05-8 J28-9 J19-13 J213-14",
        {"J0": 3, "J1": 11, "J2": 14},
        {},
    ),
    (L2, "ceiling", "J20-5 J05-8 J18-13 J213-14", {"J0": 3, "J1": 11, "J2": 14}, {}),
    (
        L3,
        "none",
        "J30-3 J23-6 J16-7 J27-9 J39-11 J111-14 J314-15",
        {"J1": 8, "J2": 6, "J3": 15},
        {"J1": 4},
    ),
    (
        L3,
        "inherit",
        "J30-3 J23-6 J16-7 J37-9 J19-10 J210-11 J111-13 J213-14 J314-15",
        {"J1": 7, "J2": 11, "J3": 15},
        {"J1": 3},
    ),
    (
        L3,
        "original_ceiling",
        "J30-3 J23-4 J34-6 J16-10 J210-14 J314-15",
        {"J1": 4, "J2": 11, "J3": 15},
        {"J1": 0},
    ),
    (
        L3,
        "ceiling",
        "J30-5 J25-6 J16-10 J210-14 J314-15",
        {"J1": 4, "J2": 11, "J3": 15},
        {"J1": 0},
    ),
    (
        L4,
        "none",
        "met0-4 bus4-5 comm5-17 met17-19 bus19-21 met21-22",
        {"bus": 17, "comm": 12, "met": 22},
        {"bus": 14},
    ),
    *(
        (
            L4,
            protocol,
            "met0-4 bus4-5 met5-7 bus7-9 comm9-21 met21-22",
            {"bus": 5, "comm": 16, "met": 22},
            {"bus": 2},
        )
        for protocol in ("inherit", "original_ceiling")
    ),
    (L4, "ceiling", "met0-6 bus6-9 comm9-21 met21-22", {"bus": 5, "comm": 16, "met": 22}, {}),
    (L5, "none", "L0-2 M2-4 L4-5 H5-6", {"H": 5, "M": 2, "L": 5}, {}),
    (L5, "inherit", "L0-3 H3-4 M4-6", {"H": 3, "M": 4, "L": 3}, {}),
    (
        L6,
        "inherit",
        "d0-4 c4-5 d5-6 c6-7 b7-8 d8-10 a10-14 b14-17 c17-19 d19-23",
        {"a": 4, "b": 10, "c": 15, "d": 23},
        {},
    ),
    (
        L6,
        "original_ceiling",
        "d0-4 c4-5 d5-7 b7-8 d8-9 b9-10 a10-14 b14-16 c16-19 d19-23",
        {"a": 4, "b": 9, "c": 15, "d": 23},
        {},
    ),
    (
        L6,
        "ceiling",
        "d0-7 b7-10 a10-14 b14-15 c15-19 d19-23",
        {"a": 4, "b": 8, "c": 15, "d": 23},
        {},
    ),
]
NAMES = {id(L1): "L1", id(L2): "L2", id(L3): "L3", id(L4): "L4", id(L5): "L5", id(L6): "L6"}


@pytest.mark.parametrize(
    ("jobs", "protocol", "timeline", "response", "low"),
    TIMELINES,
    ids=[f"{NAMES[id(row[0])]}-{row[1]}" for row in TIMELINES],
)
def test_published_timeline(jobs, protocol, timeline, response, low):
    done = run(one_job_each(jobs, protocol), 40)
    assert schedule(done) == timeline
    assert responses(done) == response
    assert {task: low_time(done, task) for task in low} == low
    assert done.truth.deadlocks.is_empty()


L1_LOCKS = {
    "none": "1 a lock Q, 3 c lock V, 6 d wait Q, 7 c unlock V, 13 a unlock Q, 13 d lock Q, "
    "14 d unlock Q, 14 d lock V, 15 d unlock V",
    "inherit": "1 a lock Q, 3 c lock V, 6 d wait Q, 9 a unlock Q, 9 d lock Q, 10 d unlock Q, "
    "10 d wait V, 11 c unlock V, 11 d lock V, 12 d unlock V",
    "original_ceiling": "1 a lock Q, 3 c wait Q, 6 d wait Q, 8 a unlock Q, 8 d lock Q, "
    "9 d unlock Q, 9 d lock V, 10 d unlock V, 11 c lock V, 13 c unlock V",
    "ceiling": "1 a lock Q, 5 a unlock Q, 7 d lock Q, 8 d unlock Q, 8 d lock V, 9 d unlock V, "
    "11 c lock V, 13 c unlock V",
}


@pytest.mark.parametrize("protocol", L1_LOCKS)
def test_l1_lock_events(protocol):
    done = run(one_job_each(L1, protocol), 40)
    found = ", ".join(
        f"{time:g} {task} {word} {lock}" for time, task, word, lock in lock_events(done)
    )
    assert found == L1_LOCKS[protocol]


def test_l1_without_a_protocol_is_an_inversion_of_which_four_units_are_third_parties():
    done = run(one_job_each(L1, "none"), 40)
    assert done.truth.inversions.height == 1
    found = done.truth.inversions.row(0, named=True)
    assert (found["kind"], found["victim"], found["lock"]) == ("direct", "d", "Q")
    assert (found["start_ns"], found["end_ns"]) == (6_000, 13_000)
    assert (found["holder_ns"], found["third_party_ns"]) == (3_000, 4_000)
    assert ledger(done, "d") == {
        ("execution", "d", None): 5,
        ("inversion", "c", "Q"): 2,
        ("inversion", "b", "Q"): 2,
        ("blocked", "a", "Q"): 3,
    }


def test_l1_under_the_original_ceiling_a_free_lock_is_refused():
    done = run(one_job_each(L1, "original_ceiling"), 40)
    kinds = done.truth.inversions.select("kind", "victim", "lock", "start_ns", "end_ns").rows()
    assert ("ceiling", "c", "Q", 3_000, 8_000) in kinds
    assert ("direct", "d", "Q", 6_000, 8_000) in kinds


@pytest.mark.parametrize("protocol", ["none", "inherit"])
def test_l2_deadlock(protocol):
    done = run(one_job_each(L2, protocol), 40)
    assert schedule(done) == "J20-2 J12-4 J24-5 J05-8"
    assert done.truth.deadlocks.rows() == [(8_000, ["J2", "J1"], ["Y", "Z"])]
    assert responses(done) == {"J0": 3}
    waits = [event for event in lock_events(done) if event[2] == "wait"]
    assert waits == [(4, "J1", "wait", "Z"), (8, "J2", "wait", "Y")]


def test_l2_the_original_ceiling_refuses_a_free_lock_and_so_avoids_the_deadlock():
    done = run(one_job_each(L2, "original_ceiling"), 40)
    assert (3, "J1", "wait", "Z") in lock_events(done)
    assert (6, "J0", "lock", "X") in lock_events(done)
    assert not [event for event in lock_events(done) if event[1:3] == ("J0", "wait")]


def test_l4_misses_its_deadline_without_a_protocol_only():
    late = {}
    for protocol in ("none", "inherit", "original_ceiling", "ceiling"):
        done = run(one_job_each(L4, protocol, deadlines={"bus": 10}), 40)
        late[protocol] = done.truth.jobs["late"].any()
    assert late == {"none": True, "inherit": False, "original_ceiling": False, "ceiling": False}


def test_l4_third_party():
    done = run(one_job_each(L4, "none"), 40)
    assert done.truth.third_parties.rows() == [(0, "comm", 12_000)]


@pytest.mark.parametrize(("protocol", "wait", "third"), [("none", 4, 2), ("inherit", 2, 0)])
def test_l5_waiting_time(protocol, wait, third):
    done = run(one_job_each(L5, protocol), 40)
    found = done.truth.inversions.filter(done.truth.inversions["kind"] == "direct").row(
        0, named=True
    )
    assert (found["end_ns"] - found["start_ns"]) == wait * 1_000
    assert found["third_party_ns"] == third * 1_000


def test_under_the_immediate_ceiling_no_job_waits_for_a_lock():
    for jobs in (L1, L2, L3, L4, L5, L6):
        done = run(one_job_each(jobs, "ceiling"), 40)
        assert not [event for event in lock_events(done) if event[2] == "wait"]

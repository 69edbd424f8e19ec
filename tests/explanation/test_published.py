"""Blocking times and chains of holders against published lock-protocol sequences; units are ms.

L1: Burns & Wellings, Real-Time Systems and Programming Languages, 4th ed., sect. 11.8. L2, L3: the
structures of Sha, Rajkumar & Lehoczky, IEEE Trans. Computers 39(9), 1990, sect. III and IV. L4: the
lander of 1997, roles after G. Reeves, "What Really Happened on Mars"; own durations. L5: a
classroom scenario of three tasks. L6: a textbook exercise of four tasks, solution computed.
"""

import pytest

from tests.engine.test_protocols import L6
from tests.engine.textbook import one_job_each, run
from tests.explanation.telling import chain, of_entry, told

MS = 1000


@pytest.mark.parametrize(
    ("log", "task", "response", "blocked", "inversion", "chains"),
    [
        # L1. d waits for Q from 6 to 13: 3 of it the owner a runs, 4 c and b, which have no part.
        ("four_processes_none", "d", 12, 3, 4, ["Q<-a"]),
        # Inheritance: Q 6-9, then V 10-11, which c holds.
        ("four_processes_inherit", "d", 9, 4, 0, ["Q<-a", "V<-c"]),
        # The original ceiling: a single wait, Q 6-8; c is refused V, which is free, for Q is held.
        ("four_processes_original_ceiling", "d", 7, 2, 0, ["Q<-a"]),
        ("four_processes_original_ceiling", "c", 12, 3, 0, ["Q<-a"]),
        # The immediate ceiling: never blocked after its first instruction; 4-5 is a push-through.
        ("four_processes_ceiling", "d", 6, 1, 0, ["Q<-a"]),
        # L2. J1, refused Y at 3 while J2 holds Z, gets it at 9.
        ("deadlock_original_ceiling", "J1", 11, 3, 0, ["Z<-J2"]),
        # L3. Chained blocking: two critical sections, J3 7-9 and J2 10-11.
        ("chained_blocking_inherit", "J1", 7, 3, 0, ["X<-J3", "Y<-J2"]),
        ("chained_blocking_ceiling", "J1", 4, 0, 0, []),
        # L4. bus waits 14, 12 of it for comm, which never uses M; with inheritance 2.
        ("lander_none", "bus", 17, 2, 12, ["M<-met"]),
        ("lander_inherit", "bus", 5, 2, 0, ["M<-met"]),
        # L5. H waits 4, 2 of it due to M; with inheritance 2.
        ("three_tasks_none", "H", 5, 2, 2, None),
        ("three_tasks_inherit", "H", 3, 2, 0, None),
    ],
)
def test_a_published_sequence(log, task, response, blocked, inversion, chains):
    found = told(f"classroom/{log}", task=task)
    assert found.job.length_ns == response * MS * 1000
    assert of_entry(found.rows, "blocked") == blocked * MS
    assert of_entry(found.rows, "inversion") == inversion * MS
    if chains is not None:
        assert [chain(wait) for wait in found.waits] == chains


def test_the_refusal_is_told_as_one():
    (wait,) = told("classroom/four_processes_original_ceiling", task="c").waits
    assert (wait.kind, wait.wanted, wait.lock) == ("refused", "V", "Q")


def test_the_delay_under_the_immediate_ceiling_is_a_push_through():
    (wait,) = told("classroom/four_processes_ceiling", task="d").waits
    assert (wait.kind, wait.end_ns - wait.start_ns) == ("push_through", MS * 1000)


@pytest.mark.parametrize(("task", "first", "second"), [("J1", "J2", "J1"), ("J2", "J1", "J2")])
def test_the_deadlock_closes_at_8_and_is_told_once_around(task, first, second):
    """L2 without a protocol: J1 holds Y and wants Z at 4, J2 holds Z and wants Y at 8."""
    found = told("classroom/deadlock_none", task=task)
    assert [
        (cycle.at_ns, set(zip(cycle.tasks, cycle.locks, strict=True))) for cycle in found.deadlocks
    ] == [(8 * MS * 1000, {("J1", "Z"), ("J2", "Y")})]
    wanted = {"J1": "Z", "J2": "Y"}
    assert [chain(wait) for wait in found.waits] == [
        f"{wanted[task]}<-{first}, {wanted[first]}<-{second}"
    ]
    assert [repair.kind for repair in found.repairs] == ["deadlock"]


def test_the_lander_would_have_met_its_deadline_without_the_inversion():
    """Response 17 against 10, 12 of it inversion: without it 5, which is what inheritance gives."""
    found = told("classroom/lander_none", task="bus")
    assert found.shorter.alone[0].left_ns == 5 * MS * 1000
    mended = told("classroom/lander_inherit", task="bus")
    assert found.shorter.alone[0].left_ns == mended.job.length_ns
    assert [repair.kind for repair in found.repairs] == ["protocol"]
    assert "M" in found.repairs[0].text
    assert "comm" in found.repairs[0].text


def test_four_tasks_with_nested_locks_under_inheritance(tell):
    """L6: d holds A and, inside, B. c waits for B 5-6, b for A 8-10, in which d also pushes c.

    c, R 15: execution 4, d 1 + 2, interference of a 4 and b 4. b, R 10: execution 4, d 2, a 4.
    """
    log = run(one_job_each(L6, "inherit"), until=30).log.decode()
    c = tell(log, task="c")
    assert c.job.length_ns == 15 * 1000
    assert (of_entry(c.rows, "execution"), of_entry(c.rows, "blocked")) == (4, 3)
    assert of_entry(c.rows, "interference") == 8
    assert [(wait.kind, chain(wait)) for wait in c.waits] == [
        ("wait", "B<-d"),
        ("push_through", "A<-d"),
    ]
    b = tell(log, task="b")
    assert b.job.length_ns == 10 * 1000
    assert (of_entry(b.rows, "blocked"), of_entry(b.rows, "interference")) == (2, 4)
    assert [chain(wait) for wait in b.waits] == ["A<-d"]

"""Fixed priorities against published sets, each named by its source.

U1, U2: Liu & Layland, J. ACM 20(1), 1973, theorem 5. U3: Bini, Buttazzo & Buttazzo, IEEE Trans.
Computers 52(7), 2003, set from Buttazzo, *Hard Real-Time Computing Systems*, ch. 4; U4: exercise
4.1 there. R1 to R4: Burns & Wellings, *Real-Time Systems and Programming Languages*, chapter on
scheduling (from memory; R3 also Leung & Whitehead 1982). R5, R6: Buttazzo, ch. 4. R7: course exam,
its R3 = 10 corrected to 11. R8: course slides. R9, R10: Lehoczky, Sha & Ding, RTSS 1989, and Sha &
Goodenough, IEEE Computer 23(4), 1990. R11: Lehoczky, RTSS 1990. R12: Davis, Burns, Bril & Lukkien,
Real-Time Systems 35(3), 2007. R13, R14: own numbers for the structure of Burns & Wellings' sections
on jitter and blocking. S1: Locke, Vogel & Mesler, RTSS 1991. S2: Kim, Ryu, Hong, Saksena, Choi &
Shin, RTSS 1996 (from memory). C1: Dhall & Liu, Operations Research 26(1), 1978.
"""

from fractions import Fraction
from math import log

import pytest

from tests.engine.test_published_sets import FIXED, S1, S1_RESPONSES
from tests.theory.sets import UNIT, analysed, iterations, of, responses, task
from tracelens.theory.bounds import liu_layland
from tracelens.theory.records import Schedulability


def bound(found: Schedulability, name: str):
    return next(b for b in found.cores[0].bounds if b.name == name)


def test_u1_the_bound_of_liu_and_layland():
    expected = [1.0, 0.828427, 0.779763, 0.756828, 0.743492]
    assert [round(liu_layland(n), 6) for n in range(1, 6)] == expected


def test_u2_its_limit_is_ln_2():
    assert round(log(2), 6) == 0.693147
    assert liu_layland(10**7) == pytest.approx(log(2), abs=1e-7)


def test_u3_the_hyperbolic_bound_accepts_what_the_load_does_not():
    found = analysed([(5, 3), (8, 1), (10, 1)])
    assert found.utilisation == Fraction(33, 40)
    assert bound(found, "liu_layland").verdict == "inconclusive"
    assert bound(found, "hyperbolic").value == Fraction(99, 50)
    assert bound(found, "hyperbolic").verdict == "schedulable"
    assert responses(found) == [3, 4, 5]


def test_u4_the_load_alone_accepts():
    found = analysed([(6, 2), (8, 2), (12, 2)])
    assert bound(found, "liu_layland").verdict == "schedulable"
    assert responses(found) == [2, 4, 6]


@pytest.mark.parametrize("name", FIXED)
def test_responses(name):
    rows, expected = FIXED[name]
    found = analysed(rows)
    assert responses(found) == expected
    due = [row[-1] if len(row) > 2 else row[0] for row in rows]
    assert [t.ok for t in found.tasks] == [r <= d for r, d in zip(expected, due, strict=True)]
    late = any(r > d for r, d in zip(expected, due, strict=True))
    assert found.verdict == ("unschedulable" if late else "schedulable")


@pytest.mark.parametrize(
    ("name", "last", "steps"),
    [
        ("R1", "c", [12, 32, 42, 52]),
        ("R2", "c", [40, 60, 75, 80]),
        ("R5", "d", [1, 5, 6, 7, 9, 10]),
        ("R8", "c", [2, 6, 8, 10]),
    ],
)
def test_iterations_are_kept(name, last, steps):
    assert iterations(analysed(FIXED[name][0]), last) == steps


@pytest.mark.parametrize(
    ("name", "load"),
    [
        ("R1", (247, 300)),
        ("R2", (1, 1)),
        ("R3", (9, 10)),
        ("R5", (577, 660)),
        ("R6", (53, 60)),
        ("R10", (20, 21)),
    ],
)
def test_the_load_is_exact(name, load):
    assert analysed(FIXED[name][0]).utilisation == Fraction(*load)


@pytest.mark.parametrize(("name", "product"), [("R6", (13, 6)), ("R7", (65, 27))])
def test_r6_and_r7_are_beyond_the_hyperbolic_bound_and_schedulable(name, product):
    found = analysed(FIXED[name][0])
    assert bound(found, "hyperbolic").value == Fraction(*product)
    assert bound(found, "hyperbolic").verdict == "inconclusive"
    assert found.verdict == "schedulable"


def test_r3_deadlines_order_better_than_rates():
    found = analysed(FIXED["R3"][0])
    tried = {order.kind: order for order in found.orders}
    assert tried["rate-monotonic"].names == ("c", "b", "a", "d")
    assert [ns / UNIT for ns in tried["rate-monotonic"].responses_ns] == [4, 7, 10, 20]
    assert not tried["rate-monotonic"].schedulable
    assert tried["deadline-monotonic"].names == ("a", "b", "c", "d")
    assert tried["deadline-monotonic"].schedulable
    assert tried["optimal"].schedulable


def test_r4b_an_offset_makes_room():
    found = analysed(FIXED["R4"][0], offsets={"c": 10})
    assert responses(found) == [4, 8, 8]
    assert found.verdict == "schedulable"
    assert task(found, "c").bound_ns == 16 * UNIT


def test_r4b_as_one_notional_task():
    assert responses(analysed([(8, 4, 5), (10, 4, 10)])) == [4, 8]


def test_r10_scheduling_points():
    found = analysed(FIXED["R10"][0])

    def points(name: str) -> list[tuple[float, float]]:
        return [(p.t_ns / UNIT, p.demand_ns / UNIT) for p in task(found, name).points]

    assert points("b") == [(100, 80), (150, 120)]
    assert points("c") == [(100, 180), (150, 220), (200, 260), (300, 300), (350, 380)]


def test_r11_not_the_first_job_is_the_worst():
    b = task(analysed([(70, 26), (100, 62, 120)]), "b")
    assert [w.response_ns / UNIT for w in b.windows] == [114, 102, 116, 104, 118, 106, 94]
    assert (b.response_ns, b.worst_job) == (118 * UNIT, 5)
    assert b.windows[-1].finish_ns == 694 * UNIT


def test_r12_without_preemption_the_second_job_is_late():
    found = analysed([(2.5, 1, 2.5), (3.5, 1, 3.25), (3.5, 1, 3.25)], preemptive=False)
    per_job = [[w.response_ns / UNIT for w in t.windows] for t in found.tasks]
    assert per_job == [[2], [3, 1.5], [3, 3.5]]
    assert [t.ok for t in found.tasks] == [True, True, False]


def test_r13_jitter_of_a_higher_task():
    text = """
        [priority]
        order = "higher_first"
        [tasks.high]
        priority = 2
        period_us = 20
        jitter_us = {jitter}
        execution = 4
        [tasks.low]
        priority = 1
        period_us = 50
        execution = 10
    """
    assert responses(of(text.format(jitter=15))) == [19, 18]
    assert responses(of(text.format(jitter=0))) == [4, 14]


R14 = """
    [priority]
    order = "higher_first"
    [locks.Q]
    protocol = "{protocol}"
    [locks.V]
    protocol = "{protocol}"
    [tasks.H]
    priority = 3
    period_us = 10
    execution = 2
    sections = {{ Q = 1 }}
    [tasks.M]
    priority = 2
    period_us = 25
    execution = 5
    sections = {{ V = 1 }}
    [tasks.L]
    priority = 1
    period_us = 60
    execution = 10
    sections = {{ Q = 2, V = 4 }}
"""


def test_r14_and_b3_blocking_under_ceilings():
    found = of(R14.format(protocol="ceiling"))
    assert [t.blocking.total_ns / UNIT for t in found.tasks] == [2, 4, 0]
    assert responses(found) == [4, 13, 19]


def test_r14_without_blocking():
    assert responses(analysed([(10, 2), (25, 5), (60, 10)])) == [2, 7, 19]


def test_s1_generic_avionics_platform():
    found = analysed(S1)
    assert found.utilisation == Fraction(100311, 118000)
    assert responses(found) == S1_RESPONSES
    assert found.verdict == "schedulable"
    assert liu_layland(17) == pytest.approx(0.7074, abs=1e-4)
    assert bound(found, "liu_layland").verdict == "inconclusive"


def test_s1_without_the_weapon_protocol():
    found = analysed([row for place, row in enumerate(S1) if place != 10])
    assert round(float(found.utilisation), 4) == 0.8451
    assert responses(found)[10:] == [96, 97, 98, 137, 138, 139]


def test_s2_cnc_controller():
    rows = [
        (2400, 35), (2400, 40), (2400, 165), (2400, 165), (7800, 570, 4000), (9600, 570, 4800),
        (4800, 180), (4800, 720),
    ]  # fmt: skip
    found = analysed(rows)
    assert round(float(found.utilisation), 4) == 0.4887
    assert responses(found) == [35, 75, 240, 405, 975, 1545, 1725, 2850]


def test_e2_and_e3_deadline_monotonic():
    e2 = analysed([(8, 2, 4), (6, 2, 5), (12, 4, 8)])
    assert iterations(e2, "c") == [4, 8, 10, 12]
    assert not task(e2, "c").ok
    e3 = analysed([(6, 2, 4), (5, 1, 5), (9, 4, 8)])
    assert iterations(e3, "c")[:3] == [4, 7, 10]
    assert e3.verdict == "unschedulable"


def test_c1_partitioned_each_core_on_its_own():
    found = analysed([(10, 2), (10, 2), (11, 10)], cores=2, pinned={"a": 0, "b": 0, "c": 1})
    assert [core.utilisation for core in found.cores] == [Fraction(2, 5), Fraction(10, 11)]
    assert responses(found) == [2, 4, 10]
    assert found.verdict == "schedulable"


def test_c1_free_to_migrate_is_not_judged():
    found = analysed([(10, 2), (10, 2), (11, 10)], cores=2)
    assert found.verdict == "inconclusive"
    assert found.utilisation == Fraction(72, 55)
    assert {t.response_ns for t in found.tasks} == {None}


def test_more_work_than_the_core_can_do():
    found = analysed([(4, 3), (6, 2)])
    assert found.verdict == "unschedulable"
    assert bound(found, "load").verdict == "unschedulable"
    assert (task(found, "a").ok, task(found, "b").response_ns) == (True, None)

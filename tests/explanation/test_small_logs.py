"""Chains three deep, a deadlock of three, two cores: small logs, worked by hand. Ticks are µs."""

import pytest

from tests.explanation.telling import chain, ledger

NESTED = """\
#tracelens 1
#clock hz=1000000 bits=32
#priority order=higher_first
#task id=t0 name=idle priority=0 idle=yes
#task id=t5 name=high priority=5 deadline_us={deadline}
#task id=t4 name=two priority=4
#task id=t3 name=three priority=3
#task id=t2 name=mid priority=2
#task id=t1 name=four priority=1
#lock id=A name=A protocol=none
#lock id=B name=B protocol=none
#lock id=C name=C protocol=none
time,core,event,subject,value
1000,0,start,t0,
1000,0,release,t1,
1000,0,start,t1,
1001,0,lock,t1,C
1003,0,release,t3,
1003,0,start,t3,
1004,0,lock,t3,B
1006,0,request,t3,C
1006,0,wait,t3,C
1006,0,start,t1,
1008,0,release,t4,
1008,0,start,t4,
1009,0,lock,t4,A
1011,0,request,t4,B
1011,0,wait,t4,B
1011,0,start,t1,
1013,0,release,t5,
1013,0,start,t5,
1015,0,request,t5,A
1015,0,wait,t5,A
1015,0,start,t1,
1017,0,release,t2,
1017,0,start,t2,
1020,0,wait,t2,delay
1020,0,start,t1,
1022,0,unlock,t1,C
1022,0,release,t3,t1
1022,0,start,t3,
1022,0,lock,t3,C
1024,0,unlock,t3,C
1025,0,unlock,t3,B
1025,0,release,t4,t3
1025,0,start,t4,
1025,0,lock,t4,B
1027,0,unlock,t4,B
1028,0,unlock,t4,A
1028,0,release,t5,t4
1028,0,start,t5,
1028,0,lock,t5,A
1030,0,unlock,t5,A
1032,0,wait,t5,delay
1032,0,start,t4,
1033,0,wait,t4,delay
1033,0,start,t3,
1034,0,wait,t3,delay
1034,0,start,t1,
1035,0,wait,t1,delay
1035,0,start,t0,
1040,0,mark,log_end,
"""


def test_a_chain_three_deep(tell):
    """high runs 13-15 and 28-32; four runs 15-17 and 20-22 at the end of the chain, mid, which has
    no part in it, 17-20; then three 22-25 and two 25-28 give their locks back."""
    found = tell(NESTED.format(deadline=17), task="high")
    assert ledger(found.rows) == {
        ("execution", "high", None): 6,
        ("blocked", "four", "A"): 4,
        ("blocked", "three", "A"): 3,
        ("blocked", "two", "A"): 3,
        ("inversion", "mid", "A"): 3,
    }
    (wait,) = found.waits
    assert chain(wait) == "A<-two, B<-three, C<-four"
    two = wait.holders[0]
    three = two.waits[0].holders[0]
    four = three.waits[0].holders[0]
    assert (two.took_ns, two.gave_ns) == (9_000, 28_000)
    assert (two.waits[0].start_ns, two.waits[0].end_ns) == (11_000, 25_000)
    assert (three.took_ns, three.gave_ns) == (4_000, 25_000)
    assert (three.waits[0].start_ns, three.waits[0].end_ns) == (6_000, 22_000)
    assert (four.took_ns, four.gave_ns, four.waits) == (1_000, 22_000, ())


def test_the_protocol_is_wanted_on_every_lock_of_the_chain_and_sections_by_their_own_lock(tell):
    """19 against 17: each entry alone would suffice."""
    found = tell(NESTED.format(deadline=17), task="high")
    assert {(r.kind, r.subject) for r in found.repairs} == {
        ("protocol", "A"),
        ("section", "four"),
        ("section", "three"),
        ("section", "two"),
    }
    words = {repair.subject: repair.text for repair in found.repairs}
    assert "A, B and C" in words["A"]
    assert "of four on C" in words["four"]


def test_where_no_single_entry_suffices_the_fewest_largest_do(tell):
    """19 against 10: 4 + 3 are 7, 4 + 3 + 3 are 10, of the 9 that are needed."""
    found = tell(NESTED.format(deadline=10), task="high")
    assert [case.early_ns >= 0 for case in found.shorter.alone] == [False] * 4
    assert [part.ns for part in found.shorter.together.parts] == [4_000, 3_000, 3_000]
    assert found.shorter.together.early_ns == 1_000


def test_own_execution_beyond_the_deadline_leaves_one_repair(tell):
    """It executes 6 against a deadline of 5."""
    found = tell(NESTED.format(deadline=5), task="high")
    assert found.shorter.together is None
    assert [repair.kind for repair in found.repairs] == ["own_work"]


DEADLOCK = """\
#tracelens 1
#clock hz=1000000 bits=32
#priority order=higher_first
#task id=t0 name=idle priority=0 idle=yes
#task id=x name=x priority=3 deadline_us=20
#task id=y name=y priority=2
#task id=z name=z priority=1
time,core,event,subject,value
1000,0,start,t0,
1000,0,release,z,
1000,0,start,z,
1001,0,lock,z,C
1002,0,release,y,
1002,0,start,y,
1003,0,lock,y,B
1004,0,release,x,
1004,0,start,x,
1005,0,lock,x,A
1006,0,request,x,B
1006,0,wait,x,B
1006,0,start,y,
1008,0,request,y,C
1008,0,wait,y,C
1008,0,start,z,
1010,0,request,z,A
1010,0,wait,z,A
1010,0,start,t0,
1030,0,mark,log_end,
"""


def test_a_deadlock_of_three(tell):
    """x waits for B of y from 6 on, y for C of z from 8, z for A of x from 10: there it closes."""
    found = tell(DEADLOCK, task="x")
    assert (found.job.status, found.job.late, found.job.length_ns) == ("open", True, 26_000)
    (cycle,) = found.deadlocks
    assert cycle.at_ns == 10_000
    assert set(zip(cycle.tasks, cycle.locks, strict=True)) == {("x", "B"), ("y", "C"), ("z", "A")}
    assert [chain(wait) for wait in found.waits] == ["B<-y, C<-z, A<-x"]
    assert [repair.kind for repair in found.repairs] == ["deadlock"]


TWO_CORES = """\
#tracelens 1
#clock hz=1000000 bits=32
#priority order=higher_first
#task id=i0 name=idle0 priority=0 idle=yes core=0
#task id=i1 name=idle1 priority=0 idle=yes core=1
#task id=h name=high priority=3 deadline_us=12 core=0
#task id=m name=mid priority=2 core=1
#task id=l name=low priority=1 core=1
#lock id=bus name=bus protocol={protocol}
time,core,event,subject,value
1000,0,start,i0,
1000,1,start,i1,
1002,1,release,l,
1002,1,start,l,
1003,1,lock,l,bus
1005,0,release,h,
1005,0,start,h,
1007,0,request,h,bus
1007,0,wait,h,bus
1007,0,start,i0,
1009,1,release,m,
1009,1,start,m,
1015,1,wait,m,delay
1015,1,start,l,
1018,1,unlock,l,bus
1018,0,release,h,l
1019,0,start,h,
1019,0,lock,h,bus
1020,0,unlock,h,bus
1022,0,wait,h,delay
1022,0,start,i0,
1023,1,wait,l,delay
1023,1,start,i1,
1030,0,mark,log_end,
"""


def test_a_lock_whose_holder_is_on_another_core(tell):
    """high runs 5-7 and 19-22 on core 0; on core 1 low runs 7-9 and 15-18, mid between; the kernel
    takes 18-19 to start high."""
    found = tell(TWO_CORES.format(protocol="none"), task="high")
    assert ledger(found.rows) == {
        ("execution", "high", None): 5,
        ("blocked", "low", "bus"): 5,
        ("inversion", "mid", "bus"): 6,
        ("switching", None, None): 1,
    }
    assert [chain(wait) for wait in found.waits] == ["bus<-low"]
    assert {(repair.kind, repair.subject) for repair in found.repairs} == {
        ("protocol", "bus"),
        ("section", "low"),
    }


def test_a_protocol_that_is_declared_already_is_not_advised_again(tell):
    found = tell(TWO_CORES.format(protocol="inherit"), task="high")
    (protocol,) = [repair for repair in found.repairs if repair.kind == "protocol"]
    assert "is declared with `inherit`" in protocol.text
    assert "Create" not in protocol.text


@pytest.mark.parametrize(("deadline", "kinds"), [(17, True), (19, False)])
def test_repairs_are_for_late_jobs_only(tell, deadline, kinds):
    found = tell(NESTED.format(deadline=deadline), task="high")
    assert (bool(found.repairs), found.shorter is not None) == (kinds, kinds)


TWO_WAITS = """\
#tracelens 1
#clock hz=1000000
#priority order=higher_first
#task id=h name=high priority=2
#task id=l name=low priority=1
time,core,event,subject,value
0,0,start,l,
0,0,lock,l,bus
1,0,release,h,
1,0,start,h,
2,0,wait,h,bus
2,0,start,l,
6,0,unlock,l,bus
6,0,release,h,l
6,0,start,h,
6,0,lock,h,bus
7,0,unlock,h,bus
7,0,preempt,h,
7,0,start,l,
7,0,lock,l,bus
7,0,start,h,
8,0,wait,h,bus
8,0,start,l,
9,0,unlock,l,bus
9,0,release,h,l
9,0,start,h,
9,0,lock,h,bus
10,0,wait,h,delay
10,0,start,l,
"""


def test_of_many_waits_the_longest_are_told_and_the_others_counted(tell, monkeypatch):
    """high waits for the bus from 2 to 6 and from 8 to 9."""
    assert tell(TWO_WAITS, task="high").waits_left_out == 0
    monkeypatch.setattr("tracelens.explanation.waits.MOST", 1)
    found = tell(TWO_WAITS, task="high")
    assert [(wait.start_ns, wait.end_ns) for wait in found.waits] == [(2_000, 6_000)]
    assert found.waits_left_out == 1


def test_a_long_job_is_folded_to_its_longest_stretches(tell):
    """low runs for 10, twenty times, and is preempted for 1, 2, .. 20; then it runs for 5.

    Of the 41 stretches the seven longest are the preemptions of 14 to 20. Before them lie 27, and
    a single one after each.
    """
    lines = ["0,0,start,idle,", "0,0,release,l,", "0,0,start,l,"]
    at = 0
    for length in range(1, 21):
        lines += [f"{at + 10},0,release,h,", f"{at + 10},0,start,h,"]
        at += 10 + length
        lines += [f"{at},0,wait,h,delay", f"{at},0,start,l,"]
    head = TWO_WAITS[: TWO_WAITS.index("0,0,start")] + "#task id=idle name=idle idle=yes\n"
    found = tell(head + "\n".join([*lines, f"{at + 5},0,wait,l,delay"]) + "\n", task="low")
    assert found.stretches.height == 41
    told = [(s.doing, s.count, (s.end_ns - s.start_ns) // 1000) for s in found.told]
    assert told[0] == ("several", 27, 14 * 10 + sum(range(1, 14)))
    assert told[1::2] == [("ready", 1, length) for length in range(14, 21)]
    assert told[2::2] == [("runs", 1, 10)] * 6 + [("runs", 1, 5)]

"""The rules for logs as real kernels write them, one small log a rule, read by both readings.

What is asserted was worked by hand; that the fast reading says the same is checked on the way.
Other rules have logs of their own in `micro/` and `bad_logs/`.
"""

from tests.reconstruct.against import both, differences
from tests.reference import Result

HEAD = """#tracelens 1
#clock hz=1000000 bits=16
#priority order=higher_first
#task id=idle name=idle priority=0 idle=yes core=0
#task id=a name=a priority=3 deadline_us=1
#task id=b name=b priority=2 deadline_us=1
#isr id=i name=i
#isr id=k name=k
#queue id=q name=q
"""
EVENTS = "time,core,event,subject,value\n"


def reading(events: str, declared: str = "") -> Result:
    rows = "\n".join(events.split())
    return read(HEAD + declared + EVENTS + rows + "\n")


def read(text: str) -> Result:
    run, result = both(text)
    assert differences(run, result) == []
    return result


def jobs(result: Result, task: str) -> list[tuple[float, float, str]]:
    """(release, end, status) in us."""
    return [(r / 1000, e / 1000, s) for name, r, _, e, s, *_ in result.jobs if name == task]


def occupants(result: Result, core: int) -> list[tuple[float, str]]:
    """(start, who or what) in us."""
    return [(start / 1000, who or kind) for c, start, _, kind, who in result.occupancy if c == core]


def test_a_wrap_and_a_record_late_across_it() -> None:
    result = reading("65530,0,start,idle, 4,0,start,a, 65534,0,release,a, 14,0,wait,a,")
    assert result.document["log"]["duration_us"] == 20
    assert result.document["log"]["boots"] == 1
    assert jobs(result, "a") == [(4, 20, "complete")]


def test_a_record_late_by_more_is_a_restart() -> None:
    result = reading("500,0,start,idle, 600,0,start,a, 100,0,start,idle, 150,0,mark,end,", "")
    assert result.document["log"]["boots"] == 1  # 500 us are within 10 ms
    head = HEAD.replace("bits=16", "bits=16 late_us=20")
    rows = "500,0,start,idle,\n600,0,start,a,\n100,0,start,idle,\n150,0,mark,end,\n"
    result = read(head + EVENTS + rows)
    assert result.document["log"]["boots"] == 2
    assert result.document["log"]["duration_us"] == 150
    assert jobs(result, "a") == [(100, 100, "excluded")]


def test_a_repeated_header_is_a_restart_and_boots_lie_end_to_end() -> None:
    result = read(
        HEAD
        + EVENTS
        + "10,0,start,idle,\n30,0,mark,x,\n"
        + EVENTS
        + "7,0,start,idle,\n9,0,mark,x,\n"
    )
    assert result.document["log"]["boots"] == 2
    assert result.document["log"]["duration_us"] == 22


def test_an_interrupt_that_enters_again_ended_there_and_another_stays() -> None:
    result = reading(
        "0,0,start,idle, 10,0,enter,i, 12,0,enter,k, 15,0,enter,i, 18,0,leave,i, 20,0,leave,k, "
        "30,0,mark,end,"
    )
    assert occupants(result, 0) == [
        (0, "idle"),
        (10, "i"),
        (12, "k"),
        (15, "i"),
        (18, "k"),
        (20, "idle"),
    ]
    assert [(row[0], row[4]) for row in result.isr_runs] == [("i", 2000), ("k", 5000), ("i", 3000)]
    assert len(result.repairs) == 1


def test_a_release_before_its_wait_ends_it_at_once() -> None:
    two = "#core id=1\n#task id=idle1 name=idle1 idle=yes core=1\n"
    result = reading(
        "0,0,start,idle, 0,1,start,idle1, 5,0,release,a, 5,0,start,a, 20,1,release,a, "
        "22,0,wait,a, 25,0,start,a, 30,0,wait,a, 31,0,start,idle,",
        two,
    )
    assert jobs(result, "a") == [(5, 22, "complete"), (22, 30, "complete")]


def test_a_release_of_a_spinner_is_not_one_before_its_wait() -> None:
    two = "#core id=1\n#task id=idle1 name=idle1 idle=yes core=1\n#lock id=m name=m\n"
    result = reading(
        "0,0,start,b, 0,1,start,idle1, 1,0,lock,b,m 2,1,release,a, 2,1,start,a, 4,1,request,a,m "
        "8,0,unlock,b,m 8,0,release,a, 9,1,lock,a,m 11,1,unlock,a,m 15,1,wait,a, "
        "15,1,start,idle1, 20,0,mark,end,",
        two,
    )
    assert jobs(result, "a") == [(2, 15, "complete")]
    assert [(row[3], row[4], row[5], row[6]) for row in result.lock_waits] == [
        (4000, 9000, True, True)
    ]


def test_an_act_while_another_runs_is_a_lost_switch() -> None:
    result = reading(
        "0,0,start,idle, 5,0,release,a, 5,0,start,a, 10,0,mark,x, 16,0,lock,b,m 20,0,unlock,b,m "
        "25,0,start,a, 30,0,wait,a, 31,0,start,idle, 40,0,mark,end,"
    )
    (contradiction,) = result.contradictions
    assert contradiction[1:] == (0, "a", "b", 10000, 16000)
    assert occupants(result, 0)[:4] == [(0, "idle"), (5, "a"), (10, "unknown"), (16, "b")]
    assert jobs(result, "a") == [(5, 30, "excluded")]
    unknown = [row for row in result.states if row[0] == "a" and row[3] == "unknown"]
    assert unknown[-1][1:3] == (10000, 25000)


def test_a_loss_on_one_core_leaves_who_runs_on_the_other() -> None:
    two = "#core id=1\n#task id=idle1 name=idle1 idle=yes core=1\n"
    result = reading(
        "0,0,start,idle, 0,1,start,idle1, 5,0,release,a, 5,0,start,a, 6,1,release,b, "
        "6,1,start,b, 10,0,mark,x, 20,0,lost,,7 24,0,start,idle, 30,1,wait,b, 31,1,start,idle1, "
        "40,0,mark,end,",
        two,
    )
    assert jobs(result, "a")[0][2] == "excluded"
    assert jobs(result, "b") == [(6, 30, "complete")]
    assert occupants(result, 0) == [(0, "idle"), (5, "a"), (10, "unknown"), (24, "idle")]
    assert result.document["log"]["lost_events"] == 7


def test_items_are_unknown_after_a_loss_until_somebody_waits_for_them() -> None:
    result = reading(
        "0,0,start,idle, 2,0,send,i,q 3,0,send,i,q 5,0,mark,x, 9,0,lost,,1 10,0,start,a, "
        "11,0,receive,a,q 12,0,wait,a,q 13,0,start,idle, 14,0,send,i,q 15,0,mark,end,"
    )
    assert result.queue_levels == [
        ("q", 2000, 1),
        ("q", 3000, 2),
        ("q", 5000, None),
        ("q", 12000, 0),
        ("q", 14000, 1),
    ]
    assert result.queue_items == []


def test_a_lock_before_the_unlock_it_follows() -> None:
    two = "#core id=1\n#task id=idle1 name=idle1 idle=yes core=1\n#lock id=m name=m\n"
    result = reading(
        "0,0,start,b, 0,1,start,idle1, 1,0,lock,b,m 2,1,release,a, 2,1,start,a, 4,1,request,a,m "
        "9,1,lock,a,m 10,0,unlock,b,m 12,1,unlock,a,m 20,0,mark,end,",
        two,
    )
    assert [(row[1], row[2], row[3], row[5]) for row in result.holds] == [
        ("b", 1000, 10000, True),
        ("a", 9000, 12000, True),
    ]


def test_a_deadlock_closes_with_the_last_wait() -> None:
    result = reading(
        "0,0,start,b, 1,0,lock,b,m 2,0,release,a, 2,0,start,a, 3,0,lock,a,n 4,0,wait,a,m "
        "5,0,start,b, 7,0,wait,b,n 8,0,start,idle, 20,0,mark,end,"
    )
    assert result.deadlocks == [(7000, ("b", "a"), ("n", "m"))]
    assert result.ledgers["a", 1]["blocked", "b", "m"] == 2000 + 13000


def test_the_counter_stood_still_while_the_core_slept() -> None:
    result = reading("0,0,start,idle, 10,0,sleep,0, 10,0,wake,0,500 12,0,mark,end,")
    assert occupants(result, 0) == [(0, "idle"), (10, "asleep"), (510, "idle")]
    assert result.document["log"]["duration_us"] == 512


def test_several_releases_in_one_handler_in_any_order() -> None:
    result = reading(
        "0,0,start,idle, 5,0,enter,i, 6,0,release,b,i 7,0,release,a,i 9,0,leave,i, 9,0,start,a,"
        " 15,0,wait,a, 15,0,start,b, 20,0,wait,b, 20,0,start,idle, 25,0,mark,end,"
    )
    assert jobs(result, "a") == [(7, 15, "complete")]
    assert jobs(result, "b") == [(6, 20, "complete")]


def test_an_interrupt_between_a_wait_and_the_next_start() -> None:
    result = reading(
        "0,0,start,idle, 5,0,release,a, 5,0,start,a, 10,0,wait,a, 11,0,enter,i, 13,0,leave,i,"
        " 14,0,start,idle, 20,0,mark,end,"
    )
    assert occupants(result, 0) == [
        (0, "idle"), (5, "a"), (10, "switching"), (11, "i"), (13, "switching"), (14, "idle"),
    ]  # fmt: skip


def test_a_start_of_a_waiting_task_implies_its_release() -> None:
    result = reading(
        "0,0,start,a, 5,0,wait,a, 5,0,start,idle, 9,0,start,a, 12,0,wait,a, 12,0,start,idle,"
        " 15,0,mark,end,"
    )
    assert jobs(result, "a") == [(0, 5, "excluded"), (9, 12, "complete")]
    assert [row[5] for row in result.jobs if row[0] == "a"] == [False, True]  # inferred


def test_a_log_that_ends_inside_an_interrupt() -> None:
    result = reading("0,0,start,idle, 5,0,enter,i, 9,0,mark,end,")
    assert occupants(result, 0) == [(0, "idle"), (5, "i")]
    assert [row[2:4] for row in result.isr_runs] == [(5000, 9000)]


def test_a_lock_given_back_by_another() -> None:
    result = reading(
        "0,0,start,b, 2,0,lock,b,m 4,0,release,a, 4,0,start,a, 6,0,unlock,a,m 8,0,wait,a,"
        " 8,0,start,b, 9,0,mark,end,"
    )
    assert [(row[0], row[1], row[2], row[3]) for row in result.holds] == [("m", "b", 2000, 6000)]


def test_an_unlock_without_a_lock_before_says_only_that_it_is_free() -> None:
    result = reading("0,0,unlock,-,m 3,0,start,b, 5,0,lock,b,m 7,0,unlock,b,m 9,0,mark,end,")
    assert [row[2:4] for row in result.holds] == [(5000, 7000)]
    assert not result.contradictions


def test_a_priority_that_is_never_restored_falls_with_the_last_lock() -> None:
    """b keeps 3 in the log, but holds nothing after 6: c, which is above it, is merely deferred."""
    result = reading(
        "0,0,start,idle, 1,0,release,b, 1,0,start,b, 2,0,lock,b,m 3,0,priority,b,3 4,0,release,c,"
        " 6,0,unlock,b,m 9,0,wait,b, 9,0,start,c, 12,0,wait,c, 12,0,start,idle, 15,0,mark,end,",
        "#task id=c name=c priority=3 deadline_us=1\n",
    )
    assert result.ledgers["c", 1] == {
        ("blocked", "b", "m"): 2000,
        ("deferred", "b", None): 3000,
        ("execution", "c", None): 3000,
    }


def test_a_task_that_nobody_declared_has_no_rank() -> None:
    result = reading(
        "0,0,start,idle, 1,0,release,x, 1,0,start,x, 3,0,release,a, 6,0,wait,x, 6,0,start,a,"
        " 9,0,wait,a, 9,0,start,idle, 12,0,mark,end,"
    )
    assert result.ledgers["a", 1] == {
        ("unranked", "x", None): 3000,
        ("execution", "a", None): 3000,
    }


def test_a_queue_that_held_items_before_the_log_began() -> None:
    """Two are taken out and one was put in: its level is unknown until a task waits for it."""
    result = reading(
        "0,0,start,idle, 1,0,start,a, 2,0,receive,a,q 3,0,send,a,q 4,0,receive,a,q 5,0,wait,a,q"
        " 5,0,start,idle, 7,0,send,i,q 7,0,release,a,q 8,0,start,a, 9,0,receive,a,q"
        " 10,0,wait,a,q 10,0,start,idle, 12,0,mark,end,"
    )
    assert result.queue_levels == [
        ("q", 0, None),
        ("q", 5000, 0),
        ("q", 7000, 1),
        ("q", 9000, 0),
    ]
    assert result.queue_items == [("q", 7000, 9000)]


def test_more_is_taken_out_of_a_queue_than_was_put_in() -> None:
    """A send is missing: the level is unknown from there on."""
    result = reading(
        "0,0,start,idle, 1,0,start,a, 2,0,wait,a,q 2,0,start,idle, 3,0,send,i,q 3,0,release,a,q"
        " 4,0,start,a, 5,0,receive,a,q 6,0,receive,a,q 7,0,mark,end,"
    )
    assert result.queue_levels == [("q", 3000, 1), ("q", 5000, 0), ("q", 6000, None)]
    assert [reason for _, reason in result.repairs] == ["more taken out of a queue than was put in"]

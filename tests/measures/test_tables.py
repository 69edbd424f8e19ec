"""The smaller measures, each on a table written by hand; times in ns."""

from tests.frames import assert_columns, assert_table, event_table, table, timeline
from tracelens.measures.cut import cut
from tracelens.measures.interrupts import isrs, masked
from tracelens.measures.ledgers import ledger, ledgers
from tracelens.measures.load import totals
from tracelens.measures.locks import locks
from tracelens.measures.naming import with_name
from tracelens.measures.phases import phases
from tracelens.measures.quality import quality
from tracelens.measures.queues import queues
from tracelens.measures.sleep import sleep
from tracelens.measures.stack import stack
from tracelens.measures.tasks import tasks
from tracelens.model.measured import (
    ISR_SUMMARY,
    LEDGERS,
    LOCK_SUMMARY,
    MASKED,
    PHASES,
    QUEUE_SUMMARY,
    SLEEP,
    TASK_SUMMARY,
)
from tracelens.model.system import Isr, Lock, Queue, System, Task
from tracelens.model.tables import EPISODES, JOBS, MASKS


def test_tasks_most_urgent_first_and_idle_last():
    system = System(
        order="lower_first",
        tasks=(
            Task("t0", "IDLE 0", priority=0),
            Task("t1", "late", priority=7, deadline_ns=50, stack_bytes=200),
            Task("t2", "soon", priority=2),
            Task("t3", "who knows"),
            Task("t4", "told"),
        ),
    )
    run = timeline(
        span_ns=100,
        system=system,
        # told: 5 is its base; the 1 comes while it holds the lock, the 5 at its unlock again.
        events="""
            10,0,priority,t4,5
            25,0,priority,t4,1
            30,0,priority,t4,5
            40,0,stack,t1,50""",
        holds={"lock": ["bus"], "task": ["told"], "start_ns": [20], "end_ns": [30]},
        # late spins for the lock over [60, 80) but has the core only in [60, 70) of it.
        lock_waits={
            "lock": ["bus"],
            "task": ["late"],
            "start_ns": [60],
            "end_ns": [80],
            "spun": [True],
        },
        occupancy={
            "core": [0] * 4,
            "start_ns": [0, 50, 70, 90],
            "end_ns": [50, 70, 90, 100],
            "occupant": ["idle", "task", "isr", "task"],
            "who": [None, "late", "tick", "late"],
        },
        jobs={
            "job_id": [0],
            "task": ["late"],
            "job": [1],
            "release_ns": [40],
            "start_ns": [50],
            "end_ns": [95],
            "status": ["complete"],
            "execution_ns": [15],
            "response_ns": [55],
            "deadline_ns": [50],
            "late": [True],
        },
    )
    assert_table(
        tasks(run, run.lock_waits, totals(run.occupancy), ((0, 100),)),
        TASK_SUMMARY,
        {
            "task": ["soon", "told", "late", "who knows", "IDLE 0"],
            "priority": [2, 5, 7, None, 0],
            "idle": [False] * 4 + [True],
            "load": [0.0, 0.0, 0.3, 0.0, None],
            "execution_ns": [0, 0, 20, 0, None],
            "jobs": [0, 0, 1, 0, 0],
            "response_max_ns": [None, None, 55, None, None],
            "deadline_ns": [None, None, 50, None, None],
            "deadline_misses": [0, 0, 1, 0, 0],
            "longest_miss_run": [0, 0, 1, 0, 0],
            "stack_size_bytes": [None, None, 200, None, None],
            "stack_least_free_bytes": [None, None, 50, None, None],
            "stack_headroom": [None, None, 0.25, None, None],
            "stack_still_falling": [None, None, False, None, None],
        },
    )


def test_a_stack_mark_that_falls_in_the_last_third():
    # Over [0, 90) the last third begins at 60. a falls at 60; b at 59 and repeats; c rises (a task
    # created anew) and falls back to what it had been: no new mark. 'x' is no number.
    run = timeline(
        span_ns=90,
        system=System(tasks=(Task("t1", "a"), Task("t2", "b"))),
        events="""
            0,0,stack,t1,90
            0,0,stack,t2,90
            5,0,stack,c,40
            59,0,stack,t2,80
            60,0,stack,t1,89
            65,0,stack,c,70
            70,0,stack,t2,80
            75,0,stack,c,40
            80,0,stack,t2,x""",
    )
    assert_columns(
        stack(run, ((0, 90),)),
        {
            "task": ["a", "b", "c"],
            "stack_least_free_bytes": [89, 80, 40],
            "stack_still_falling": [True, False, False],
        },
    )


def test_an_id_declared_again_is_another_thing_from_that_line_on():
    things = (
        Task("t1", "first", line=(0, 3)),
        Task("t1", "second", line=(0, 10)),
        Task("t2", "other", line=(0, 4)),
    )
    tokens = ["t1", "t2", "t1", "x"] * 3
    events = event_table("\n".join(f"{t},0,stack,{token},0" for t, token in enumerate(tokens)))
    # Lines 1 to 12; line 1 stands above the first declaration of t1, 11 below the second.
    assert_columns(
        with_name(events, "subject", things),
        {"name": ["first", "other", "first", "x"] * 2 + ["first", "other", "second", "x"]},
    )


def test_lock_statistics_are_of_whole_holds_and_of_all_waits():
    run = timeline(
        span_ns=100,
        system=System(locks=(Lock("m1", "bus", "inherit"), Lock("m2", "spare"))),
        holds={
            "lock": ["bus", "bus", "bus"],
            "task": ["a", "b", "a"],
            "start_ns": [0, 20, 90],
            "end_ns": [10, 35, 100],
            "own_ns": [9, 5, 10],
            "complete": [True, True, False],
        },
        lock_waits={
            "lock": ["bus", "bus"],
            "task": ["b", "a"],
            "start_ns": [5, 30],
            "end_ns": [10, 35],
            "got": [True, False],
        },
    )
    assert_table(
        locks(run),
        LOCK_SUMMARY,
        {
            "lock": ["bus", "spare"],
            "protocol": ["inherit", None],
            "holds": [3, 0],
            "hold_max_ns": [15, None],
            "hold_mean_ns": [12, None],  # 12.5, to even
            "own_max_ns": [9, None],
            "contentions": [2, 0],
            "wait_max_ns": [5, None],
            "wait_total_ns": [10, 0],
        },
    )


QUEUED = timeline(
    span_ns=100,
    system=System(queues=(Queue("q1", "rows", depth=4), Queue("q2", "spare"))),
    events="""
        10,0,send,i1,q1
        20,0,send,i1,q1
        25,0,receive,t1,q1
        40,0,send,i1,q1
        60,0,receive,t1,q1
        70,0,send,t9,undeclared""",
    queue_levels={
        "queue": ["rows"] * 6,
        "at_ns": [0, 10, 20, 25, 40, 60],
        "items": [0, 1, 2, 1, 2, None],
    },
    queue_items={"queue": ["rows", "rows"], "send_ns": [10, 20], "receive_ns": [25, 60]},
)


def test_queue_levels_traffic_and_waits():
    assert_table(
        queues(QUEUED, ((0, 100),)),
        QUEUE_SUMMARY,
        {
            "queue": ["rows", "spare"],
            "depth": [4, None],
            "most_items": [2, None],
            "most_at_ns": [20, None],
            "sends": [3, 0],
            "receives": [2, 0],
            "item_wait_min_ns": [15, None],
            "item_wait_max_ns": [40, None],
        },
    )


def test_a_window_begins_with_what_the_queue_holds():
    # [22, 50): two items from before until 25; one item was both sent and received before 22: none.
    windows = ((22, 50),)
    assert_columns(
        queues(cut(QUEUED, windows), windows),
        {
            "most_items": [2, None],
            "most_at_ns": [22, None],
            "sends": [1, 0],
            "receives": [1, 0],
            "item_wait_max_ns": [None, None],
        },
    )


def test_interrupts_their_own_time_and_latency():
    run = timeline(
        span_ns=100,
        system=System(isrs=(Isr("i1", "tick"), Isr("i2", "edge"), Isr("i3", "never"))),
        # tick [10, 30) with edge [15, 20) nested in it; edge again from 95 to the log's end.
        occupancy={
            "core": [0] * 6,
            "start_ns": [0, 10, 15, 20, 30, 95],
            "end_ns": [10, 15, 20, 30, 95, 100],
            "occupant": ["idle", "isr", "isr", "isr", "idle", "isr"],
            "who": [None, "tick", "edge", "tick", None, "edge"],
        },
        isr_runs={
            "isr": ["tick", "edge", "edge"],
            "start_ns": [10, 15, 95],
            "end_ns": [30, 20, 100],
            "own_ns": [15, 5, 5],
            "pend_ns": [8, 15, None],
            "complete": [True, True, False],
        },
    )
    assert_table(
        isrs(run, totals(run.occupancy)),
        ISR_SUMMARY,
        {
            "isr": ["tick", "edge", "never"],
            "count": [1, 2, 0],
            "load": [0.15, 0.10, 0.0],
            "execution_ns": [15, 10, 0],
            "run_max_ns": [15, 5, None],
            "latency_min_ns": [2, 0, None],
            "latency_max_ns": [2, 0, None],
        },
    )


def test_masking_by_several_at_once_is_one_time():
    masks = table(
        MASKS,
        {
            "core": [0, 0, 0, 1],
            "what": ["irq", "irq", "irq", "sched"],
            "who": ["a", "b", "a", "c"],
            "start_ns": [10, 20, 50, 0],
            "end_ns": [30, 25, 60, 7],
        },
    )
    # [10, 30) holds [20, 25): 20 in all, and 10 more.
    assert_table(
        masked(masks),
        MASKED,
        {
            "core": [0, 1],
            "what": ["irq", "sched"],
            "count": [3, 1],
            "longest_ns": [20, 7],
            "total_ns": [30, 7],
            "longest_who": ["a", "c"],
            "longest_at_ns": [10, 0],
        },
    )


def test_who_woke_a_core():
    # Woken at 20 by tick; at 50 by work, after 2 of switching; at 70 for nobody; at 90 for whom
    # is not known.
    run = timeline(
        span_ns=100,
        occupancy={
            "core": [0] * 11,
            "start_ns": [0, 20, 30, 50, 52, 60, 70, 80, 90, 95, 97],
            "end_ns": [20, 30, 50, 52, 60, 70, 80, 90, 95, 97, 100],
            "occupant": [
                *("asleep", "isr", "asleep", "switching", "task", "asleep", "idle"),
                *("asleep", "unknown", "idle", "asleep"),
            ],
            "who": [None, "tick", None, None, "work", None, None, None, None, None, None],
        },
    )
    assert_table(
        sleep(run, totals(run.occupancy), ((0, 100),)),
        SLEEP,
        {
            "core": [0],
            "asleep_ns": [20 + 20 + 10 + 10 + 3],
            "wakeups": [3],
            "wakeups_per_s": [3e9 / 95],
            "woken_by": [["idle", "tick", "work"]],
            "woken_count": [[1, 1, 1]],
        },
    )


def test_phases_by_their_begins_and_ends():
    # 'warm up' began before the log; 'print' begins again without an end; 'wait' never ends;
    # a mark with a number is no phase.
    log = timeline(
        span_ns=100,
        events="""
            5,0,mark,warm_up,end
            10,0,mark,print,begin
            20,0,mark,print,begin
            30,0,mark,print,end
            40,0,mark,level,7
            90,0,mark,wait,begin""",
    ).log
    assert_table(
        phases(log, 100),
        PHASES,
        {
            "phase": ["warm_up", "print", "print", "wait"],
            "start_ns": [0, 10, 20, 90],
            "end_ns": [5, 20, 30, 100],
        },
    )


def test_the_ledger_of_a_late_job_is_summed_and_adds_up():
    jobs = table(
        JOBS,
        {"job_id": [0, 1], "task": ["a", "b"], "response_ns": [30, 25], "late": [False, True]},
    )
    episodes = table(
        EPISODES,
        {
            "job_id": [1, 0, 1, 1, 1],
            "start_ns": [0, 0, 5, 15, 20],
            "end_ns": [5, 30, 15, 20, 25],
            "entry": ["execution", "execution", "blocked", "execution", "switching"],
            "by": ["b", "a", "a", "b", None],
            "via": [None, None, "bus", None, None],
        },
    )
    expected = {
        "job_id": [1, 1, 1],
        "entry": ["execution", "blocked", "switching"],
        "by": ["b", "a", None],
        "via": [None, "bus", None],
        "ns": [10, 10, 5],
    }
    assert_table(ledgers(jobs, episodes), LEDGERS, expected)
    assert_columns(ledger(0, episodes), {"entry": ["execution"], "ns": [30]})
    assert ledgers(jobs.filter(late=False), episodes).is_empty()


def test_quality_counts_and_coverage():
    run = timeline(
        span_ns=100,
        restarts=(50,),
        lost_events=5,
        events="0,0,mark,x,",
        occupancy={
            "core": [0, 0],
            "start_ns": [0, 90],
            "end_ns": [90, 100],
            "occupant": ["idle", "unknown"],
        },
        contradictions={"line": [3], "ran": ["a"], "acted": ["b"]},
    )
    found = quality(run, totals(run.occupancy))
    assert (found.events, found.boots, found.lost_events) == (1, 2, 5)
    assert (found.contradictions, found.repairs) == (1, 0)
    assert found.coverage == 0.9

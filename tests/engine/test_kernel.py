"""Rules of the machine one by one, on schedules small enough to check by hand.

Round robin: SCHED_RR of IEEE 1003.1 (a task that used its slice goes to the tail, a preempted one
keeps the rest of it). Task transitions: ISO 17356-3. Nesting of handlers and the rest: common
practice.
"""

import polars as pl

from tests.engine.textbook import schedule
from tracelens.engine import Simulated, simulate
from tracelens.formats.taskset_toml import parse_taskset

HIGHER = '[priority]\norder = "higher_first"\n'


def run(text: str, until_us: int = 1_000, seed: int = 0) -> Simulated:
    return simulate(parse_taskset(HIGHER + text), seed=seed, until_ns=until_us * 1_000)


def log(done: Simulated) -> list[str]:
    """The events, without the declarations and the marks of the run's own ends."""
    lines = done.log.decode().splitlines()
    rows = [line for line in lines if line[0].isdigit()]
    return [row for row in rows if "_of_run" not in row]


def test_round_robin_slices():
    done = run(
        """
[policy]
name = "round_robin"
slice_us = 10
[tasks.a]
priority = 1
releases_us = [0]
body = ["run 15"]
[tasks.b]
priority = 1
releases_us = [0]
body = ["run 25"]
[tasks.c]
priority = 1
releases_us = [0]
body = ["run 35"]
"""
    )
    assert schedule(done) == "a0-10 b10-20 c20-30 a30-35 b35-45 c45-55 b55-60 c60-75"


def test_a_preempted_task_keeps_the_rest_of_its_slice():
    done = run(
        """
[policy]
name = "round_robin"
slice_us = 10
[tasks.high]
priority = 2
releases_us = [4]
body = ["run 3"]
[tasks.a]
priority = 1
releases_us = [0]
body = ["run 20"]
[tasks.b]
priority = 1
releases_us = [0]
body = ["run 20"]
"""
    )
    assert schedule(done) == "a0-4 high4-7 a7-13 b13-23 a23-33 b33-43"


def test_switching_takes_its_time_and_the_most_urgent_of_then_is_started():
    done = run(
        """
[kernel]
switch_us = 3
[tasks.high]
priority = 2
releases_us = [12]
body = ["run 5"]
[tasks.low]
priority = 1
releases_us = [10]
body = ["run 5"]
"""
    )
    assert log(done) == [
        "0,0,start,idle,",
        "10,0,activate,low,",
        "10,0,preempt,idle,",
        "12,0,activate,high,",
        "13,0,start,high,",
        "18,0,terminate,high,",
        "21,0,start,low,",
        "26,0,terminate,low,",
        "29,0,start,idle,",
    ]


def test_handlers_nest_by_their_own_urgency():
    done = run(
        """
[isrs.slow]
priority = 1
releases_us = [10, 12]
body = ["run 6"]
[isrs.fast]
priority = 2
releases_us = [13]
body = ["run 2"]
[tasks.a]
priority = 1
releases_us = [0]
body = ["run 20"]
"""
    )
    assert log(done) == [
        "0,0,activate,a,",
        "0,0,start,a,",
        "10,0,enter,slow,",
        "13,0,enter,fast,",
        "15,0,leave,fast,",
        "18,0,leave,slow,",
        "18,0,enter,slow,",
        "24,0,leave,slow,",
        "34,0,terminate,a,",
        "34,0,start,idle,",
    ]
    own = done.truth.isr_runs.select("isr", "own_ns", "pend_ns").rows()
    assert own == [("slow", 6_000, 10_000), ("fast", 2_000, 13_000), ("slow", 6_000, 12_000)]


def test_a_third_request_of_a_handler_is_lost_and_counted():
    done = run(
        """
[isrs.slow]
priority = 1
releases_us = [10, 12, 13]
pend = true
body = ["run 6"]
[tasks.a]
priority = 1
releases_us = [0]
body = ["run 5"]
"""
    )
    assert [row for row in log(done) if "slow" in row] == [
        "10,0,pend,slow,",
        "10,0,enter,slow,",
        "12,0,pend,slow,",
        "13,0,pend,slow,",
        "16,0,leave,slow,",
        "16,0,enter,slow,",
        "22,0,leave,slow,",
    ]
    assert done.truth.lost_requests == {"slow": 1}


QUEUE = """
[queues.rows]
depth = 1
full = "FULL"
[tasks.high]
priority = 2
releases_us = [0]
body = ["run 1", "send rows", "run 1", "send rows", "run 1", "send rows", "run 1"]
[tasks.low]
priority = 1
activation = "rows"
body = ["run 5"]
"""


def test_a_sender_waits_for_room():
    done = run(QUEUE.replace("FULL", "wait"))
    assert log(done) == [
        "0,0,activate,low,",
        "0,0,start,low,",
        "0,0,wait,low,rows",
        "0,0,activate,high,",
        "0,0,start,high,",
        "1,0,send,high,rows",
        "1,0,release,low,high",
        "2,0,wait,high,rows",
        "2,0,start,low,",
        "2,0,receive,low,rows",
        "2,0,release,high,low",
        "2,0,start,high,",
        "2,0,send,high,rows",
        "3,0,wait,high,rows",
        "3,0,start,low,",
        "8,0,receive,low,rows",
        "8,0,release,high,low",
        "8,0,start,high,",
        "8,0,send,high,rows",
        "9,0,terminate,high,",
        "9,0,start,low,",
        "14,0,receive,low,rows",
        "19,0,wait,low,rows",
        "19,0,start,idle,",
    ]
    jobs = done.truth.jobs.filter(pl.col("task") == "low")
    assert (jobs["release_ns"] // 1000).to_list() == [1, 2, 8]
    assert (jobs["end_ns"] // 1000).to_list() == [8, 14, 19]


def test_a_full_queue_may_drop():
    done = run(QUEUE.replace("FULL", "drop"))
    assert [row for row in log(done) if "rows" in row][:4] == [
        "0,0,wait,low,rows",
        "1,0,send,high,rows",
        "2,0,mark,rows_full,",
        "3,0,mark,rows_full,",
    ]
    assert done.truth.dropped == {"rows": 2}


def test_a_late_periodic_task_does_not_sleep_between_two_periods():
    done = run(
        """
[tasks.loop]
priority = 1
period_us = 100
offset_us = 10
deadline_us = 90
most_jobs = 3
body = ["run 130"]
""",
    )
    assert log(done)[3:] == [
        "0,0,start,idle,",
        "10,0,release,loop,",
        "10,0,start,loop,",
        "140,0,start,loop,",
        "270,0,start,loop,",
        "400,0,wait,loop,delay",
        "400,0,start,idle,",
    ]
    rows = done.truth.jobs.select("release_ns", "start_ns", "end_ns", "inferred", "late").rows()
    assert rows == [
        (10_000, 10_000, 140_000, True, True),
        (110_000, 140_000, 270_000, True, True),
        (210_000, 270_000, 400_000, True, True),
    ]


def test_activations_of_a_task_that_has_a_job_are_counted():
    done = run(
        """
[isrs.button]
priority = 1
releases_us = [10, 12]
body = ["run 1", "activate pump"]
[tasks.pump]
priority = 1
activation = "activate"
body = ["run 20"]
"""
    )
    rows = [row for row in log(done) if "pump" in row]
    assert rows == [
        "11,0,activate,pump,",
        "11,0,start,pump,",
        "13,0,activate,pump,",
        "32,0,terminate,pump,",
        "32,0,start,pump,",
        "52,0,terminate,pump,",
    ]


def test_releases_by_time_come_with_the_tick():
    done = run(
        """
[kernel]
tick_us = 50
tick_cost_us = 2
[tasks.a]
priority = 1
period_us = 120
body = ["run 5"]
""",
        until_us=260,
    )
    released = done.events.filter(pl.col("event") == "release")["time_ns"] // 1000
    assert released.to_list() == [2, 152, 252]


ASLEEP = """
[kernel]
sleep = true
wake_us = 7
clock_stops = STOPS
[isrs.knock]
priority = 1
releases_us = [300]
body = ["run 2"]
[tasks.a]
priority = 1
period_us = 200
offset_us = 100
body = ["run 5"]
"""


def test_an_idle_core_sleeps_and_takes_its_time_to_wake():
    done = run(ASLEEP.replace("STOPS", "false"), until_us=400)
    assert log(done)[3:] == [
        "0,0,start,idle,",
        "0,0,sleep,0,",
        "107,0,wake,0,",
        "107,0,release,a,",
        "107,0,start,a,",
        "112,0,wait,a,delay",
        "112,0,start,idle,",
        "112,0,sleep,0,",
        "307,0,wake,0,",
        "307,0,enter,knock,",
        "307,0,release,a,",
        "309,0,leave,knock,",
        "309,0,start,a,",
        "314,0,wait,a,delay",
        "314,0,start,idle,",
        "314,0,sleep,0,",
    ]


def test_a_counter_that_stops_in_sleep_tells_how_long():
    done = run(ASLEEP.replace("STOPS", "true"), until_us=320)
    assert log(done)[4:] == [
        "0,0,sleep,0,",
        "0,0,wake,0,107",
        "0,0,release,a,",
        "0,0,start,a,",
        "5,0,wait,a,delay",
        "5,0,start,idle,",
        "5,0,sleep,0,",
        "5,0,wake,0,195",
        "5,0,enter,knock,",
        "5,0,release,a,",
        "7,0,leave,knock,",
        "7,0,start,a,",
        "12,0,wait,a,delay",
        "12,0,start,idle,",
        "12,0,sleep,0,",
    ]


def test_lower_numbers_may_be_more_urgent():
    text = """
[priority]
order = "lower_first"
[tasks.a]
priority = 7
releases_us = [0]
body = ["run 10"]
[tasks.b]
priority = 3
releases_us = [4]
body = ["run 2"]
"""
    done = simulate(parse_taskset(text), until_ns=20_000)
    assert schedule(done) == "a0-4 b4-6 a6-12"
    assert [task.priority for task in done.declared.tasks if task.idle] == [8]


def test_inheritance_is_transitive():
    done = run(
        """
[locks.x]
protocol = "inherit"
[locks.y]
protocol = "inherit"
[tasks.high]
priority = 9
releases_us = [20]
body = ["run 1", "lock x", "run 1", "unlock x"]
[tasks.middle]
priority = 5
releases_us = [10]
body = ["run 1", "lock x", "run 1", "lock y", "run 1", "unlock y", "unlock x"]
[tasks.low]
priority = 1
releases_us = [0]
body = ["run 1", "lock y", "run 30", "unlock y"]
"""
    )
    events = [row for row in log(done) if "priority" in row]
    assert events == [
        "12,0,priority,low,5",
        "21,0,priority,middle,9",
        "21,0,priority,low,9",
        "34,0,priority,low,1",
        "35,0,priority,middle,5",
    ]
    assert done.truth.inversions.filter(pl.col("victim") == "high")["chain"].to_list() == [
        ["middle", "low"]
    ]


def test_a_lock_taken_twice_is_free_after_the_second_unlock():
    done = run(
        """
[locks.x]
[tasks.a]
priority = 1
releases_us = [0]
body = ["lock x", "run 2", "lock x", "run 2", "unlock x", "run 2", "unlock x"]
[tasks.b]
priority = 2
releases_us = [3]
body = ["run 1", "lock x", "run 1", "unlock x"]
"""
    )
    assert "4,0,wait,b,x" in log(done)
    assert "7,0,lock,b,x" in log(done)  # a ran 0-3 and 4-7


def test_a_waiter_that_was_released_may_be_overtaken():
    """low lets both go on; high is faster and middle has to wait once more."""
    done = run(
        """
[locks.x]
[tasks.high]
priority = 9
releases_us = [12]
body = ["run 1", "lock x", "run 5", "suspend 4", "unlock x", "run 1"]
[tasks.middle]
priority = 5
releases_us = [5]
body = ["run 1", "lock x", "run 2", "unlock x"]
[tasks.low]
priority = 1
releases_us = [0]
body = ["lock x", "run 11", "unlock x", "run 3"]
""",
    )
    rows = [row for row in log(done) if ",x" in row and ("middle" in row or "high" in row)]
    assert rows == [
        "6,0,request,middle,x",
        "6,0,wait,middle,x",
        "13,0,request,high,x",
        "13,0,lock,high,x",
        "18,0,request,middle,x",
        "18,0,wait,middle,x",
        "22,0,unlock,high,x",
        "23,0,lock,middle,x",
        "25,0,unlock,middle,x",
    ]


def test_the_stack_mark_follows_the_work():
    done = run(
        """
[tasks.a]
priority = 1
period_us = 100
stack_bytes = 500
stack_use = 100
stack_per_us = 2
body = ["run 10..60"]
""",
        until_us=2_000,
    )
    marks = [int(row.split(",")[4]) for row in log(done) if ",stack," in row]
    assert marks == sorted(marks, reverse=True)
    longest = done.truth.jobs.filter(pl.col("status") == "complete")["execution_ns"].max()
    assert marks[-1] == 500 - 100 - 2 * longest // 1000


def test_a_pinned_task_stays_and_a_free_one_moves():
    done = run(
        """
[cores.left]
id = 0
[cores.right]
id = 1
[tasks.high]
priority = 3
core = 0
releases_us = [5]
body = ["run 10"]
[tasks.free]
priority = 2
releases_us = [0]
body = ["run 20"]
[tasks.pinned]
priority = 1
core = 1
releases_us = [0]
body = ["run 3"]
"""
    )
    assert schedule(done, 0) == "free0-5 high5-15"
    assert schedule(done, 1) == "pinned0-3 free5-20"

"""Chains of causes, each rule on a run drawn by hand; times in ns."""

from tests.frames import assert_columns, assert_table, timeline
from tracelens.measures.chains import chain_instances, chains
from tracelens.model.measured import CHAIN_INSTANCES, CHAIN_SUMMARY
from tracelens.model.system import Chain, Isr, Queue, System, Task

TASKS = (Task("t1", "select"), Task("t2", "drive"))
ISRS = (Isr("i1", "encoder"), Isr("i2", "other"))
QUEUES = (Queue("q1", "rows"),)


def run_of(*path: str, deadline_ns: int | None = None, **tables):
    chain = Chain("stitch", path, deadline_ns)
    return timeline(
        span_ns=1000,
        system=System(tasks=TASKS, isrs=ISRS, queues=QUEUES, chains=(chain,)),
        **tables,
    )


def jobs(**columns):
    count = len(columns["task"])
    return {"job_id": list(range(count)), "status": ["complete"] * count, **columns}


def found(run, windows=((0, 1000),)):
    return chain_instances(run, windows)


def test_a_release_that_names_its_cause():
    # encoder runs at 10, 110, 210. The release of 12 names it; that of 130 is written late, after
    # the handler; that of 214 names another handler.
    run = run_of(
        "encoder",
        "select",
        deadline_ns=35,
        events="12,0,release,t1,i1\n130,0,release,t1,i1\n214,0,release,t1,i2",
        isr_runs={
            "isr": ["encoder"] * 3,
            "start_ns": [10, 110, 210],
            "end_ns": [20, 120, 220],
            "complete": [True] * 3,
        },
        jobs=jobs(
            task=["select"] * 3,
            release_ns=[12, 130, 214],
            end_ns=[40, 150, 240],
            release_line=[1, 2, 3],
        ),
    )
    instances = found(run)
    assert_table(
        instances,
        CHAIN_INSTANCES,
        {
            "chain": ["stitch", "stitch"],
            "start_ns": [10, 110],
            "end_ns": [40, 150],
            "latency_ns": [30, 40],
            "late": [False, True],
            "stage_ns": [[10, 12], [110, 130]],
        },
    )
    assert_table(
        chains(run, instances),
        CHAIN_SUMMARY,
        {
            "chain": ["stitch"],
            "path": [["encoder", "select"]],
            "instances": [2],
            "latency_min_ns": [30],
            "latency_max_ns": [40],
            "deadline_ns": [35],
            "deadline_misses": [1],
        },
    )
    # An instance belongs to a window that holds both of its ends.
    assert_columns(found(run, ((0, 149),)), {"end_ns": [40]})


def test_a_release_without_a_cause_written_while_the_handler_ran():
    # At 20, the handler's last moment in a coarse clock, it counts; at 15 on the other core not.
    run = run_of(
        "encoder",
        "select",
        events="20,0,release,t1,\n115,1,release,t1,\n300,0,release,t1,",
        isr_runs={
            "isr": ["encoder"] * 2,
            "start_ns": [10, 110],
            "end_ns": [20, 120],
            "complete": [True] * 2,
        },
        jobs=jobs(
            task=["select"] * 3,
            release_ns=[20, 115, 300],
            end_ns=[30, 140, 320],
            release_line=[1, 2, 3],
        ),
    )
    assert_columns(found(run), {"start_ns": [10], "end_ns": [30]})


def test_a_queue_item_leads_to_the_job_that_took_it():
    # select's job of [100, 150) sends at 120 and 130; drive polls: its job of [200, 260) takes the
    # first at 210 and the second at 220, and the first is what counts; the job of [300, 340) takes
    # nothing. So one instance, from 100 to 260.
    run = run_of(
        "select",
        "drive",
        events="""
            120,0,send,t1,q1
            130,0,send,t1,q1
            200,0,release,t2,
            210,0,receive,t2,q1
            220,0,receive,t2,q1
            300,0,release,t2,""",
        queue_items={"queue": ["rows"] * 2, "send_ns": [120, 130], "receive_ns": [210, 220]},
        jobs=jobs(
            task=["select", "drive", "drive"],
            release_ns=[100, 200, 300],
            end_ns=[150, 260, 340],
            release_line=[0, 3, 6],
            end_line=[0, 0, 0],
        ),
    )
    assert_columns(found(run), {"start_ns": [100], "end_ns": [260], "stage_ns": [[100, 200]]})


def test_a_job_that_begins_at_a_send_and_ends_at_the_next_receive():
    # drive is activated by the queue: jobs begin at the sends (30, 60) by select's jobs [10, 40)
    # and [50, 70), and end at the receive of the next (80) and the wait (95).
    run = run_of(
        "select",
        "drive",
        events="""
            30,0,send,t1,q1
            40,0,wait,t1,delay
            60,0,send,t1,q1
            65,0,receive,t2,q1
            70,0,wait,t1,delay
            80,0,receive,t2,q1
            95,0,wait,t2,q1""",
        queue_items={"queue": ["rows"] * 2, "send_ns": [30, 60], "receive_ns": [65, 80]},
        jobs=jobs(
            task=["select", "select", "drive", "drive"],
            release_ns=[10, 50, 30, 60],
            end_ns=[40, 70, 80, 95],
            release_line=[0, 0, 1, 3],
            end_line=[2, 5, 6, 7],
        ),
    )
    assert_columns(found(run), {"start_ns": [10, 50], "end_ns": [80, 95]})


def test_in_one_tick_the_order_of_the_lines_decides():
    # select sends in the tick in which its job ends (30): the send stands above the wait, so it is
    # the job's own. In the tick 60 the next job's send stands below the end of the one before.
    run = run_of(
        "select",
        "drive",
        events="""
            30,0,send,t1,q1
            30,0,wait,t1,delay
            60,0,receive,t1,other
            60,0,send,t1,q1""",
        jobs=jobs(
            task=["select"] * 3 + ["drive"] * 2,
            release_ns=[10, 35, 50, 30, 60],
            end_ns=[30, 60, 90, 45, 95],
            release_line=[0, 0, 0, 1, 4],
            end_line=[2, 3, 0, 0, 0],
        ),
    )
    assert_columns(found(run), {"start_ns": [10, 50], "end_ns": [45, 95]})


def test_marks_lead_by_order_of_time_and_count_once():
    # encoder at 10, 110, 210; the mark 'needle' at 15, 17 and 115. 17 follows the same run as 15,
    # which is its effect already; the run of 210 has no mark.
    run = run_of(
        "encoder",
        "needle",
        events="15,0,mark,needle,1\n17,0,mark,needle,2\n115,0,mark,needle,3",
        isr_runs={
            "isr": ["encoder"] * 3,
            "start_ns": [10, 110, 210],
            "end_ns": [12, 112, 212],
            "complete": [True] * 3,
        },
    )
    assert_columns(found(run), {"start_ns": [10, 110], "end_ns": [15, 115]})


def test_three_stages_and_what_is_not_complete():
    # encoder 10 → select [12, 40) → drive [35, 60): 50. The second passage ends in an open job, the
    # third goes through an excluded one.
    run = run_of(
        "encoder",
        "select",
        "drive",
        events="""
            12,0,release,t1,i1
            35,0,release,t2,t1
            112,0,release,t1,i1
            135,0,release,t2,t1
            212,0,release,t1,i1
            235,0,release,t2,t1""",
        isr_runs={
            "isr": ["encoder"] * 3,
            "start_ns": [10, 110, 210],
            "end_ns": [12, 112, 212],
            "complete": [True] * 3,
        },
        jobs=jobs(
            task=["select"] * 3 + ["drive"] * 3,
            release_ns=[12, 112, 212, 35, 135, 235],
            end_ns=[40, 140, 240, 60, 1000, 260],
            status=["complete", "complete", "excluded", "complete", "open", "complete"],
            release_line=[1, 3, 5, 2, 4, 6],
            end_line=[90] * 6,
        ),
    )
    # drive's job of 235 names select, whose excluded job is no stage; the last one that had begun
    # is that of [112, 140), completed long before: it did not write that record.
    assert_columns(found(run), {"start_ns": [10], "end_ns": [60], "stage_ns": [[10, 12, 35]]})


def test_a_path_that_nothing_in_the_log_follows():
    run = run_of("encoder", "never heard of")
    assert found(run).is_empty()
    assert_columns(chains(run, found(run)), {"instances": [0], "deadline_misses": [0]})

"""Measures over a window or a phase; times in ns."""

import pytest

from tests.frames import assert_columns, timeline
from tracelens.analysis import analyse
from tracelens.errors import UsageError
from tracelens.measures.cut import cut
from tracelens.model.system import System, Task

# work runs [10, 20), [30, 45) and [60, 70), a job each: [10, 20), [28, 45), [58, 70).
RUN = timeline(
    span_ns=100,
    system=System(tasks=(Task("t1", "work", deadline_ns=11),)),
    events="25,0,mark,print,begin\n50,0,mark,print,end\n55,0,mark,print,begin\n75,0,mark,print,end",
    occupancy={
        "core": [0] * 7,
        "start_ns": [0, 10, 20, 30, 45, 60, 70],
        "end_ns": [10, 20, 30, 45, 60, 70, 100],
        "occupant": ["idle", "task", "idle", "task", "idle", "task", "idle"],
        "who": [None, "work", None, "work", None, "work", None],
    },
    jobs={
        "job_id": [0, 1, 2],
        "task": ["work"] * 3,
        "job": [1, 2, 3],
        "release_ns": [10, 28, 58],
        "start_ns": [10, 30, 60],
        "end_ns": [20, 45, 70],
        "status": ["complete"] * 3,
        "response_ns": [10, 17, 12],
        "deadline_ns": [11] * 3,
        "late": [False, True, True],
    },
    episodes={
        "job_id": [0, 1, 1, 2, 2],
        "start_ns": [10, 28, 30, 58, 60],
        "end_ns": [20, 30, 45, 60, 70],
        "entry": ["execution", "switching", "execution", "switching", "execution"],
    },
)


def test_the_whole_run():
    analysis = analyse(RUN)
    assert analysis.window == (0, 100)
    assert analysis.timeline.jobs is RUN.jobs
    assert_columns(analysis.cores, {"load": [0.35], "peak_window_ns": [100], "peak_load": [0.35]})
    assert_columns(analysis.tasks, {"jobs": [3], "deadline_misses": [2], "longest_miss_run": [2]})
    assert_columns(analysis.ledgers, {"job_id": [1, 1, 2, 2], "ns": [15, 2, 10, 2]})
    assert_columns(
        analysis.phases, {"phase": ["print"] * 2, "start_ns": [25, 55], "end_ns": [50, 75]}
    )


def test_a_window_cuts_time_and_takes_whole_jobs_only():
    # [15, 46): busy [15, 20) and [30, 45), 20 of 31. Job 1 began before it; job 2 lies inside.
    analysis = analyse(RUN, window=(15, 46))
    assert analysis.window == (15, 46)
    assert_columns(analysis.cores, {"load": [20 / 31], "peak_window_ns": [31]})
    assert_columns(analysis.tasks, {"jobs": [1], "deadline_misses": [1], "response_max_ns": [17]})
    assert_columns(analysis.ledgers, {"job_id": [1, 1]})
    assert analysis.quality.coverage == 1


def test_a_phase_is_all_its_occurrences_together():
    # [25, 50) and [55, 75): busy [30, 45) and [60, 70), 25 of 45; jobs 2 and 3. The longest
    # occurrence is 25 ns: in [25, 50) and in no other window of 25 is more known.
    analysis = analyse(RUN, phase="print")
    assert analysis.window == (25, 75)
    assert_columns(analysis.cores, {"load": [25 / 45], "peak_window_ns": [25]})
    assert_columns(analysis.tasks, {"jobs": [2], "deadline_misses": [2]})


def test_a_phase_within_a_window():
    analysis = analyse(RUN, window=(50, 100), phase="print")
    assert analysis.window == (55, 75)
    assert_columns(analysis.tasks, {"jobs": [1]})


@pytest.mark.parametrize("window", [(-1, 50), (50, 50), (60, 50), (0, 101)])
def test_a_window_outside_the_run(window):
    with pytest.raises(UsageError, match=r"no such time in this run: found .*, expected"):
        analyse(RUN, window=window)


def test_a_phase_that_is_not_marked():
    with pytest.raises(UsageError, match=r"found scan, expected one that the log marks \(print\)"):
        analyse(RUN, phase="scan")
    with pytest.raises(UsageError, match="phase print does not occur in the window"):
        analyse(RUN, window=(0, 25), phase="print")


def test_an_empty_log_is_analysed_too():
    analysis = analyse(timeline(span_ns=0))
    assert analysis.cores.is_empty()
    assert analysis.tasks.is_empty()


def test_occupancy_comes_out_by_core():
    run = timeline(
        span_ns=20,
        occupancy={
            "core": [0, 1, 1, 0],
            "start_ns": [0, 0, 5, 10],
            "end_ns": [10, 5, 20, 20],
            "occupant": ["idle"] * 4,
        },
    )
    whole, half = cut(run, ((0, 20),)), cut(run, ((4, 12),))
    assert_columns(whole.occupancy, {"core": [0, 0, 1, 1], "start_ns": [0, 10, 0, 5]})
    assert_columns(half.occupancy, {"core": [0, 0, 1, 1], "end_ns": [10, 12, 5, 12]})


def test_spinning_that_the_window_cuts_is_not_execution():
    # work has the core in [0, 60) and spins in [10, 50): 10 of the [40, 60) that are looked at.
    run = timeline(
        span_ns=60,
        system=System(tasks=(Task("t1", "work"),)),
        occupancy={
            "core": [0],
            "start_ns": [0],
            "end_ns": [60],
            "occupant": ["task"],
            "who": ["work"],
        },
        lock_waits={
            "lock": ["bus"],
            "task": ["work"],
            "start_ns": [10],
            "end_ns": [50],
            "spun": [True],
        },
    )
    assert_columns(analyse(run).tasks, {"execution_ns": [20]})
    assert_columns(analyse(run, window=(40, 60)).tasks, {"execution_ns": [10]})

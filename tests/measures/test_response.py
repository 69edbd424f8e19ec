"""Job statistics, percentiles, jitter and runs of misses."""

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.frames import assert_columns, table
from tracelens.measures.contract import nearest_rank
from tracelens.measures.misses import miss_patterns
from tracelens.measures.response import job_statistics, release_jitter
from tracelens.model.system import System, Task
from tracelens.model.tables import JOBS


@pytest.mark.parametrize(
    ("values", "percent", "expected"),
    [
        # Hyndman and Fan, "Sample Quantiles in Statistical Packages", The American Statistician
        # 50(4), 1996: type 1. The values of the first five are a worked example of the nearest-rank
        # method that is widely reprinted (from memory); 9 and 99 follow from the definition.
        ([15, 20, 35, 40, 50], 5, 15),
        ([15, 20, 35, 40, 50], 30, 20),
        ([15, 20, 35, 40, 50], 40, 20),
        ([15, 20, 35, 40, 50], 50, 35),
        ([15, 20, 35, 40, 50], 100, 50),
        (list(range(1, 11)), 90, 9),
        (list(range(1, 101)), 99, 99),
    ],
)
def test_published_percentiles(values, percent, expected):
    assert pl.DataFrame({"x": values}).select(nearest_rank("x", percent)).item() == expected


@given(st.lists(st.integers(0, 2**52), min_size=1, max_size=300), st.sampled_from((50, 95, 99)))
def test_percentiles_are_those_of_numpy(values, percent):
    found = pl.DataFrame({"x": values}).select(nearest_rank("x", percent)).item()
    assert found == np.percentile(values, percent, method="inverted_cdf")


def test_statistics_are_of_complete_jobs_only():
    jobs = table(
        JOBS,
        {
            "job_id": [0, 1, 2, 3, 4, 5],
            "task": ["a"] * 5 + ["b"],
            "job": [1, 2, 3, 4, 5, 1],
            "release_ns": [0, 100, 200, 300, 400, 50],
            "start_ns": [5, 100, 203, 310, None, None],
            "end_ns": [40, 160, 260, 390, 500, 80],
            "status": ["complete", "complete", "complete", "excluded", "open", "aborted"],
            "inferred": [False, True, False, True, False, False],
            "hidden": [0, 2, 1, 7, 0, 0],
            "execution_ns": [30, 40, 51, 80, 0, 0],
            "response_ns": [40, 60, 60, None, 100, None],
        },
    )
    # a: responses 40, 60, 60, mean 53.3; latencies 5, 0, 3; executions 30, 40, 51, mean 40.3.
    # The 60 of job 2 is the first of the longest.
    assert_columns(
        job_statistics(jobs),
        {
            "task": ["a", "b"],
            "jobs": [3, 0],
            "jobs_open": [1, 0],
            "jobs_excluded": [1, 0],
            "jobs_aborted": [0, 1],
            "jobs_inferred": [1, 0],
            "hidden": [3, 0],
            "response_min_ns": [40, None],
            "response_mean_ns": [53, None],
            "response_p50_ns": [60, None],
            "response_p99_ns": [60, None],
            "response_max_ns": [60, None],
            "start_latency_min_ns": [0, None],
            "start_latency_p50_ns": [3, None],
            "start_latency_max_ns": [5, None],
            "job_execution_min_ns": [30, None],
            "job_execution_mean_ns": [40, None],
            "job_execution_max_ns": [51, None],
            "worst_job_id": [1, None],
        },
    )


def jobs_released_at(releases: dict[str, list[int]], **more: list) -> pl.DataFrame:
    count = sum(map(len, releases.values()))
    return table(
        JOBS,
        {
            "job_id": list(range(count)),
            "task": [task for task, times in releases.items() for _ in times],
            "job": [n for times in releases.values() for n in range(1, len(times) + 1)],
            "release_ns": [t for times in releases.values() for t in times],
            "status": ["complete"] * count,
            **more,
        },
    )


PERIODIC = System(tasks=(Task("t1", "a", period_ns=100), Task("t2", "b", period_ns=1000)))


def test_jitter_is_largest_minus_smallest_distance_from_the_grid():
    # a: grid 0, 100, …; distances 3, −2 (98), 10 (310; one release is missing), 0. b: 7, then 0.
    # c has no period.
    jobs = jobs_released_at({"a": [3, 98, 310, 400], "b": [7, 1000], "c": [0, 50]})
    assert_columns(
        release_jitter(jobs, PERIODIC), {"task": ["a", "b"], "release_jitter_ns": [12, 7]}
    )


def test_jitter_leaves_out_inferred_and_unjudged_releases():
    jobs = jobs_released_at(
        {"a": [0, 149, 200, 345]},
        inferred=[False, True, False, False],
        status=["complete", "complete", "complete", "excluded"],
    )
    assert_columns(release_jitter(jobs, PERIODIC), {"release_jitter_ns": [0]})


def test_a_restart_begins_a_new_grid():
    # Boot 1: 0, 105: jitter 5. Boot 2 from 150 on: 160, 262, 359: distances 0, 2, −1: 3.
    jobs = jobs_released_at({"a": [0, 105, 160, 262, 359]})
    assert_columns(release_jitter(jobs, PERIODIC, restarts=(150,)), {"release_jitter_ns": [5]})


@given(st.lists(st.integers(-49, 50), min_size=1, max_size=30), st.integers(0, 99))
def test_jitter_finds_the_spread_that_was_put_in(offsets, phase):
    # From a grid with any phase; steps of less than half a period between neighbours.
    distance = np.clip(np.cumsum(np.array(offsets) // 4), -(10**6), 10**6)
    releases = 10**7 + phase + 100 * np.arange(len(offsets)) + distance
    jobs = jobs_released_at({"a": releases.tolist()})
    spread = int(distance.max() - distance.min())
    assert_columns(release_jitter(jobs, PERIODIC), {"release_jitter_ns": [spread]})


@given(st.lists(st.lists(st.booleans(), min_size=1, max_size=40), min_size=1, max_size=4))
def test_miss_patterns_are_those_of_counting(verdicts):
    tasks = {f"task{i}": late for i, late in enumerate(verdicts)}
    jobs = jobs_released_at(
        {task: list(range(len(late))) for task, late in tasks.items()},
        late=[verdict for late in verdicts for verdict in late],
    )
    found = {row["task"]: row for row in miss_patterns(jobs).to_dicts()}
    for task, late in tasks.items():
        if not any(late):
            assert task not in found
            continue
        marks = "".join("x" if verdict else "." for verdict in late)
        assert found[task] == {
            "task": task,
            "deadline_misses": marks.count("x"),
            "longest_miss_run": max(map(len, marks.split("."))),
            "worst_10": max(marks[i : i + 10].count("x") for i in range(len(marks))),
        }


def test_an_excluded_job_ends_a_run_of_misses():
    # Jobs 1 and 2 late, 3 excluded, 4 late: the run is 2, though nobody saw job 3 in time.
    jobs = jobs_released_at(
        {"a": [0, 1, 2, 3]},
        late=[True, True, False, True],
        status=["complete", "complete", "excluded", "complete"],
    )
    assert_columns(miss_patterns(jobs), {"longest_miss_run": [2], "worst_10": [3]})

"""What is taken from a run: every number against the run's own report."""

from dataclasses import replace

import numpy as np
import pytest

from tests.frames import timeline
from tracelens.analysis import analyse
from tracelens.comparison.observed import WINDOWS, observe
from tracelens.engine import simulate
from tracelens.formats.taskset_toml import read_taskset
from tracelens.model.system import Clock, System, Task
from tracelens.reading import read


@pytest.fixture(scope="module", params=["knitting_inversion", "knitting_two_cores"])
def both(request):
    analysis = analyse(read(f"sample_traces/{request.param}.csv"))
    return analysis, observe(analysis, "run.csv")


def test_times_and_counts_are_those_of_the_report(both):
    analysis, seen = both
    for row in analysis.tasks.filter(~analysis.tasks["idle"]).to_dicts():
        task = row["task"]
        assert len(seen.response[task]) == row["jobs"]
        assert round(seen.response[task].mean()) == row["response_mean_ns"]
        assert seen.response[task].max() == seen.single["longest_response", task]
        assert round(seen.execution[task].mean()) == row["job_execution_mean_ns"]
        assert seen.series["misses", task].sum() == row["deadline_misses"]
        assert seen.single["stack", task] == row["stack_least_free_bytes"]
        assert seen.series["load", task].mean() == pytest.approx(row["load"], rel=1e-3)
    for row in analysis.isrs.to_dicts():
        assert seen.series["execution", row["isr"]].mean() == pytest.approx(
            row["run_mean_ns"], abs=1
        )
        assert seen.series["load", row["isr"]].mean() == pytest.approx(row["load"], rel=1e-3)
    for row in analysis.cores.to_dicts():
        assert seen.series["load", f"core {row['core']}"].mean() == pytest.approx(
            row["load"], rel=1e-3
        )


def test_inversions_add_up(both):
    analysis, seen = both
    run = analysis.timeline
    held = run.inversions.with_columns(ns=run.inversions["end_ns"] - run.inversions["start_ns"])
    for (victim,), rows in held.group_by("victim"):
        for quantity, column in (("inversion", "ns"), ("unbounded_inversion", "third_party_ns")):
            share = seen.series[quantity, victim]
            assert len(share) == WINDOWS
            assert share.mean() * run.span_ns == pytest.approx(rows[column].sum(), rel=1e-3)


def test_sections_are_the_own_execution_in_holds(both):
    analysis, seen = both
    holds = analysis.timeline.holds.filter("complete")
    assert sum(len(s) for (name, _), s in seen.series.items() if name == "section") == holds.height
    longest = max(s.max() for (name, _), s in seen.series.items() if name == "section")
    assert longest == holds["own_ns"].max()


def test_idle_tasks_are_no_subject(both):
    _, seen = both
    subjects = {subject for _, subject in (*seen.series, *seen.single)} | seen.ran
    assert not any(name.startswith("idle") for name in subjects)
    assert {"needle_select", "carriage_encoder"} <= seen.ran
    assert not any(name.startswith("core") for name in seen.ran)


def test_a_window_takes_only_what_is_in_it():
    analysis = analyse(read("sample_traces/knitting_inversion.csv"), window=(0, 100_000_000))
    seen = observe(analysis, "run.csv")
    assert len(seen.response["needle_select"]) == 50
    assert seen.setup.span_ns == 100_000_000


def test_a_late_job_that_is_open_counts_as_missed():
    """One job complete and in time, one open and late: half of them missed."""
    run = timeline(
        span_ns=100,
        system=System(clocks=(Clock(1_000_000_000),), tasks=(Task("t1", "work", deadline_ns=20),)),
        events="0,0,mark,x,",
        jobs={
            "job_id": [0, 1],
            "task": ["work", "work"],
            "job": [1, 2],
            "release_ns": [0, 50],
            "start_ns": [0, 50],
            "end_ns": [10, 100],
            "status": ["complete", "open"],
            "deadline_ns": [20, 20],
            "response_ns": [10, 50],
            "late": [False, True],
        },
        occupancy={
            "core": [0],
            "start_ns": [0],
            "end_ns": [100],
            "occupant": ["task"],
            "who": ["work"],
        },
    )
    seen = observe(analyse(run), "run.csv")
    assert seen.series["misses", "work"].tolist() == [0.0, 1.0]
    assert seen.response["work"].tolist() == [10]


def test_the_same_jobs_are_recognised(tmp_path):
    taskset = read_taskset("sample_traces/knitting_healthy.toml")
    seen = []
    for seed in (1, 1, 2):
        log = tmp_path / f"{len(seen)}.csv"
        log.write_bytes(simulate(taskset, seed=seed, until_ns=60_000_000).log)
        seen.append(observe(analyse(read(log)), log.name))
    assert seen[0].same_jobs(seen[1])
    assert not seen[0].same_jobs(seen[2])
    assert not replace(seen[0], response={}).same_jobs(replace(seen[0], response={}))


def test_series_are_finite(both):
    _, seen = both
    assert all(np.isfinite(values).all() for values in seen.series.values())

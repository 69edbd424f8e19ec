"""Small logs worked by hand: what must come out of each stands beside it."""

import json
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from tests.reconstruct.against import inversion_rows
from tracelens.log import read
from tracelens.model.results import Timeline
from tracelens.reconstruct import reconstruct

MICRO = Path(__file__).parent.parent / "micro"
LOGS = sorted(path.stem for path in MICRO.glob("*.csv"))


@pytest.fixture(params=LOGS)
def worked(request: pytest.FixtureRequest) -> tuple[Timeline, dict[str, Any]]:
    """A small log, reconstructed, and what must come out."""
    path = MICRO / f"{request.param}.csv"
    expected = json.loads(path.with_suffix(".expect.json").read_text())
    return reconstruct(read(path)), expected


def test_there_are_worked_logs() -> None:
    assert len(LOGS) >= 24


def test_every_late_job_and_every_entry_of_its_ledger(
    worked: tuple[Timeline, dict[str, Any]],
) -> None:
    run, expected = worked
    summed = run.episodes.group_by("job_id", "entry", "by", "via").agg(
        ((pl.col("end_ns") - pl.col("start_ns")).sum() / 1000).alias("us")
    )
    late = run.jobs.filter("late").sort("release_ns")
    found = [
        {
            "task": job["task"],
            "release_us": job["release_ns"] / 1000,
            "response_us": job["response_ns"] / 1000,
            "ledger": _sorted(summed.filter(pl.col("job_id") == job["job_id"]).drop("job_id")),
        }
        for job in late.to_dicts()
    ]
    wanted = [
        {**miss, "ledger": _sorted(pl.DataFrame(miss["ledger"]))} for miss in expected["misses"]
    ]
    assert found == wanted


def _sorted(ledger: pl.DataFrame) -> list[tuple[Any, ...]]:
    return sorted(
        ((str(e), by, via, float(us)) for e, by, via, us in ledger.rows()),
        key=lambda row: (row[0], row[1] or "", row[2] or ""),
    )


def test_inversions(worked: tuple[Timeline, dict[str, Any]]) -> None:
    run, expected = worked
    found = [
        {
            "kind": kind,
            "victim": victim,
            "lock": lock,
            "chain": list(chain),
            "start_us": start / 1000,
            "duration_us": (end - start) / 1000,
            "holder_us": holder / 1000,
            "third_party_us": third / 1000,
            "raised": raised,
        }
        for kind, victim, lock, chain, start, end, holder, third, raised, _ in inversion_rows(run)
    ]
    assert len(found) == len(expected["inversions"])
    for one, wanted in zip(found, expected["inversions"], strict=True):
        assert {key: one[key] for key in wanted} == wanted


def test_loads_and_coverage(worked: tuple[Timeline, dict[str, Any]]) -> None:
    run, expected = worked
    spent = run.occupancy.group_by("core").agg(
        *(
            (pl.col("end_ns") - pl.col("start_ns"))
            .filter(pl.col("occupant").is_in(kinds))
            .sum()
            .alias(name)
            for name, kinds in (("free", ["idle", "asleep"]), ("unknown", ["unknown"]))
        )
    )
    of_core = {row["core"]: row for row in spent.to_dicts()}
    for core in expected["cores"]:
        known = run.span_ns - of_core[core["id"]]["unknown"]
        assert 1 - of_core[core["id"]]["free"] / known == pytest.approx(core["load"], abs=1e-6)
    if "coverage" in expected.get("log", {}):
        unknown = spent["unknown"].sum() / (run.span_ns * spent.height)
        assert 1 - unknown == pytest.approx(expected["log"]["coverage"], abs=1e-6)


def test_counts(worked: tuple[Timeline, dict[str, Any]]) -> None:
    run, expected = worked
    for name, wanted in expected["tasks"].items():
        status = run.jobs.filter(pl.col("task") == name)["status"]
        if "jobs" in wanted:
            assert (status == "complete").sum() == wanted["jobs"]
        if "jobs_excluded" in wanted:
            assert (status == "excluded").sum() == wanted["jobs_excluded"]
    log = expected.get("log", {})
    assert run.lost_events == log.get("lost_events", run.lost_events)
    assert run.contradictions.height == log.get("contradictions", run.contradictions.height)

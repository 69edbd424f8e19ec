"""The jobs that a change moves, against an obvious loop over the jobs of three runs."""

import pytest

from tests.replay.again import SAMPLES
from tracelens.reading import read
from tracelens.replay import Change, Prediction, moved, prepare


@pytest.fixture(scope="module")
def replayer():
    return prepare(read(SAMPLES / "knitting_inversion.csv"))


def one_by_one(told: Prediction) -> dict[tuple[str, int], int | None]:
    """By how much each job is moved that is."""
    recorded, base, then = (
        {
            (str(job["task"]), job["job"]): job["response_ns"]
            for job in run.jobs.to_dicts()
            if job["status"] == "complete"
        }
        for run in (told.recorded, told.unchanged, told.predicted)
    )
    found: dict[tuple[str, int], int | None] = {}
    for job in recorded:
        if job in base and job not in then:
            found[job] = None
        elif job in base and abs(then[job] - base[job]) > told.fidelity.tolerance_ns:
            found[job] = then[job] - base[job]
    return found


@pytest.mark.parametrize(
    "changes",
    [
        [Change("protocol", "flash_bus", protocol="inherit")],
        [Change("priority", "archive", value=3)],
        [Change("clock", factor=0.5)],
        [Change("without", "panel")],
    ],
)
def test_moved_jobs(replayer, changes) -> None:
    told = replayer.predict(changes)
    found = moved(told)
    keys = zip(found["task"], found["job"], strict=True)
    assert dict(zip(keys, found["by_ns"], strict=True)) == one_by_one(told)
    sizes = found["by_ns"].abs().drop_nulls().to_list()
    assert sizes == sorted(sizes, reverse=True)
    assert sizes


def test_nothing_moves_without_a_change(replayer) -> None:
    assert moved(replayer.predict()).is_empty()

"""Which job is explained, and what is said where there is none."""

import pytest

from tests.explanation.telling import SAMPLES
from tracelens.errors import UsageError
from tracelens.explanation import find_job
from tracelens.reading import read


@pytest.fixture(scope="module")
def inversion():
    """Late are needle_select 21, 22, 318 and 319; the worst is 21."""
    return read(SAMPLES / "knitting_inversion.csv")


@pytest.mark.parametrize(
    ("which", "task", "number"),
    [
        ({}, "needle_select", 21),
        ({"miss": 1}, "needle_select", 21),
        ({"miss": 2}, "needle_select", 22),
        ({"miss": 3}, "needle_select", 318),
        ({"task": "needle_select", "miss": 4}, "needle_select", 319),
        ({"task": "needle_select", "number": 1}, "needle_select", 1),
        ({"task": "archive", "number": 2}, "archive", 2),
    ],
)
def test_the_job_that_is_asked_for(inversion, which, task, number):
    row = inversion.jobs.row(find_job(inversion, **which), named=True)
    assert (row["task"], row["job"]) == (task, number)


def test_without_late_jobs_it_is_the_longest_response(inversion):
    row = inversion.jobs.row(find_job(inversion, task="panel"), named=True)
    panel = inversion.jobs.filter(inversion.jobs["task"] == "panel")
    assert row["response_ns"] == panel["response_ns"].max()


@pytest.mark.parametrize(
    ("which", "says", "hint"),
    [
        ({"task": "needle_selekt"}, "no such task: found 'needle_selekt'", "needle_select"),
        ({"task": "xyzzy"}, "no such task", "panel"),
        ({"task": "needle_select", "number": 0}, "found job 0 of needle_select, expected 1", ""),
        ({"task": "archive", "number": 31}, "found job 31 of archive, expected 1 to 30", ""),
        ({"number": 3}, "tasks with jobs, expected --task", "counts within its task"),
        ({"miss": 5}, "found --miss 5, expected 1 to 4", "order of release"),
        ({"miss": 0}, "found --miss 0, expected 1 to 4", ""),
        ({"task": "panel", "miss": 1}, "of panel: found --miss 1, expected none", ""),
    ],
)
def test_what_there_is_not(inversion, which, says, hint):
    with pytest.raises(UsageError) as refused:
        find_job(inversion, **which)
    assert says in str(refused.value)
    assert hint in (refused.value.hint or "")
    assert "\n" not in str(refused.value)


def test_a_log_without_jobs(tmp_path):
    file = tmp_path / "run.csv"
    file.write_text("#tracelens 1\n#clock hz=1000\ntime,core,event,subject,value\n1,0,mark,a,\n")
    with pytest.raises(UsageError, match="nothing to explain"):
        find_job(read(file))

"""Many logs to rows: what is in them, and that it does not depend on how many processes worked."""

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import polars as pl
import pytest

from tests.batch.runs import BAD, ROOT, dies_of_the_empty_log, jobs, logs, same, threads
from tracelens.analysis import analyse
from tracelens.batch import local
from tracelens.batch.results import collect, prepare, write
from tracelens.batch.tables import TABLES
from tracelens.batch.work import Job, work
from tracelens.errors import UsageError
from tracelens.reading import read
from tracelens.report import json_


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    return logs(tmp_path_factory.mktemp("batch") / "runs")


@pytest.fixture(scope="module")
def here(folder) -> dict[str, pl.DataFrame]:
    """The results of the same work in this process, one log after the other."""
    return collect([work(job) for job in jobs(folder, folder.parent / "here")])


def test_one_process_and_two_give_the_same_rows_and_reports(folder, here, tmp_path):
    for processes in (1, 2):
        work_list = jobs(folder, tmp_path / str(processes))
        outcomes = list(local.outcomes(work_list, processes))
        assert len(outcomes) == len(work_list)
        assert same(collect(outcomes), here)
    one, two = (
        {path.name: path.read_bytes() for path in (tmp_path / n / "reports").iterdir()}
        for n in ("1", "2")
    )
    assert one == two
    assert len(one) == here["runs"].filter(pl.col("status") == 0).height


def test_the_rows_are_those_of_the_single_reports(folder, here):
    for row in here["runs"].filter(pl.col("status") == 0).to_dicts():
        log = folder / row["run"]
        analysis = analyse(read(log))
        report = json.loads(b"".join(json_.chunks(analysis)))
        assert json.loads((folder.parent / "here" / row["report"]).read_bytes()) == report
        assert row["events"] == report["log"]["events"]
        assert row["deadline_misses"] == len(report["misses"])
        assert row["errors"] == sum(f["severity"] == "error" for f in report["findings"])
        tasks = here["tasks"].filter(pl.col("run") == row["run"]).drop("run")
        assert tasks.equals(analysis.tasks)


def test_a_log_that_cannot_be_read_is_a_row_with_its_error(folder, here):
    bad = here["runs"].filter(pl.col("status") > 0)
    assert set(bad["run"]) == {"empty.csv", "clock_missing.csv"} < set(BAD)
    assert bad["error"].null_count() == 0
    assert not any(str(folder) in error for error in bad["error"])
    assert set(here["tasks"]["run"]).isdisjoint(bad["run"])


def test_a_process_that_is_killed_costs_the_log_that_killed_it_and_no_other(folder, here, tmp_path):
    work_list = jobs(folder, tmp_path)
    outcomes = list(local.outcomes(work_list, 2, dies_of_the_empty_log))
    assert sorted(outcome.number for outcome in outcomes) == [job.number for job in work_list]
    made = collect(outcomes)["runs"]
    died = made.filter(pl.col("run") == "empty.csv")
    assert died["error"].to_list() == [local.DIED]
    others = pl.col("run") != "empty.csv"
    assert made.filter(others).equals(here["runs"].filter(others))


def test_the_table_library_has_one_thread_in_each_process(folder, tmp_path):
    (outcome,) = local.outcomes(jobs(folder, tmp_path)[:1], 1, threads)
    assert outcome.status == 1


def test_a_bug_in_one_reading_does_not_cost_the_others(tmp_path, monkeypatch):
    def broken(_run: object) -> None:
        raise ZeroDivisionError("integer division or modulo by zero")

    folder = logs(tmp_path / "runs")
    monkeypatch.setattr("tracelens.batch.work.analyse", broken)
    rows = collect([work(job) for job in jobs(folder, tmp_path)])["runs"]
    bugs = rows.filter(pl.col("error").str.starts_with("a bug of tracelens: ZeroDivisionError"))
    assert bugs.height == 4


@pytest.mark.parametrize("kind", [pl.exceptions.ComputeError, pl.exceptions.PanicException])
def test_a_panic_of_the_table_library_is_a_row_too_and_a_line(folder, tmp_path, monkeypatch, kind):
    def broken(_run: object) -> None:
        raise kind("first\nsecond")

    monkeypatch.setattr("tracelens.batch.work.analyse", broken)
    (good,) = [job for job in jobs(folder, tmp_path) if "rate_order" in job.run]
    error = work(good).tables["runs"]["error"][0]
    assert error == f"a bug of tracelens: {kind.__name__}: first\\x0asecond"


def test_results_are_read_back_as_they_were_and_explained(here, tmp_path):
    write(here, tmp_path)
    page = (tmp_path / "columns.md").read_text("utf-8")
    for name, table in TABLES.items():
        assert pl.read_parquet(tmp_path / f"{name}.parquet").equals(here[name])
        flat = pl.read_csv(tmp_path / f"{name}.csv", infer_schema=False)
        assert (flat.height, flat.columns) == (here[name].height, list(table.columns))
        assert f"### {name}\n" in page


def test_rows_are_in_order_of_the_runs_whoever_is_done_first(folder, here, tmp_path, monkeypatch):
    monkeypatch.setattr("tracelens.batch.results.TOGETHER", 2)
    outcomes = [work(job) for job in jobs(folder, tmp_path)]
    assert same(collect(outcomes[::-1]), here)
    assert same(collect(outcomes[3:] + outcomes[:3]), here)


def test_no_logs_give_empty_tables_of_the_right_types():
    made = collect([])
    assert {name: frame.schema for name, frame in made.items()} == {
        name: pl.Schema(table.schema()) for name, table in TABLES.items()
    }


def test_a_directory_that_cannot_be_made_is_told_before_the_work(tmp_path):
    (tmp_path / "file").touch()
    with pytest.raises(UsageError, match="cannot be written"):
        prepare(tmp_path / "file" / "results")


def test_what_a_killed_worker_left_is_cleared_away(here, tmp_path):
    prepare(tmp_path)
    (tmp_path / "reports" / "run.csv.json.0123.part").touch()
    write(here, tmp_path)
    assert list((tmp_path / "reports").iterdir()) == []


def test_reports_on_a_directory_that_is_called_like_what_is_unfinished_stay(here, tmp_path):
    prepare(tmp_path)
    report = tmp_path / "reports" / "night.part" / "run.csv.json"
    report.parent.mkdir()
    report.touch()
    write(here, tmp_path)
    assert report.exists()
    assert (tmp_path / "runs.csv").exists()


def test_what_cannot_be_written_is_told_in_the_row(folder, tmp_path):
    (tmp_path / "reports").touch()
    (good,) = [job for job in jobs(folder, tmp_path) if "rate_order" in job.run]
    outcome = work(good)
    assert outcome.status == 2
    assert "cannot be written" in outcome.tables["runs"]["error"][0]


def test_a_job_can_be_done_twice(folder, tmp_path):
    (job,) = [job for job in jobs(folder, tmp_path) if "rate_order" in job.run]
    first = work(Job(job.number, job.run, job.log, tmp_path, html=True))
    again = work(Job(job.number, job.run, job.log, tmp_path, html=True))
    assert same(first.tables, again.tables)
    left = sorted(path.name for path in (tmp_path / "reports").iterdir())
    assert left == [f"{job.run}.html", f"{job.run}.json"]


@pytest.mark.night
@pytest.mark.parametrize(("number", "tracebacks"), [(signal.SIGINT, 1), (signal.SIGKILL, 0)])
def test_ended_from_outside_it_leaves_no_process(tmp_path, number, tracebacks):
    code = (
        "from pathlib import Path; from tests.batch.runs import jobs, sleeps\n"
        "from tracelens.batch import local\n"
        f"list(local.outcomes(jobs(Path({str(logs(tmp_path / 'runs'))!r}), Path('r')), 2, sleeps))"
    )
    run = subprocess.Popen(
        [sys.executable, "-c", code],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    assert run.stdout is not None
    assert run.stdout.readline() == "under way\n"
    if number == signal.SIGINT:
        os.killpg(run.pid, number)  # as a terminal sends it
    else:
        run.kill()
    # The pipes close when the last process that has them ends: the workers sleep for a minute.
    _, told = run.communicate(timeout=40)
    assert run.returncode == -number
    assert told.count("Traceback") == tracebacks  # of the program above, and none of a worker

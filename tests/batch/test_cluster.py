"""The same work on a real scheduler and two workers, each a process, one killed in mid-run."""

import os
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.batch.runs import ROOT, jobs, logs, same
from tracelens.batch import cluster
from tracelens.batch.results import collect
from tracelens.batch.work import work
from tracelens.cli.main import main
from tracelens.errors import UsageError

pytestmark = pytest.mark.night

COPIES = 25


class Cluster:
    """A scheduler and its workers on this machine, by the commands that a user has."""

    def __init__(self, folder: Path, workers: int) -> None:
        self._folder = folder
        self._file = folder / "scheduler.json"
        self.processes = [self._start("scheduler", "--port", "0", "--no-dashboard")]
        self.processes += [self.worker() for _ in range(workers)]
        self.address = self._address()

    def worker(self) -> subprocess.Popen[bytes]:
        """A worker of one thread, without the nanny that would start it again."""
        return self._start("worker", "--nthreads", "1", "--no-nanny", "--no-dashboard")

    def _start(self, what: str, *options: str) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-m", "dask", what, "--scheduler-file", str(self._file)]
        with (self._folder / f"{what}.log").open("ab") as told:
            return subprocess.Popen(
                [*command, "--interface", "lo", *options],
                stdout=told,
                stderr=told,
                cwd=self._folder,
                env={**os.environ, "PYTHONPATH": str(ROOT), "POLARS_MAX_THREADS": "1"},
            )

    def _address(self) -> str:
        import json

        for _ in range(600):
            if self._file.exists() and (text := self._file.read_text()):
                return str(json.loads(text)["address"])
            time.sleep(0.1)
        raise AssertionError((self._folder / "scheduler.log").read_text())

    def stop(self) -> None:
        for process in reversed(self.processes):
            process.kill()
            process.wait()


@pytest.fixture
def two_workers(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Cluster]:
    running = Cluster(tmp_path_factory.mktemp("cluster"), workers=2)
    yield running
    running.stop()


def test_a_worker_killed_in_mid_run_loses_nothing_and_doubles_nothing(two_workers, tmp_path):
    folder = logs(tmp_path / "runs", COPIES)
    work_list = jobs(folder, tmp_path / "there")
    outcomes = []
    for outcome in cluster.outcomes(work_list, two_workers.address):
        outcomes.append(outcome)
        if len(outcomes) == 5:
            two_workers.processes[-1].kill()
    assert len(outcomes) == len(work_list) == 3 * COPIES + 3
    assert two_workers.processes[-1].wait() < 0
    here = [work(job) for job in jobs(folder, tmp_path / "here")]
    assert same(collect(outcomes), collect(here))
    there, own = (
        {path.name: path.read_bytes() for path in (tmp_path / name / "reports").iterdir()}
        for name in ("there", "here")
    )
    assert {name for name in there if not name.endswith(".part")} == set(own)
    assert all(there[name] == own[name] for name in own)


def test_when_the_scheduler_is_killed_what_is_done_stays_and_the_rest_is_told(
    two_workers, tmp_path
):
    work_list = jobs(logs(tmp_path / "runs", 10), tmp_path)
    outcomes = []
    for outcome in cluster.outcomes(work_list, two_workers.address):
        outcomes.append(outcome)
        if len(outcomes) == 3:
            two_workers.processes[0].kill()
    assert sorted(outcome.number for outcome in outcomes) == [job.number for job in work_list]
    errors = collect(outcomes)["runs"]["error"].to_list()
    assert errors.count(cluster.GONE) > 20


def test_the_command_gives_the_same_on_a_cluster_and_here(two_workers, tmp_path, capfd):
    folder = logs(tmp_path / "runs")
    for name, how in (("a", ["--cluster", two_workers.address]), ("b", ["--processes", "1"])):
        assert main(["batch", str(folder), "-o", str(tmp_path / name), *how]) == 3
    for table in ("runs.csv", "tasks.csv", "findings.csv"):
        assert (tmp_path / "a" / table).read_bytes() == (tmp_path / "b" / table).read_bytes()
    assert capfd.readouterr().err == ""


def test_without_a_scheduler_it_is_one_line_and_a_hint(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(cluster, "PATIENCE_S", 1)
    folder = logs(tmp_path / "runs")
    with pytest.raises(UsageError, match="no scheduler answers"):
        list(cluster.outcomes(jobs(folder, tmp_path), "tcp://127.0.0.1:1"))


def test_without_a_worker_it_says_so(tmp_path, monkeypatch):
    monkeypatch.setattr(cluster, "PATIENCE_S", 5)
    running = Cluster(tmp_path, workers=0)
    try:
        with pytest.raises(UsageError, match="has no worker"):
            list(cluster.outcomes(jobs(logs(tmp_path / "runs"), tmp_path), running.address))
    finally:
        running.stop()

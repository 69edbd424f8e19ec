"""`tracelens batch`, from files to files and the index on the terminal."""

import io
import json
import subprocess
import sys

import polars as pl
import pytest

from tests.batch.runs import ROOT, logs
from tracelens.cli.main import main


@pytest.fixture
def folder(tmp_path):
    return logs(tmp_path / "runs")


def test_an_index_rows_and_reports(folder, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    out = tmp_path / "results"
    assert main(["batch", "runs", "-o", "results", "--processes", "1", "--html-reports"]) == 3
    index = capsys.readouterr()
    assert index.err == ""
    assert index.out.startswith("6 runs, results in results\n")
    assert "2 logs could not be read" in index.out
    assert all(len(line) <= 80 for line in index.out.splitlines())
    runs = pl.read_csv(out / "runs.csv")
    assert runs["run"].to_list() == sorted(path.name for path in folder.iterdir())
    assert runs["status"].to_list() == [0, 0, 0, 3, 3, 0]
    page = (out / "index.html").read_text("utf-8")
    for run in runs.filter(pl.col("status") == 0)["run"]:
        assert f'<a href="reports/{run}.html">{run}</a>' in page
        report = json.loads((out / "reports" / f"{run}.json").read_bytes())
        assert report["log"]["sources"] == [f"runs/{run}"], "as the user calls it"
        assert (out / "reports" / f"{run}.html").exists()


def test_all_well_is_status_zero(tmp_path, capsys):
    out = str(tmp_path / "results")
    healthy = str(ROOT / "sample_traces" / "classroom" / "three_tasks_inherit.csv")
    assert main(["batch", healthy, "-o", out, "--processes", "1"]) == 0
    assert "Every log was read; no job was late" in capsys.readouterr().out


@pytest.mark.parametrize(
    "arguments",
    [
        ["nowhere/*.csv", "-o", "results"],
        ["-", "-o", "results"],
        ["sample_traces", "-o", "results", "--processes", "2", "--cluster", "tcp://a:1"],
        ["sample_traces"],
    ],
)
def test_wrong_usage_is_one_line_and_a_hint(arguments, capsys, monkeypatch):
    monkeypatch.chdir(ROOT)
    assert main(["batch", *arguments]) == 2
    assert capsys.readouterr().err.count("\n") == 2


def test_a_mistake_in_the_system_file_is_told_once_and_before_the_work(folder, tmp_path, capsys):
    system = tmp_path / "system.toml"
    system.write_text("[tasks.a]\ndeadline = 5\n")
    assert main(["batch", str(folder), "-o", str(tmp_path / "r"), "--system", str(system)]) == 3
    assert capsys.readouterr().err.count(str(system)) == 1
    assert not (tmp_path / "r").exists()


def test_on_a_terminal_the_runs_are_counted(monkeypatch):
    class Terminal(io.StringIO):
        def isatty(self):
            return True

    from tracelens.cli.progress import counted

    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    monkeypatch.setenv("TERM", "xterm")
    with counted("runs", 2) as done:
        done("one")
        done("two")
    assert "2/2" in terminal.getvalue()


def test_the_help_does_not_wait_for_the_cluster_or_the_tables():
    code = (
        "import sys; from tracelens.cli.main import main; main(['batch', '--help'])\n"
        "sys.exit(bool({'distributed', 'polars', 'numpy'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, check=False)
    assert (done.returncode, done.stderr) == (0, b"")

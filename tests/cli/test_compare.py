"""`tracelens compare`, from files to every output and exit status."""

import json
from importlib.resources import files
from pathlib import Path

import jsonschema
import pytest

from tests.cli.conftest import INVERSION
from tracelens.cli import compare as command
from tracelens.cli.main import main
from tracelens.comparison.gate import WORDS
from tracelens.engine import simulate
from tracelens.formats.taskset_toml import parse_taskset

SCHEMA = json.loads(files("tracelens.report").joinpath("compare-1.schema.json").read_text("utf-8"))

SET = """
[priority]
order = "higher_first"
[tasks.fast]
priority = 2
period_us = 1000
deadline_us = 500
body = ["run {low}..{high}"]
[tasks.slow]
priority = 1
period_us = 5000
body = ["run 800..1200"]
[simulation]
until_us = 100_000
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = tmp_path_factory.mktemp("runs")
    for side, low in (("old", 200), ("new", 300)):
        (made / side).mkdir()
        for seed in range(4):
            taskset = parse_taskset(SET.format(low=low, high=low + 100))
            log = simulate(taskset, seed=seed + 10 * low).log
            (made / side / f"{seed}.csv").write_bytes(log)
    return made


@pytest.fixture
def runs(folder, monkeypatch):
    """Directories old/ and new/ of four runs each; `fast` takes half as long again in new/."""
    monkeypatch.chdir(folder)


def test_a_person_reads_the_verdict_first(runs, capsys):
    assert main(["compare", "old", "new"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == "4 old runs → 4 new runs"
    verdict = next(place for place, line in enumerate(lines) if "moved beyond noise" in line)
    assert verdict < 6
    assert any("fast executes 4" in line and "longer" in line for line in lines[verdict:])
    assert max(map(len, lines)) <= 80


def test_one_run_a_side_says_what_it_cannot_know(runs, capsys):
    assert main(["compare", "old/0.csv", "new/0.csv"]) == 0
    page = capsys.readouterr().out
    assert "moved beyond the noise within a run" in page
    assert "One run a side does not tell how runs differ from one another." in page


def test_all_after_new_are_new(runs, capsys):
    old, new = ([f"{side}/{seed}.csv" for seed in range(4)] for side in ("old", "new"))
    assert main(["compare", *old, "--new", *new, "--json", "-"]) == 0
    document = json.loads(capsys.readouterr().out)
    jsonschema.validate(document, SCHEMA)
    assert [run["name"] for run in document["old"]] == old
    assert [run["name"] for run in document["new"]] == new
    assert document["method"]["ways"] == 70
    moved = {(one["quantity"], one["subject"]) for one in document["moved"]}
    assert {("execution", "fast"), ("load", "core 0")} <= moved
    assert ("execution", "slow") not in moved


def test_equal_files_do_not_differ(log, capsys):
    assert main(["compare", str(log), str(log), "--fail-on", "any"]) == 0


@pytest.mark.parametrize(
    ("words", "status"),
    [
        (["--fail-on", "worse"], 1),
        (["--fail-on", "execution"], 1),
        (["--fail-on", "stack", "--fail-on", "load"], 1),
        (["--fail-on", "tasks"], 0),
        (["--fail-on", "execution", "--at-least", "90%"], 0),
    ],
)
def test_the_exit_status_is_the_verdict(runs, capsys, words, status):
    assert main(["compare", "old", "new", *words]) == status
    assert ("Failed: " in capsys.readouterr().err) == bool(status)


def test_markdown_and_json_go_to_files(runs, capsys):
    outputs = ["--markdown", "c.md", "--json", "c.json"]
    assert main(["compare", "old", "new", *outputs]) == 0
    assert Path("c.md").read_text(encoding="utf-8").startswith("# 4 old runs → 4 new runs\n")
    jsonschema.validate(json.loads(Path("c.json").read_bytes()), SCHEMA)
    assert capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "problem"),
    [
        (["old/0.csv"], "which runs are new: found 1 argument, expected two"),
        (["old/0.csv", "old/1.csv", "new/0.csv"], "found 3 arguments, expected two"),
        (["old/0.csv", "--new"], "Option '--new' requires an argument"),
        (["old/0.csv", "new/9*.csv"], "no log is named by new/9*.csv"),
        (["old", "new", "--at-least", "2"], "found '2', expected a percentage such as"),
        (["old", "new", "--error-rate", "0"], "--error-rate"),
        (["old", "new", "--from", "1s"], "old/0.csv: no such time in this run"),
    ],
)
def test_wrong_usage_is_one_line_and_status_2(runs, capsys, arguments, problem):
    assert main(["compare", *arguments]) == 2
    first = capsys.readouterr().err.splitlines()[0]
    assert problem in first


def test_an_error_names_a_log_as_it_was_given(runs, capsys):
    Path("bad.csv").write_bytes(b"")
    assert main(["compare", "old/0.csv", "bad.csv"]) == 3
    assert capsys.readouterr().err.startswith("tracelens: bad.csv: the file is empty")
    assert main(["history", "add", "nights", "bad.csv"]) == 3
    assert capsys.readouterr().err.startswith("tracelens: bad.csv: the file is empty")


def test_a_directory_without_logs_is_refused(runs, tmp_path, capsys):
    assert main(["compare", str(tmp_path), "new"]) == 2
    problem, hint = capsys.readouterr().err.splitlines()
    assert "no log is named by" in problem
    assert hint == "Hint: a directory is searched for .csv, .csv.gz, .csv.zst"


def test_a_file_that_is_not_there_is_said_as_everywhere_else(runs, capsys):
    assert main(["compare", "old/0.csv", "nowhere.csv"]) == 3
    assert capsys.readouterr().err.splitlines() == [
        "tracelens: nowhere.csv: no such file",
        "Hint: check the path",
    ]


def test_runs_without_a_common_task_are_refused(runs, log, capsys):
    assert main(["compare", str(log), "new"]) == 2
    assert "no task that has jobs on both sides" in capsys.readouterr().err


def test_a_name_that_acts_on_the_terminal_does_not(tmp_path, capsys):
    bad = tmp_path / "bad.csv"
    bad.write_text(INVERSION.replace("name=link", "name=li\x1b[2Jnk"), encoding="utf-8")
    main(["compare", str(bad), str(bad)])
    assert "\x1b" not in capsys.readouterr().out


def test_the_words_of_fail_on_are_those_of_the_gate():
    assert list(command.FAIL_ON) == list(WORDS)

"""`tracelens history`, from files to every output and exit status."""

import json
import re
import shutil
from importlib.resources import files
from pathlib import Path

import jsonschema
import pytest

from tracelens.cli.main import main
from tracelens.engine import simulate
from tracelens.formats.taskset_toml import parse_taskset

SCHEMA = json.loads(files("tracelens.report").joinpath("history-1.schema.json").read_text("utf-8"))

SET = """
[run]
build = "k{day}"
board = "{board}"
start = "2026-03-{day:02}T21:04:00Z"
[priority]
order = "higher_first"
[tasks.fast]
priority = 2
period_us = 1000
deadline_us = 500
body = ["run {low}..{high}"]
[simulation]
until_us = 30_000
"""
CHANGED = 13


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """20 nights, and their history in `nightly`; from night 13 on `fast` takes 300 µs, not 250."""
    made = tmp_path_factory.mktemp("nights")
    (made / "logs").mkdir()
    for day in range(1, 21):
        low = 200 if day < CHANGED else 250
        board = "ab"[day % 2]
        taskset = parse_taskset(SET.format(day=day, board=board, low=low, high=low + 100))
        (made / "logs" / f"{day:02}.csv").write_bytes(simulate(taskset, seed=day).log)
    assert main(["history", "add", str(made / "nightly"), str(made / "logs")]) == 0
    return made


@pytest.fixture
def nights(folder, monkeypatch):
    monkeypatch.chdir(folder)


def test_each_run_is_added_once_and_said_so(nights, tmp_path, capsys):
    target = str(tmp_path / "new")
    assert main(["history", "add", target, "logs/01.csv", "logs/02.csv"]) == 0
    said = capsys.readouterr().out.splitlines()
    assert [line.partition(" as ")[0] for line in said] == [
        "01.csv: added",
        "02.csv: added",
    ]
    shutil.copy("logs/02.csv", tmp_path / "copy.csv")
    assert main(["history", "add", target, str(tmp_path / "copy.csv")]) == 0
    assert "there already" in capsys.readouterr().out
    assert len(list(Path(target).iterdir())) == 2
    assert main(["history", "add", target, "logs/01.csv", "--replace"]) == 0
    assert "added" in capsys.readouterr().out
    assert len(list(Path(target).iterdir())) == 2


def test_one_log_that_cannot_be_read_does_not_keep_the_others_out(nights, tmp_path, capsys):
    logs = tmp_path / "logs"
    shutil.copytree("logs", logs)
    (logs / "02.csv").write_bytes(b"")
    for late in range(4, 21):
        (logs / f"{late:02}.csv").unlink()
    assert main(["history", "add", str(tmp_path / "new"), str(logs)]) == 3
    out, err = capsys.readouterr()
    assert [line.partition(":")[0] for line in out.splitlines()] == ["01.csv", "03.csv"]
    assert "02.csv: the file is empty" in err
    assert len(list((tmp_path / "new").iterdir())) == 2


def test_the_runs_are_listed_newest_last(nights, capsys):
    assert main(["history", "show", "nightly"]) == 0
    lines = capsys.readouterr().out.splitlines()
    dates = [line[:10] for line in lines if line.startswith("2026-03-")]
    assert dates == [f"2026-03-{day:02}" for day in range(1, 21)]
    assert max(map(len, lines)) <= 80
    assert main(["history", "show", "nightly", "--where", "board=a", "--last", "3"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line[8:10] for line in lines if line.startswith("2026-03-")] == ["16", "18", "20"]


def test_a_step_is_told_with_the_build_that_brought_it(nights, capsys):
    assert main(["history", "trend", "nightly"]) == 0
    page = " ".join(capsys.readouterr().out.split())
    said = r"Mean execution of fast: 2[45]\d µs before build k13 \(2026-03-13 21:04\), [23]\d\d µs"
    assert re.search(said, page)


def test_the_json_has_every_value(nights, capsys):
    assert main(["history", "trend", "nightly", "--json", "-"]) == 0
    document = json.loads(capsys.readouterr().out)
    jsonschema.validate(document, SCHEMA)
    assert [run["keys"]["build"] for run in document["runs"]] == [f"k{d}" for d in range(1, 21)]
    address = {run["run"]: run["keys"]["build"] for run in document["runs"]}
    execution = next(one for one in document["trends"] if one["measure"] == "execution")
    assert execution["subject"] == "fast"
    assert (address[execution["changed_at"]], execution["shape"]) == ("k13", "step")
    assert 245 < execution["before"] < 255
    assert 295 < execution["after"] < 305
    assert main(["history", "show", "nightly", "--json", "-"]) == 0
    jsonschema.validate(json.loads(capsys.readouterr().out), SCHEMA)


@pytest.mark.parametrize(
    ("words", "status"),
    [
        (["--fail-on", "worse"], 1),
        (["--fail-on", "any", "--markdown", "trend.md"], 1),
        (["--last", "7", "--fail-on", "any"], 0),
        ([], 0),
    ],
)
def test_the_exit_status_is_the_verdict(nights, capsys, words, status):
    assert main(["history", "trend", "nightly", *words]) == status


@pytest.mark.parametrize(
    ("arguments", "status", "problem"),
    [
        (["show", "nowhere"], 3, "nowhere: no such history"),
        (["show", "logs"], 3, "logs: no run in this history"),
        (["show", "nightly", "--where", "board=c"], 3, "no run in this history has board=c"),
        (["show", "nightly", "--where", "board"], 2, "expected KEY=VALUE"),
        (["trend", "nightly", "--last", "0"], 2, "--last"),
        (["add", "new", "-"], 2, "found '-', expected files"),
        (["add", "new", "nowhere.csv"], 3, "nowhere.csv: no such file"),
        (["ad", "new", "logs"], 2, "ad"),
    ],
)
def test_what_cannot_be_done_is_one_line(nights, capsys, arguments, status, problem):
    assert main(["history", *arguments]) == status
    assert problem in capsys.readouterr().err.splitlines()[0]


def test_each_log_that_cannot_be_read_has_its_line_and_hint(log, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    for name in ("none.csv", "empty.csv"):
        Path(name).write_text("hello\n" * (name == "none.csv"), encoding="utf-8")
    assert main(["history", "add", "kept", "empty.csv", "none.csv", log.name]) == 3
    captured = capsys.readouterr()
    assert captured.out.startswith("run.csv: added as ")
    said = [line.partition(":")[0] for line in captured.err.splitlines()]
    assert said == ["tracelens", "Hint", "tracelens", "Hint"]


def test_a_repeated_build_keeps_the_same_bytes(log, tmp_path, monkeypatch):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1772442000")
    for kept in ("one", "other"):
        assert main(["history", "add", str(tmp_path / kept), str(log)]) == 0
    (one,), (other,) = ((tmp_path / kept).iterdir() for kept in ("one", "other"))
    assert one.read_bytes() == other.read_bytes()


def test_a_time_of_a_build_that_is_none_is_one_line(log, tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "yesterday")
    assert main(["history", "add", str(tmp_path / "kept"), str(log)]) == 2
    assert "found SOURCE_DATE_EPOCH=yesterday, expected seconds" in capsys.readouterr().err

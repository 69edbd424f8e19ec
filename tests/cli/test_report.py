"""`tracelens report`, from a file to every output."""

import json
import subprocess
import sys
from importlib.resources import files
from pathlib import Path

import jsonschema
import polars as pl
import pytest

from tests.cli.conftest import INVERSION
from tracelens.cli.main import main

ROOT = Path(__file__).parents[2]
SCHEMA = json.loads(files("tracelens.report").joinpath("report-1.schema.json").read_text("utf-8"))


def test_a_person_reads_the_verdict_first(log, capsys):
    assert main(["report", str(log)]) == 0
    page = capsys.readouterr().out
    first = page[: page.index("Late jobs")]
    assert "needle_select" in first
    assert "8.00 µs" in first or "8 µs" in first


def test_the_json_has_the_numbers_of_the_hand_worked_example(log, capsys):
    assert main(["report", str(log), "--json", "-"]) == 0
    document = json.loads(capsys.readouterr().out)
    jsonschema.validate(document, SCHEMA)
    (miss,) = document["misses"]
    assert (miss["task"], miss["release_us"], miss["response_us"]) == ("needle_select", 18, 48)
    assert miss["lateness_us"] == 8
    entries = {(entry["entry"], entry["by"]): entry["us"] for entry in miss["ledger"]}
    assert entries == {
        ("execution", "needle_select"): 13,
        ("blocked", "archive"): 14,
        ("inversion", "link"): 18,
        ("deferred", "archive"): 1,
        ("switching", None): 2,
    }
    (inversion,) = document["inversions"]
    assert (inversion["start_us"], inversion["duration_us"]) == (24, 34)
    assert inversion["third_parties"] == {"link": 18}


def test_every_output_at_once(log, tmp_path, capsys):
    outputs = ["--json", tmp_path / "r.json", "--markdown", tmp_path / "r.md"]
    outputs += ["--tables", tmp_path / "tables"]
    assert main(["report", *map(str, (log, *outputs))]) == 0
    assert "needle_select" in capsys.readouterr().out
    assert json.loads((tmp_path / "r.json").read_text())["schema"] == "tracelens.report/1"
    assert (tmp_path / "r.md").read_text().startswith("# run.csv\n")
    jobs = pl.read_parquet(tmp_path / "tables" / "jobs.parquet")
    assert jobs.filter("late")["response_ns"].to_list() == [48_000]


def test_a_document_on_standard_output_stands_alone(log, capsys):
    assert main(["report", str(log), "--markdown", "-"]) == 0
    assert capsys.readouterr().out.startswith("# run.csv\n")


def test_a_log_on_standard_input(log):
    done = subprocess.run(
        [sys.executable, "-m", "tracelens", "report", "-", "--json", "-"],
        cwd=ROOT,
        input=log.read_bytes(),
        capture_output=True,
        check=True,
    )
    assert done.stderr == b""
    assert len(json.loads(done.stdout)["misses"]) == 1


def test_a_part_of_the_run(log, capsys):
    assert main(["report", str(log), "--from", "60us", "--to", "0.09ms", "--json", "-"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["log"]["window_us"] == [60, 90]
    assert document["misses"] == []


@pytest.mark.parametrize("window", [["--from", "1s"], ["--from", "50us", "--to", "20us"]])
def test_a_window_outside_the_run_is_wrong_usage(log, capsys, window):
    assert main(["report", str(log), *window]) == 2
    assert capsys.readouterr().err.count("\n") <= 2


def test_a_phase_that_the_log_does_not_mark_is_wrong_usage(log, capsys):
    assert main(["report", str(log), "--phase", "knit"]) == 2
    assert "knit" in capsys.readouterr().err


def test_what_was_not_used_is_counted_by_reason_with_its_lines(damaged, capsys):
    assert main(["report", str(damaged), "--json", "-"]) == 0
    unused = json.loads(capsys.readouterr().out)["log"]["unused_lines"]
    assert sum(kind["count"] for kind in unused.values()) == 2
    assert sorted(line for kind in unused.values() for line in kind["first_lines"]) == ["13", "14"]


def test_strict_refuses_the_first_damaged_line(damaged, capsys):
    assert main(["report", str(damaged), "--strict"]) == 3
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.startswith(f"tracelens: {damaged}:13: ")
    assert captured.err.count("\n") <= 2


def test_a_system_file_overrides_the_log(log, tmp_path, capsys):
    system = tmp_path / "system.toml"
    system.write_text("[tasks.needle_select]\ndeadline_us = 50\n", encoding="utf-8")
    assert main(["report", str(log), "--system", str(system), "--json", "-"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["misses"] == []
    assert len(document["log"]["system_differences"]) == 1


UNREADABLE = {
    "missing": None,
    "empty": b"",
    "binary": bytes(range(256)) * 40,
    "prose": b"Dear reader,\nthis is not a log.\n",
    "picture": b"\x89PNG\r\n\x1a\n" + b"\0" * 100,
    "no_clock": INVERSION.replace("#clock hz=1000000 bits=32\n", "").encode(),
    "no_order": INVERSION.replace("#priority order=higher_first\n", "").encode(),
}


@pytest.mark.parametrize("kind", UNREADABLE)
def test_what_is_no_log_is_one_line_and_a_hint(tmp_path, capsys, kind):
    file = tmp_path / "bad.csv"
    if UNREADABLE[kind] is not None:
        file.write_bytes(UNREADABLE[kind])
    assert main(["report", str(file)]) in (3, 4)
    captured = capsys.readouterr()
    assert captured.out == ""
    lines = captured.err.splitlines()
    assert len(lines) == 2
    assert lines[0].startswith(f"tracelens: {file}")
    assert lines[1].startswith("Hint: ")


@pytest.mark.parametrize("option", ["--json", "--markdown", "--tables"])
def test_what_cannot_be_written_is_said_without_a_traceback(log, tmp_path, capsys, option):
    target = tmp_path / "run.csv" / "below_a_file"
    assert main(["report", str(log), option, str(target)]) == 2
    assert capsys.readouterr().err.startswith(f"tracelens: {target}: cannot be written")


@pytest.mark.parametrize(
    "arguments",
    [["report", "--tables"], ["batch", "-o"], ["simulate", "--truth"]],
    ids=lambda arguments: arguments[0],
)
def test_tables_do_not_go_to_standard_output(log, capsys, monkeypatch, tmp_path, arguments):
    monkeypatch.chdir(tmp_path)
    command, option = arguments
    assert main([command, str(log), option, "-"]) == 2
    assert "found '-', expected a directory" in capsys.readouterr().err
    assert not (tmp_path / "-").exists()


def test_a_log_that_ends_within_its_declarations_is_reported(tmp_path, capsys):
    file = tmp_path / "cut.csv"
    file.write_text("#tracelens 1\n#clock hz=1000\n#task id=idle idle=yes\n#task id=t1 na")
    assert main(["report", str(file)]) == 0
    assert "the log has no events" in capsys.readouterr().out

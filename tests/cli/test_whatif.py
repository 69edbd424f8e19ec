"""`tracelens whatif`, as its user runs it."""

import json

import pytest

from tracelens.cli.main import main
from tracelens.reading import read

LOG = "sample_traces/knitting_inversion.csv"


@pytest.fixture
def knitting(pytestconfig):
    return str(pytestconfig.rootpath / LOG)


def test_a_change_and_its_log(knitting, tmp_path, capsys):
    then = tmp_path / "then.csv"
    assert main(["whatif", knitting, "--protocol", "flash_bus=inherit", "-o", str(then)]) == 0
    printed = " ".join(capsys.readouterr().out.split())
    assert "knitting_inversion.csv replayed with --protocol flash_bus=inherit" in printed
    assert "820 of 820 responses (100 %)" in printed
    assert "4 deadline misses recorded, 0 predicted. Worse for it: yarn_tension" in printed
    assert int(read(then).jobs["late"].sum()) == 0


def test_json(knitting, capsys):
    assert main(["whatif", knitting, "--scale", "archive=0.5", "--json", "-"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["schema"] == "tracelens.whatif/1"
    assert told["changes"] == ["--scale archive=0.5"]
    assert told["fidelity"]["share"] == 1
    archive = next(task for task in told["tasks"] if task["task"] == "archive")
    assert archive["change"] == "better"
    assert archive["predicted"]["max_us"] < archive["recorded"]["max_us"]


def test_an_unknown_name_is_one_line_and_a_hint(knitting, capsys):
    assert main(["whatif", knitting, "--priority", "panle=3"]) == 2
    error = capsys.readouterr().err
    assert error.splitlines() == [
        "tracelens: no such task: found panle, expected one of the run",
        "Hint: did you mean panel?",
    ]


def test_a_search_stands_alone(knitting, capsys):
    assert main(["whatif", knitting, "--search", "--clock", "2"]) == 2
    assert "--search tries changes of its own" in capsys.readouterr().err


def test_a_prediction_that_cannot_be_written_is_no_unreadable_input(knitting, tmp_path, capsys):
    target = tmp_path / "nowhere" / "then.csv"
    assert main(["whatif", knitting, "-o", str(target)]) == 2
    assert capsys.readouterr().err.startswith(f"tracelens: {target}: cannot be written")


def test_a_log_without_events_is_said_to_be_nothing(tmp_path, capsys):
    log = tmp_path / "head.csv"
    log.write_text("#tracelens 1\n#clock hz=1000\n#task id=idle idle=yes\n")
    assert main(["whatif", str(log)]) == 2
    assert capsys.readouterr().err.startswith("tracelens: nothing to replay: found no event")

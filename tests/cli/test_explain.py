"""`tracelens explain`, from a file to every output."""

import json
from importlib.resources import files

import jsonschema
import pytest

from tests.cli.conftest import INVERSION
from tracelens.cli.main import main

SCHEMA = json.loads(files("tracelens.report").joinpath("explain-1.schema.json").read_text("utf-8"))

TITLES = [
    "Where the time went",
    "What happened, in order",
    "Which locks were in the way, and who held them",
    "What would have had to be shorter",
    "What to try",
    "All late jobs of needle_select",
    "What this cannot say",
]


def test_a_person_reads_the_verdict_first_and_the_rest_in_order(log, capsys):
    assert main(["explain", str(log)]) == 0
    page = capsys.readouterr().out
    assert "needle_select 1 took 48.0 µs: 8.00 µs past its deadline of 40.0 µs." in page
    lines = page.splitlines()
    places = [lines.index(title) for title in TITLES]
    assert places == sorted(places)


def test_the_json_has_the_numbers_of_the_hand_worked_example(log, capsys):
    """The wait is from 24 to 58 µs, link runs from 32 to 50: without it the job is 10 early."""
    assert main(["explain", str(log), "--json", "-"]) == 0
    document = json.loads(capsys.readouterr().out)
    jsonschema.validate(document, SCHEMA)
    assert (document["job"]["response_us"], document["job"]["lateness_us"]) == (48, 8)
    (wait,) = document["waits"]
    assert (wait["start_us"], wait["end_us"], wait["lock"]) == (24, 58, "flash_bus")
    (holder,) = wait["holders"]
    assert (holder["task"], holder["took_us"], holder["gave_us"]) == ("archive", 12, 58)
    inversion = document["shorter"]["alone"][0]
    assert inversion["parts"] == [{"entry": "inversion", "by": None, "via": "flash_bus", "us": 18}]
    assert (inversion["left_us"], inversion["early_us"]) == (30, 10)


def test_json_to_a_file_leaves_the_telling_on_the_screen(log, tmp_path, capsys):
    target = tmp_path / "miss.json"
    assert main(["explain", str(log), "--miss", "1", "--json", str(target)]) == 0
    assert "What to try" in capsys.readouterr().out
    jsonschema.validate(json.loads(target.read_text("utf-8")), SCHEMA)


def test_a_system_file_can_make_it_meet_its_deadline(log, tmp_path, capsys):
    system = tmp_path / "system.toml"
    system.write_text("[tasks.needle_select]\ndeadline_us = 60\n", encoding="utf-8")
    assert main(["explain", str(log), "--task", "needle_select", "--system", str(system)]) == 0
    page = " ".join(capsys.readouterr().out.split())
    assert "It met its deadline of 60.0 µs, with 12.0 µs to spare." in page
    assert "What to try" not in page


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--task", "needle_selector"], "Hint: did you mean needle_select?"),
        (["--task", "needle_select", "--job", "9"], "no such job: found job 9 of needle_select"),
        (["--miss", "2"], "no such late job: found --miss 2, expected 1 to 1"),
        (["--worst", "--miss", "1"], "one job to explain: found several"),
    ],
)
def test_a_wrong_request_is_one_line_and_a_hint(log, capsys, arguments, says):
    assert main(["explain", str(log), *arguments]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 2
    assert any(says in line for line in lines)
    assert lines[1].startswith("Hint: ")


def test_names_cannot_act_on_the_terminal(tmp_path, capsys):
    file = tmp_path / "run.csv"
    evil = INVERSION.replace("name=archive", "name=ar\x1b[31mchive")
    file.write_text(evil, encoding="utf-8")
    assert main(["explain", str(file)]) == 0
    assert "\x1b" not in capsys.readouterr().out

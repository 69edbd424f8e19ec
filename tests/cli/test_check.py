"""`tracelens check`, from a file to every output and status."""

import json
import re
from importlib.resources import files

import jsonschema
import junitparser
import pytest

from tracelens.cli.main import main

SCHEMA = json.loads(files("tracelens.report").joinpath("check-1.schema.json").read_text("utf-8"))

MET = "[budgets.tasks.needle_select]\nresponse_max_us = 48\n"
BROKEN = "[budgets.tasks.needle_select]\nresponse_max_us = 47.999\n"
OPEN = "[budgets.tasks.needle_select]\nresponse_p99_us = 48\n"


@pytest.fixture
def budgets(tmp_path):
    """Writes a budgets file and gives its path."""

    def write(text: str) -> str:
        file = tmp_path / "budgets.toml"
        file.write_text(text, encoding="utf-8")
        return str(file)

    return write


@pytest.mark.parametrize(
    ("text", "status", "says"),
    [
        (MET, 0, "Pass: 1 of 1 limits are met."),
        (BROKEN, 1, "Fail: 0 of 1 limits are met, 1 broken."),
        (OPEN, 4, "Unknown: 0 of 1 limits are met, 1 unknown."),
        (OPEN + "misses = 0\n", 1, "Fail: 0 of 2 limits are met, 1 broken, 1 unknown."),
        (
            BROKEN + 'severity = "note"\n',
            0,
            "Pass: 0 of 1 limits are met, 1 broken, 1 of these",
        ),
    ],
)
def test_the_status_is_the_verdict(log, budgets, capsys, text, status, says):
    assert main(["check", str(log), "--budgets", budgets(text)]) == status
    captured = capsys.readouterr()
    assert says in " ".join(captured.out.split())
    assert captured.err == ""


def test_every_form_at_once(log, budgets, tmp_path, capsys):
    options = ["--junit", "--markdown", "--annotations", "--json"]
    names = [str(tmp_path / name) for name in ("v.xml", "v.md", "v.txt", "v.json")]
    pairs = [part for pair in zip(options, names, strict=True) for part in pair]
    file = budgets(BROKEN)
    assert main(["check", str(log), "--budgets", file, *pairs]) == 1
    assert "needle_select: response_max_us is 48" in capsys.readouterr().out
    xml, page, lines, document = ((tmp_path / name).read_text("utf-8") for name in names)
    assert [suite.failures for suite in junitparser.JUnitXml.fromstring(xml.encode())] == [1]
    assert page.startswith("# run.csv against budgets.toml\n")
    assert lines.startswith(
        f"{file}:2: error: needle_select: response_max_us is 48 (1 job), 0.001 more"
    )
    jsonschema.validate(json.loads(document), SCHEMA)


def test_what_goes_to_standard_output_stands_there_alone(log, budgets, capsys):
    assert main(["check", str(log), "--budgets", budgets(BROKEN), "--json", "-"]) == 1
    assert json.loads(capsys.readouterr().out)["verdict"] == "fail"


def test_a_window_and_a_day(log, budgets, capsys):
    waived = BROKEN + 'waiver = { until = 2027-01-31, reason = "driver" }\n'
    command = ["check", str(log), "--budgets", budgets(waived)]
    assert main([*command, "--today", "2027-01-31"]) == 0
    assert main([*command, "--today", "2027-02-01"]) == 1
    assert "expired on 2027-01-31 and counts no more" in " ".join(capsys.readouterr().out.split())
    assert main([*command, "--to", "60us", "--today", "2027-02-01"]) == 4  # it ends at 66
    assert "the log shows none of its jobs" in " ".join(capsys.readouterr().out.split())


def test_the_budgets_file_declares_what_the_log_does_not(log, budgets, tmp_path, capsys):
    chain = '[chains.both]\npath = ["archive", "needle_select"]\n'
    limit = "[budgets.chains.both]\ninstances_min = 1\n"
    assert main(["check", str(log), "--budgets", budgets(limit)]) == 3
    assert "the log has no chain of that name" in capsys.readouterr().err
    main(["check", str(log), "--budgets", budgets(chain + limit)])
    assert "the log has no chain" not in capsys.readouterr().err
    system = tmp_path / "system.toml"
    system.write_text("[tasks.needle_select]\ndeadline_us = 47\n", encoding="utf-8")
    late = "[budgets.tasks.needle_select]\nmisses = 0\n"
    command = ["check", str(log), "--system", str(system), "--budgets"]
    assert main([*command, budgets(late)]) == 1
    assert main([*command, budgets("[tasks.needle_select]\ndeadline_us = 48\n" + late)]) == 0


@pytest.mark.parametrize(
    ("text", "status", "error"),
    [
        (
            "[budgets.tasks.needle_select]\nrespons_max_us = 48\n",
            3,
            "{file}:2: budgets.tasks.needle_select.respons_max_us is not a key: "
            "did you mean response_max_us?",
        ),
        (
            "[budgets.tasks.needle_selector]\nresponse_max_us = 48\n",
            3,
            "{file}:2: budgets.tasks.needle_selector: the log has no task of that name: "
            "did you mean needle_select?",
        ),
        (
            "[budgets.tasks.needle_select]\nresponse_max_ms = 4\n",
            3,
            "{file}:2: budgets.tasks.needle_select.response_max_ms: found a limit in ms, "
            "expected a time in µs: did you mean response_max_us = 4000?",
        ),
        ("[clock]\nhz = 1000000\n", 2, "{file}: no limit is set: found none under [budgets]"),
    ],
)
def test_a_mistake_in_the_file_is_one_line(log, budgets, capsys, text, status, error):
    file = budgets(text)
    assert main(["check", str(log), "--budgets", file]) == status
    assert capsys.readouterr().err == f"tracelens: {error.format(file=file)}\n"


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ([], "no budgets: found neither --budgets nor --suggest"),
        (["--suggest", "--budgets", "b.toml"], "found --suggest and an option for verdicts"),
        (["--suggest", "--to", "5ms"], "found --suggest and an option for verdicts"),
        (["--budgets", "b.toml", "-o", "c.toml"], "--output is for a suggested file"),
        (["--suggest", "--margin", "0.2"], "found '0.2', expected a percentage such as 20%"),
        (["--budgets", "none.toml"], "none.toml: no such file"),
    ],
)
def test_a_wrong_request_is_told(log, capsys, options, says):
    assert main(["check", str(log), *options]) in (2, 3)
    assert says in capsys.readouterr().err


def test_a_first_file_passes_on_the_run_that_it_is_made_from(log, tmp_path, capsys):
    file = str(tmp_path / "budgets.toml")
    assert main(["check", "--suggest", str(log), "-o", file]) == 0
    assert re.fullmatch(
        rf"{re.escape(file)}: \d+ limits from {log.name}\n", capsys.readouterr().out
    )
    assert main(["check", str(log), "--budgets", file]) == 0
    assert main(["check", "--suggest", str(log), "--margin", "5 %"]) == 0
    assert "response_max_us = 40" not in capsys.readouterr().out

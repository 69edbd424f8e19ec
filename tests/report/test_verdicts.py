"""Verdicts in sentences, and in every form that they are written in."""

import json
from datetime import date
from importlib.resources import files
from pathlib import Path

import jsonschema
import junitparser
import pytest
import xmlschema

from tests.verdicts.runs import hundred, small
from tracelens.formats.toml_schema import parse_toml
from tracelens.model.verdicts import Verdicts
from tracelens.report import annotations, junit, markdown, verdicts, verdicts_json
from tracelens.report.verdict_words import sentence
from tracelens.verdicts import judge

SCHEMA = json.loads(files("tracelens.report").joinpath("check-1.schema.json").read_text("utf-8"))
JUNIT = xmlschema.XMLSchema(Path(__file__).parent / "schemas" / "junit-10.xsd")
TODAY = date(2026, 6, 1)

MANY = """\
[budgets.log]
lost_events_max = 0
[budgets.tasks."*"]
load_max = 0.5
[budgets.tasks.control]
misses = 0
response_max_us = 49.999
reason = "the solenoids must be set."
[budgets.tasks.logger]
severity = "warning"
response_max_us = 124
response_p99_us = 200
start_latency_max_us = { at_most = 1, waiver = { until = 2026-06-01, reason = "driver 2.3" } }
[budgets.locks.bus]
waiver = { until = 2026-05-31, reason = "FW-118" }
hold_max_us = 10
[budgets.tasks.idle]
response_p95_us = 5
"""
"""Of ten limits three are met and five broken, one of them waived and one no error; of the two
that are unknown one is no error."""


def judged(text: str = MANY, run=None) -> Verdicts:
    budgets = parse_toml(text, "budgets.toml").budgets
    return judge(run or small(), budgets, TODAY)


def said(text: str, run=None) -> str:
    found = judged(text, run)
    (verdict,) = found.verdicts
    return sentence(verdict, TODAY)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (
            "[budgets.tasks.control]\nresponse_max_us = 49.999",
            "control: response_max_us is 50 (6 jobs), 0.001 more than the 49.999 allowed; job 5, "
            "released at 0.000420 s (run.csv:62): execution 50 µs.",
        ),
        (
            "[budgets.tasks.control]\nstack_free_min_bytes = 401",
            "control: stack_free_min_bytes is 400, 1 less than the 401 required; at 0.000034 s "
            "(run.csv:23).",
        ),
        (
            "[budgets.tasks.control]\nmisses = { at_most = 0, of = 5 }",
            "control: misses is 1 (6 jobs), 1 more than the 0 of any 5 allowed; job 5, released at "
            "0.000420 s (run.csv:62): execution 50 µs.",
        ),
        (
            "[budgets.locks.bus]\nhold_max_us = 20",
            "bus: hold_max_us is 24 (3 holds), 4 more than the 20 allowed; logger, at 0.000310 s "
            "(run.csv:46).",
        ),
        (
            "[budgets.phases.knit.tasks.control]\njobs_min = 6",
            "control in phase knit: jobs_min is 5, 1 less than the 6 required.",
        ),
        (
            "[budgets.tasks.control]\nload_max = 0.185",
            "control: load_max is 0.185, within 0.185.",
        ),
        (
            "[budgets.tasks.control]\nload_max = 0.18499999999",
            "control: load_max is 0.185, 1e-11 more than the 0.18499999999 allowed.",
        ),
        (
            "[budgets.tasks.control]\nresponse_p95_us = 60",
            "control: response_p95_us is 50 as far as is known, at most 60 allowed: 6 jobs, "
            "too few for the 95th percentile, which takes 20.",
        ),
        (
            "[budgets.tasks.logger]\nstack_free_min_bytes = 64",
            "logger: stack_free_min_bytes is unknown: the log has no mark of its stack.",
        ),
    ],
)
def test_a_verdict_in_a_sentence(text, expected):
    assert said(text) == expected


def test_the_reason_and_the_waiver_are_told():
    told = {v.budget.measure.key: sentence(v, TODAY) for v in judged().verdicts}
    assert told["misses"].endswith(" Reason for the limit: the solenoids must be set.")
    assert told["start_latency_max_us"].endswith(" Waived until 2026-06-01: driver 2.3.")
    assert told["hold_max_us"].endswith(
        " The waiver expired on 2026-05-31 and counts no more (FW-118)."
    )


def test_the_document_puts_first_what_decides():
    page = verdicts.document(judged())
    assert page.title == "run.csv against budgets.toml"
    assert page.verdict == (
        "Fail: 3 of 10 limits are met, 5 broken, 2 unknown, 1 of these waived, "
        "2 of these only warn."
    )
    told = [(remark.severity, remark.text.partition(" is ")[0]) for remark in page.remarks]
    assert told == [
        ("error", "control: misses"),
        ("error", "control: response_max_us"),
        ("error", "bus: hold_max_us"),
        ("warning", "logger: response_max_us"),
        ("note", "logger: start_latency_max_us"),
        ("warning", "idle: response_p95_us"),
        ("warning", "logger: response_p99_us"),
    ]
    assert [section.title for section in page.sections] == [
        "Limits that are met, the tightest first",
        "What the globs meet",
        "Waivers",
        "What this check cannot say",
    ]
    globs = page.sections[1].blocks[0]
    assert globs.items == ('[budgets.tasks."*"] meets control, logger',)


def test_where_the_time_of_one_job_went_is_told_once():
    texts = [remark.text for remark in verdicts.document(judged()).remarks]
    assert sum("execution 50 µs" in text for text in texts) == 1


def test_what_is_unknown_for_one_reason_is_told_together():
    text = "[budgets.tasks.control]\nresponse_max_us = 400\nexecution_max_us = 400\n"
    remark, note = verdicts.document(judged(text, hundred(gap=True))).remarks
    assert note.severity == "note"
    assert note.text.endswith("tolerated_loss under [budgets].")
    assert remark.text == (
        "2 limits are unknown, for part of the log is unknown, and one more of its jobs may lie in "
        "it (control: response_max_us, execution_max_us). All are met as far as is known."
    )


def test_markdown_has_no_line_that_acts():
    page = markdown.render(verdicts.document(judged()))
    assert "- ■ **error**: control: misses is 1" in page
    assert r'- \[budgets.tasks."\*"\] meets control, logger' in page


def test_junit_is_what_the_widely_used_schema_allows():
    JUNIT.validate(junit.render(judged()).decode())


def test_junit_tells_what_decides_as_failures_and_errors():
    xml = junitparser.JUnitXml.fromstring(junit.render(judged()))
    (suite,) = xml
    assert suite.name == "run.csv against budgets.toml"
    assert (suite.tests, suite.failures, suite.errors, suite.skipped) == (10, 3, 1, 3)
    told = {(case.classname, case.name): case.result for case in suite}
    (failure,) = told["tasks.control", "misses"]
    assert isinstance(failure, junitparser.Failure)
    assert failure.message.startswith("control: misses is 1 (6 jobs), 1 more than the 0 allowed")
    assert isinstance(told["tasks.idle", "response_p95_us"][0], junitparser.Error)
    assert isinstance(told["tasks.logger", "response_max_us"][0], junitparser.Skipped)
    assert told["log", "lost_events_max"] == []


def test_names_cannot_break_the_xml():
    evil = small(swap={"name=control": 'name="con<tr&ol"'})
    text = '[budgets.tasks."con*"]\nmisses = 0\nreason = "a bell \\u0007"\n'
    data = junit.render(judged(text, evil))
    JUNIT.validate(data.decode())
    (suite,) = junitparser.JUnitXml.fromstring(data)
    assert [case.classname for case in suite] == ["tasks.con<tr&ol"]
    assert "a bell \\x07" in next(iter(suite)).result[0].message


def test_annotations_point_at_the_limit_one_line_each():
    lines = "".join(annotations.render(judged())).splitlines()
    assert len(lines) == 7
    assert lines[0].startswith("budgets.toml:6: error: control: misses is 1 (6 jobs), 1 more than")
    assert [line.split(": ")[1] for line in lines] == [
        *("error", "error", "error", "error", "warning", "note", "warning"),
    ]
    assert "is unknown" in lines[3], "it decides no less than a broken limit"


def test_the_json_is_what_its_schema_says():
    found = judged()
    document = json.loads(verdicts_json.encode(found))
    jsonschema.validate(document, SCHEMA, format_checker=jsonschema.FormatChecker())
    assert document["verdict"] == "fail"
    assert document["counts"] == {"pass": 3, "fail": 5, "unknown": 2, "waived": 1}
    assert document["globs"] == [{"table": 'budgets.tasks."*"', "names": ["control", "logger"]}]
    rows = {(row["name"], row["measure"]): row for row in document["verdicts"]}
    worst = rows["control", "response_max_us"]
    assert (worst["measured"], worst["limit"], worst["margin"]) == (50, 49.999, -0.001)
    assert worst["place"]["ledger"] == [
        {"entry": "execution", "by": "control", "via": None, "us": 50}
    ]
    assert (worst["place"]["job"], worst["place"]["at_us"]) == (5, 420)
    assert (worst["values"], worst["values_are"], worst["line"]) == (6, "jobs", 7)
    known = rows["logger", "response_p99_us"]
    assert (known["low"], known["high"]) == (0, None)
    assert rows["bus", "hold_max_us"]["waiver"] == {
        "until": "2026-05-31",
        "reason": "FW-118",
        "expired": True,
    }
    assert set(document["verdicts"][0]) == set(
        SCHEMA["properties"]["verdicts"]["items"]["required"]
    )

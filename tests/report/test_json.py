"""The report as JSON: its contract, and its numbers."""

import json
from importlib.resources import files

import jsonschema
import polars as pl
import pytest

from tests.report.example import empty_analysis, knitting
from tracelens.model.results import Analysis
from tracelens.report import json_

SCHEMA = json.loads(files("tracelens.report").joinpath("report-1.schema.json").read_text("utf-8"))


def written(analysis: Analysis) -> dict:
    return json.loads(b"".join(json_.chunks(analysis)))


def test_the_schema_is_one():
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


@pytest.mark.parametrize("analysis", [knitting(), empty_analysis()], ids=["knitting", "empty"])
def test_what_is_written_keeps_the_contract(analysis):
    jsonschema.validate(written(analysis), SCHEMA)


def test_the_schema_notices_a_missing_key():
    document = written(knitting())
    del document["misses"][0]["ledger"][0]["via"]
    with pytest.raises(jsonschema.ValidationError, match="'via' is a required property"):
        jsonschema.validate(document, SCHEMA)


def test_times_are_microseconds_and_names_are_names():
    miss = written(knitting())["misses"][0]
    assert (miss["task"], miss["job"]) == ("needle_select", 4060)
    assert (miss["release_us"], miss["response_us"]) == (8_121_000, 2412)
    assert (miss["deadline_us"], miss["lateness_us"], miss["open"]) == (1800, 612, False)


def test_the_entries_of_a_ledger_add_up_to_the_response():
    for miss in written(knitting())["misses"]:
        assert sum(entry["us"] for entry in miss["ledger"]) == pytest.approx(miss["response_us"])


def test_nobody_is_null_not_an_empty_word():
    ledger = written(knitting())["misses"][0]["ledger"]
    assert ledger[-1] == {"entry": "switching", "by": None, "via": None, "us": 49}
    assert ledger[0]["via"] is None


def test_third_parties_are_named_with_their_share():
    inversions = written(knitting())["inversions"]
    assert [inversion["third_parties"] for inversion in inversions] == [{"link": 652}, {}]


def test_unused_lines_are_counted_by_reason():
    unused = written(knitting())["log"]["unused_lines"]
    assert unused["torn"] == {"count": 4, "first_lines": ["184318"]}


def test_a_peak_that_was_not_found_is_null():
    cores = knitting().cores.with_columns(peak_load=pl.lit(None, pl.Float64))
    document = written(empty_analysis(cores=cores))
    assert [core["peak_load"] for core in document["cores"]] == [None, None]


def test_a_list_longer_than_a_slice_is_whole(monkeypatch):
    monkeypatch.setattr(json_, "_SLICE", 2)
    document = written(knitting())
    assert [task["name"] for task in document["tasks"]] == knitting().tasks["task"].to_list()
    assert len(document["misses"]) == 3


def test_control_characters_in_names_are_escaped_not_written():
    tasks = knitting().tasks.with_columns(task=pl.lit("a\x1b\n\u2028"))
    text = b"".join(json_.chunks(empty_analysis(tasks=tasks)))
    assert b"\x1b" not in text
    assert json.loads(text)["tasks"][0]["name"] == "a\x1b\n\u2028"

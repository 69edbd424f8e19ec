"""What is kept of a run: every value against the run's own report."""

from datetime import UTC, datetime

import pytest

from tests.frames import assert_table
from tracelens.analysis import analyse
from tracelens.history.summary import _start, summarise
from tracelens.model.history import HISTORY, MEASURES
from tracelens.reading import read

NOW = datetime(2026, 3, 2, 21, 4, tzinfo=UTC)


@pytest.fixture(scope="module", params=["knitting_inversion", "knitting_two_cores"])
def both(request):
    analysis = analyse(read(f"sample_traces/{request.param}.csv"))
    return analysis, summarise(analysis, "a" * 32, "run.csv", NOW)


def test_the_table_keeps_its_contract(both):
    analysis, rows = both
    assert_table(rows, HISTORY, {})
    assert rows.select("measure", "subject").is_unique().all()
    assert rows["added"].unique().to_list() == [NOW]
    assert rows["events"][0] == analysis.quality.events
    assert {pair["key"]: pair["value"] for pair in rows["keys"][0]} == analysis.timeline.system.run
    assert set(rows["measure"].unique()) <= set(MEASURES)


def test_values_are_those_of_the_report(both):
    analysis, rows = both
    value = {
        (measure, subject): number
        for measure, subject, number in zip(
            rows["measure"], rows["subject"], rows["value"], strict=True
        )
    }
    for row in analysis.tasks.filter(~analysis.tasks["idle"]).to_dicts():
        task = row["task"]
        assert round(value["execution", task]) == row["job_execution_mean_ns"]
        assert value["longest_execution", task] == row["job_execution_max_ns"]
        assert round(value["response", task]) == row["response_mean_ns"]
        assert value["response_p95", task] == row["response_p95_ns"]
        assert value["longest_response", task] == row["response_max_ns"]
        assert value["stack", task] == row["stack_least_free_bytes"]
        assert value["load", task] == pytest.approx(row["load"], rel=1e-3)
    for row in analysis.locks.to_dicts():
        sections = [v for (m, s), v in value.items() if m == "longest_section" and row["lock"] in s]
        assert max(sections) == row["own_max_ns"]
    for row in analysis.queues.to_dicts():
        assert value["most_items", row["queue"]] == row["most_items"]
    for row in analysis.cores.to_dicts():
        assert value["peak_load", f"core {row['core']}"] == row["peak_load"]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2026-03-02T21:04:00Z", NOW),
        ("2026-03-02T22:04:00+01:00", NOW),
        ("2026-03-02T21:04:00", NOW),
        ("last Tuesday", None),
        (None, None),
    ],
)
def test_the_start_is_utc(text, expected):
    assert _start({} if text is None else {"start": text}) == expected

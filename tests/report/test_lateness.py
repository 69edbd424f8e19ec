"""What a report says about late jobs."""

from tests.report.example import empty_analysis, knitting
from tracelens.model.columns import ENTRIES
from tracelens.report import lateness


def test_every_ledger_entry_has_words():
    assert set(lateness.ENTRY_MEANS) == set(ENTRIES)


def test_the_job_that_is_late_by_most_stands_first():
    table = lateness.late_jobs(knitting()).blocks[0]
    assert [row[:2] for row in table.rows] == [
        ("panel", 124),
        ("needle_select", 4060),
        ("needle_select", 4061),
    ]


def test_an_open_job_is_marked_and_its_response_called_a_lower_bound():
    table = lateness.late_jobs(knitting()).blocks[0]
    assert [row[-1] for row in table.rows] == [True, False, False]
    assert "lower bound" in table.note


def test_only_the_worst_job_of_each_task_is_accounted_for():
    table = lateness.late_jobs(knitting()).blocks[2]
    named = [row[0] for row in table.rows if row[0]]
    assert named == ["panel 124", "needle_select 4060"]


def test_without_late_jobs_inversions_or_deadlocks_nothing_is_said():
    for make in (lateness.late_jobs, lateness.inversions, lateness.deadlocks):
        assert make(empty_analysis()) is None

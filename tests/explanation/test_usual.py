"""A job beside the median one, and late jobs by cause, on tables written by hand. Times are ns."""

import pytest

from tests import frames
from tracelens.explanation import explain
from tracelens.explanation.usual import median_job, stories
from tracelens.model.results import Timeline
from tracelens.model.system import System, Task

Episode = tuple[int, str, str | None, str | None]  # length, entry, by, via

USUAL: list[Episode] = [(10, "execution", "work", None)]
PREEMPTED: list[Episode] = [(50, "interference", "urgent", None), *USUAL]
INVERTED: list[Episode] = [(60, "inversion", "third", "bus"), *USUAL, (5, "isr", "tick", None)]
INTERRUPTED: list[Episode] = [*USUAL, (45, "isr", "tick", None)]
PERIOD, DEADLINE = 100, 40


def run(*jobs: list[Episode]) -> Timeline:
    """Jobs of `work`, one a period; a job that is longer than its period delays the next."""
    rows = {"job_id": [], "task": [], "job": [], "release_ns": [], "end_ns": [], "late": []}
    rows |= {"status": [], "deadline_ns": [], "response_ns": []}
    episodes = {"job_id": [], "start_ns": [], "end_ns": [], "entry": [], "by": [], "via": []}
    free = 0
    for number, ledger in enumerate(jobs):
        at = release = number * PERIOD
        if free > release:
            ledger = [(free - release, "backlog", None, None), *ledger]
        for ns, entry, by, via in ledger:
            row = (number, at, at + ns, entry, by, via)
            at += ns
            for name, value in zip(episodes, row, strict=True):
                episodes[name].append(value)
        free = at
        late = at - release > DEADLINE
        row = (number, "work", number + 1, release, at, late, "complete", DEADLINE, at - release)
        for name, value in zip(rows, row, strict=True):
            rows[name].append(value)
    return frames.timeline(
        span_ns=len(jobs) * PERIOD + PERIOD,
        system=System(tasks=(Task("work", "work", priority=1, deadline_ns=DEADLINE),)),
        jobs=rows,
        episodes=episodes,
    )


def told(timeline: Timeline) -> list[tuple[object, ...]]:
    return [
        (s.entry, s.by, s.via, s.jobs, s.through_backlog, s.first.number, s.worst.number)
        for s in stories(timeline.jobs, timeline.episodes)
    ]


def test_four_hundred_late_jobs_are_three_stories():
    jobs = [USUAL] * 1000
    for number in range(200):
        jobs[2 * number] = PREEMPTED
    for number in range(150):
        jobs[401 + 2 * number] = INVERTED
    for number in range(50):
        jobs[800 + number] = INTERRUPTED
    assert told(run(*jobs)) == [
        ("interference", "urgent", None, 200, 0, 1, 1),
        ("inversion", "third", "bus", 150, 0, 402, 402),
        ("isr", "tick", None, 50, 0, 801, 801),
    ]


def test_the_worst_of_a_story_is_the_latest_and_the_earlier_of_equals():
    worse = [(70, "interference", "urgent", None), *USUAL]
    jobs = [USUAL, USUAL, PREEMPTED, USUAL, worse, USUAL, worse, USUAL, USUAL]
    assert told(run(*jobs)) == [("interference", "urgent", None, 3, 0, 3, 5)]


def test_a_job_late_through_backlog_counts_with_the_job_that_it_began_with():
    """Job 2 takes 260, into the releases of 3 and 4: these wait 160 and 70 for it."""
    long = [(250, "interference", "urgent", None), *USUAL]
    jobs = [USUAL, long, USUAL, USUAL, USUAL, USUAL, USUAL]
    assert told(run(*jobs)) == [("interference", "urgent", None, 3, 2, 2, 2)]


def test_where_the_median_job_is_late_itself_the_largest_entry_is_the_cause():
    """Growth would say nothing: all jobs are alike. Own execution is none while it is short."""
    assert told(run(PREEMPTED, PREEMPTED, PREEMPTED)) == [
        ("interference", "urgent", None, 3, 0, 1, 1)
    ]


def test_own_execution_beyond_the_deadline_is_the_cause():
    overrun = [(60, "interference", "urgent", None), (41, "execution", "work", None)]
    assert told(run(overrun))[0][:3] == ("execution", "work", None)


def test_an_entry_that_is_always_there_is_not_the_cause():
    """Of 35 interference 30 are usual; the 25 of the handler are not."""
    usual = [(30, "interference", "urgent", None), (5, "execution", "work", None)]
    late = [(35, "interference", "urgent", None), *usual[1:], (25, "isr", "tick", None)]
    assert told(run(usual, usual, late))[0][:3] == ("isr", "tick", None)


@pytest.mark.parametrize(
    ("lengths", "number"),
    # Nearest rank: of 1, 2, 3, 4 the second, of 1, 2, 3 the second; the first job of equals.
    [([4, 3, 2, 1], 3), ([3, 1, 2], 3), ([2, 2, 2], 1), ([7], 1)],
)
def test_the_median_job_is_the_nearest_rank_median(lengths, number):
    timeline = run(*([(ns, "execution", "work", None)] for ns in lengths))
    middle, judged = median_job(timeline.jobs)
    assert (middle.number, judged) == (number, len(lengths))


def test_what_grew_against_the_median_job_and_its_share():
    """25 + 5 grew, 5 and nothing shrank: shares are of the 30."""
    usual = [(10, "execution", "work", None), (5, "switching", None, None)]
    late = [
        (10, "execution", "work", None),
        (25, "interference", "urgent", None),
        (5, "isr", "tick", None),
    ]
    timeline = run(usual, late, usual)
    growths = explain(timeline, 1).usual.growths
    assert [(g.entry, g.ns, g.usual_ns, round(g.share, 4)) for g in growths] == [
        ("interference", 25, 0, 0.8333),
        ("isr", 5, 0, 0.1667),
        ("execution", 10, 10, 0),
        ("switching", 0, 5, 0),
    ]
    assert explain(timeline, 0).usual is None, "it is the median job itself"


def test_no_late_job_no_story():
    assert told(run(USUAL, USUAL)) == []

"""Which limits hold for what, when a verdict is open, and what decides on the run."""

from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.verdicts import runs
from tests.verdicts.runs import hundred, small
from tracelens.errors import SystemFileError
from tracelens.formats.toml_schema import parse_toml
from tracelens.measures.misses import most_misses
from tracelens.model.verdicts import Verdict, Verdicts
from tracelens.verdicts import judge
from tracelens.verdicts.samples import bounds

TODAY = date(2026, 6, 1)


def judged(run, text: str, **options) -> Verdicts:
    return judge(run, parse_toml(text, "B.toml").budgets, TODAY, **options)


def only(run, text: str, **options) -> Verdict:
    (verdict,) = judged(run, text, **options).verdicts
    return verdict


def mistake(text: str) -> str:
    with pytest.raises(SystemFileError) as caught:
        judged(small(), text)
    hint = caught.value.hint
    return str(caught.value) + (f" | {hint}" if hint else "")


# --- names, globs and phases ---


def test_a_glob_meets_the_tasks_of_its_pattern_and_passes_over_idle_ones():
    found = judged(small(), '[budgets.tasks."*"]\nload_max = 0.5\n')
    assert [one.name for one in found.verdicts] == ["control", "logger"]
    assert found.met == (('budgets.tasks."*"', ("control", "logger")),)


def test_a_name_goes_before_a_glob_and_a_later_glob_before_an_earlier():
    found = judged(
        small(),
        "[budgets.tasks.control]\nload_max = 0.9\n"
        '[budgets.tasks."*"]\nload_max = 0.1\nmisses = 1\n'
        '[budgets.tasks."log*"]\nload_max = 0.3\n',
    )
    told = {(one.name, one.budget.measure.key): one.budget.limit for one in found.verdicts}
    assert told == {
        ("control", "load_max"): 0.9,
        ("control", "misses"): 1,
        ("logger", "misses"): 1,
        ("logger", "load_max"): 0.3,
    }


def test_a_glob_passes_over_what_a_limit_says_nothing_about():
    text = '[budgets.tasks."*"]\nmisses = 1\nrelease_jitter_max_us = 1\nstack_headroom_min = 0.1\n'
    found = judged(small(), text)
    assert [one.name for one in found.verdicts] == ["control", "logger", "control", "control"]
    assert [(one.name, one.measure, one.why) for one in found.passed_over] == [
        ("logger", "release_jitter_max_us", "no period is declared"),
        ("logger", "stack_headroom_min", "the size of its stack is not declared"),
    ]
    assert found.outcome == "pass"
    alone = judged(small(), '[budgets.tasks."log*"]\nrelease_jitter_max_us = 1\n')
    assert alone.outcome == "unknown"  # what holds for nothing has not been met


def test_an_idle_task_can_be_named():
    assert only(small(), "[budgets.tasks.idle]\nload_max = 0.6\n").name == "idle"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            "[budgets.tasks.contrl]\nmisses = 0",
            "B.toml:2: budgets.tasks.contrl: the log has no task of that name: "
            "did you mean control?",
        ),
        (
            '[budgets.tasks."contol*"]\nmisses = 0',
            'B.toml:2: budgets.tasks."contol*": the log has no task that the glob meets: '
            "did you mean control?",
        ),
        (
            "[budgets.locks.radio]\nhold_max_us = 3",
            "B.toml:2: budgets.locks.radio: the log has no lock of that name | the log has bus",
        ),
        (
            "[budgets.phases.knitt]\noccurrences_min = 1",
            "B.toml:2: budgets.phases.knitt: the log has no phase of that name: did you mean knit?",
        ),
        (
            "[budgets.phases.nit.tasks.control]\nmisses = 1",
            "B.toml:2: budgets.phases.nit.tasks.control: the log has no phase of that name: "
            "did you mean knit?",
        ),
        (
            "[budgets.isrs.encode]\nruns_min = 1",
            "B.toml:2: budgets.isrs.encode: the log has no interrupt handler of that name: "
            "did you mean encoder?",
        ),
    ],
)
def test_a_name_that_meets_nothing_is_an_error_with_the_nearest(text, said):
    assert mistake(text) == said


def test_a_phase_is_judged_by_what_lies_in_it():
    """Of the six jobs of control the last, of 520, lies outside [0, 500)."""
    text = (
        "[budgets.phases.knit.tasks.control]\njobs_min = 6\n[budgets.tasks.control]\njobs_min = 6"
    )
    found = judged(small(), text).verdicts
    assert [(one.budget.phase, one.outcome, one.measured) for one in found] == [
        ("knit", "fail", 5),
        (None, "pass", 6),
    ]


def test_the_command_s_window_and_phase_hold_for_what_names_no_phase():
    text = "[budgets.tasks.control]\njobs_min = 1"
    assert only(small(), text, window=(100_000, 300_000)).measured == 2
    assert only(small(), text, phase="knit").measured == 5
    assert only(small(), text, window=(100_000, 600_000), phase="knit").measured == 4


# --- misses, at most m of any k ---


def test_misses_of_any_so_many_consecutive_jobs():
    """A pattern of the weakly hard kind (Bernat, Burns and Llamosí 2001): of the jobs 1 to 12

    the 1st, 2nd, 5th and 11th are late: 2 in any 3 (jobs 1, 2), 3 in any 5 (1, 2, 5), 1 in any 1.
    """
    late = [1, 2, 5, 11]
    assert [most_misses(runs.numbers(late), k) for k in (1, 2, 3, 4, 5, 11, 12)] == [
        *(1, 2, 2, 2, 3, 4, 4)
    ]


@given(st.lists(st.booleans(), max_size=40), st.integers(1, 12))
def test_most_misses_equals_looking_at_every_window(late, k):
    windows = [sum(late[i : i + k]) for i in range(max(len(late) - k + 1, 1))]
    numbers = runs.numbers([i for i, missed in enumerate(late, 1) if missed])
    assert most_misses(numbers, k) == max(windows, default=0)


@pytest.mark.parametrize(
    ("limit", "outcome"),
    [
        ("{ at_most = 1, of = 2 }", "pass"),
        ("{ at_most = 0, of = 6 }", "fail"),
        ("{ at_most = 0, of = 10 }", "fail"),  # one of six is late: no further job mends that
        ("{ at_most = 1, of = 10 }", "unknown"),  # six jobs are fewer than ten
        ("{ at_most = 5, of = 10 }", "pass"),  # one, and four that may come
    ],
)
def test_at_most_m_of_any_k(limit, outcome):
    assert only(small(), f"[budgets.tasks.control]\nmisses = {limit}").outcome == outcome


# --- when a verdict is open ---


def test_too_few_jobs_for_a_percentile_leave_it_open_unless_they_tell_enough():
    text = "[budgets.tasks.control]\nresponse_p99_us = {}"
    few = hundred(count=98)  # responses of 211 to 308
    assert only(few, text.format(308)).outcome == "unknown"
    assert only(few, text.format(306)).outcome == "fail"  # two above: more than 1 of any 100
    assert only(few, text.format(307)).outcome == "unknown"
    assert only(hundred(count=99), text.format(309)).outcome == "pass"
    why = only(few, text.format(308)).why
    assert why == "98 jobs, too few for the 99th percentile, which takes 100"


def test_a_loss_that_is_put_up_with_leaves_nothing_open():
    text = "[budgets]\ntolerated_loss = {}\n[budgets.tasks.control]\nresponse_max_us = 310"
    assert only(hundred(gap=True), text.format(0)).outcome == "unknown"
    # What control did is unknown from 100.521 to 100.9 ms, and known from 1.2 ms on: 0.38 %.
    assert only(hundred(gap=True), text.format(0.003)).outcome == "unknown"
    assert only(hundred(gap=True), text.format(0.004)).outcome == "pass"


def test_a_loss_that_is_put_up_with_is_so_for_what_is_rare_as_well():
    text = "[budgets]\ntolerated_loss = 0.1\n[budgets.locks.bus]\ndeadlocks_max = 0"
    assert only(small(gap=True), text).outcome == "pass"  # 50 of 600 µs
    assert only(small(gap=True), text.replace("0.1", "0.08")).outcome == "unknown"


def test_excluded_jobs_are_a_loss_as_well():
    """A job of control is under way when records are lost: one of seven."""
    torn = small(more="540 release t1\n540 start t1\n", gap=True)
    text = "[budgets]\ntolerated_loss = {}\n[budgets.tasks.control]\nresponse_max_us = 50"
    assert only(torn, text.format(0.1)).outcome == "unknown"
    assert only(torn, text.format(0.15)).outcome == "pass"


def test_a_loss_does_not_hide_a_breach():
    text = "[budgets.tasks.control]\nresponse_max_us = 309.999"
    assert only(hundred(gap=True), text).outcome == "fail"


def test_what_is_unknown_before_a_task_is_first_seen_is_no_loss():
    """`logger` is seen first at its release at 36; its first job is not judged for that."""
    verdict = only(small(), "[budgets.tasks.logger]\nresponse_max_us = 125")
    assert (verdict.outcome, verdict.count) == ("pass", 1)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        (
            "[budgets.tasks.logger]\nstack_headroom_min = 0.1",
            "the size of its stack is not declared",
        ),
        ("[budgets.tasks.logger]\nstack_free_min_bytes = 1", "the log has no mark of its stack"),
        ("[budgets.tasks.idle]\nresponse_max_us = 1", "the log shows none of its jobs"),
        ("[budgets.tasks.idle]\nmisses = 0", "no deadline is declared, so no job can miss it"),
        (
            "[budgets.tasks.logger]\nrelease_jitter_max_us = 1",
            "no period is declared",
        ),
    ],
)
def test_what_was_not_measured_is_unknown(text, why):
    verdict = only(small(), text)
    assert (verdict.outcome, verdict.measured, verdict.margin) == ("unknown", None, None)
    assert verdict.why.startswith(why)


def test_a_lock_that_nobody_waited_for_has_no_wait():
    alone = {"324 request t1 m1\n324 wait t1 m1\n": "", "335 lock t1 m1\n340 unlock t1 m1\n": ""}
    verdict = only(small(swap=alone), "[budgets.locks.bus]\nwait_max_us = 0")
    assert (verdict.outcome, verdict.measured, verdict.count) == ("pass", 0, 0)


def test_a_job_that_never_ends_breaks_a_limit_that_it_has_outlasted():
    """Released at 540 and still running at 600, when the complete ones took 50 at most."""
    hung = small(more="540 release t1\n540 start t1\n")
    verdict = only(hung, "[budgets.tasks.control]\nresponse_max_us = 59.999")
    assert (verdict.outcome, verdict.measured) == ("fail", 60_000)
    assert verdict.spot is not None and (verdict.spot.job, verdict.spot.line) == (7, 71)
    assert only(hung, "[budgets.tasks.control]\nresponse_max_us = 60").outcome == "pass"


def test_a_lock_that_is_never_given_back_breaks_a_limit_that_it_has_outlasted():
    held = small(more="540 release t1\n540 start t1\n545 lock t1 m1\n")
    verdict = only(held, "[budgets.locks.bus]\nhold_max_us = 54")
    assert (verdict.outcome, verdict.measured) == ("fail", 55_000)


# --- what decides ---

BROKEN = "[budgets.tasks.control]\nmisses = 0\n"
OPEN = "[budgets.tasks.control]\nresponse_p99_us = 60\n"
WAIVED = 'waiver = { until = %s, reason = "driver 2.3" }\n'


@pytest.mark.parametrize(
    ("text", "outcome"),
    [
        ("[budgets.tasks.control]\nmisses = 1\n", "pass"),
        (BROKEN, "fail"),
        (OPEN, "unknown"),
        (BROKEN + "response_p99_us = 60\n", "fail"),
        (BROKEN + 'severity = "warning"\n', "pass"),
        (OPEN + 'severity = "note"\n', "pass"),
        (BROKEN + WAIVED % "2026-06-01", "pass"),  # up to and including its day
        (OPEN + WAIVED % "2026-06-01", "pass"),
        (BROKEN + WAIVED % "2026-05-31", "fail"),  # expired: counts again
    ],
)
def test_what_decides_on_the_run(text, outcome):
    assert judged(small(), text).outcome == outcome


def test_a_waiver_of_what_passes_waives_nothing():
    text = "[budgets.tasks.control]\nmisses = 1\n" + WAIVED % "2027-01-01"
    assert not only(small(), text).waived


# --- the place ---


def test_the_place_is_that_of_the_worst_job_with_its_largest_ledger_entries():
    """Job 5, released at 420, takes 50 µs, all of it its own; its release is line 62."""
    spot = only(small(), "[budgets.tasks.control]\nresponse_max_us = 49").spot
    assert spot is not None
    assert (spot.task, spot.job, spot.at_ns, spot.file, spot.line) == (
        *("control", 5, 420_000, "run.csv", 62),
    )
    assert [(e.entry, e.by, e.ns) for e in spot.ledger] == [("execution", "control", 50_000)]


@pytest.mark.parametrize(
    ("text", "at_us", "line"),
    [
        ("[budgets.locks.bus]\nhold_max_us = 1", 310, 46),
        ("[budgets.locks.bus]\nwait_max_us = 1", 324, 50),
        ("[budgets.isrs.encoder]\nrun_max_us = 1", 12, 15),
        ("[budgets.isrs.encoder]\nlatency_max_us = 1", 10, 14),
        ("[budgets.queues.rows]\nitem_wait_max_us = 1", 35, 24),
        ("[budgets.queues.rows]\nmost_items_max = 0", 35, 24),
        ("[budgets.chains.row]\nlatency_max_us = 1", 220, 39),
        ("[budgets.cores.main]\nirq_masked_max_us = 1", 25, 19),
        ("[budgets.cores.main]\npeak_load_max = 0.1", 0, 12),
        ("[budgets.phases.knit]\nduration_max_us = 1", 0, 12),
        ("[budgets.tasks.control]\nstack_free_min_bytes = 500", 34, 23),
        ("[budgets.tasks.control]\ninversion_max_us = 1", 324, None),
    ],
)
def test_the_place_of_other_breaches(text, at_us, line):
    spot = only(small(), text).spot
    assert spot is not None
    if line is not None:
        assert (spot.at_ns, spot.line) == (at_us * 1000, line)
    else:
        assert (spot.task, spot.job) == ("control", 4)


def test_what_passes_has_no_place():
    assert only(small(), "[budgets.tasks.control]\nmisses = 1").spot is None


# --- the interval of a statistic ---

STATISTICS = st.sampled_from(["min", "mean", "p50", "p95", "p99", "max"])


def statistic(name: str, values: list[int]) -> float:
    """By definition: nearest rank, the smallest value that so many per cent do not exceed."""
    ordered = sorted(values)
    if name.startswith("p"):
        share = int(name[1:]) / 100
        return next(v for i, v in enumerate(ordered, 1) if i / len(ordered) >= share - 1e-12)
    return {"min": min, "max": max, "mean": lambda v: sum(v) / len(v)}[name](values)


@given(
    STATISTICS,
    st.lists(st.integers(0, 1000), min_size=1, max_size=60),
    st.lists(st.integers(0, 1000), max_size=8),
)
def test_whatever_is_missing_the_statistic_lies_in_the_interval(name, seen, missing):
    import polars as pl

    value = int(statistic(name, seen))
    low, high = bounds(name, value, pl.Series(sorted(seen)), len(missing))
    assert low <= value <= high
    if missing:
        assert low <= statistic(name, seen + missing) <= high


@settings(max_examples=20)
@given(STATISTICS, st.lists(st.integers(0, 1000), min_size=100, max_size=120))
def test_what_is_complete_is_a_point(name, seen):
    import polars as pl

    value = int(statistic(name, seen))
    assert bounds(name, value, pl.Series(sorted(seen)), 0) == (value, value)

"""Steps and drifts, against published data, brute force and scipy."""

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from tests.frames import assert_table
from tracelens.history.store import History
from tracelens.history.trends import LEAST, change_points, course, matrix, ranked, trends
from tracelens.measures.contract import conform
from tracelens.model.history import COURSE, HISTORY, RUNS, TRENDS

# Annual flow of the Nile at Aswan, 1871–1970, in 10⁸ m³: Cobb, "The problem of the Nile:
# conditional solution to a change-point problem", Biometrika 65, 1978; the dataset `Nile` of R.
# From memory.
NILE = """
1120 1160 963 1210 1160 1160 813 1230 1370 1140 995 935 1110 994 1020 960 1180 799 958 1140 1100
1210 1150 1250 1260 1220 1030 1100 774 840 874 694 940 833 701 916 692 1020 1050 969 831 726 456 824
702 1120 1100 832 764 821 768 845 864 862 698 845 744 796 1040 759 781 865 845 944 984 897 822 1010
771 676 649 846 812 742 801 1040 860 874 848 890 744 749 838 1050 918 986 797 923 975 815 1020 906
901 1170 912 746 919 718 714 740
"""


def history(columns: dict[tuple[str, str], list[float | None]], unit: str = "ns") -> History:
    """Runs r0, r1, … a day apart; None where a run lacks the measure."""
    first = datetime(2026, 3, 1, tzinfo=UTC)
    rows = [
        {
            "run": f"r{number}",
            "start": first + timedelta(days=number),
            "added": first,
            "source": f"{number}.csv",
            "keys": [],
            "span_ns": 1,
            "events": 1,
            "coverage": 1.0,
            "measure": measure,
            "subject": subject,
            "unit": "share" if measure in ("load", "inversion") else unit,
            "value": value,
        }
        for (measure, subject), values in columns.items()
        for number, value in enumerate(values)
        if value is not None
    ]
    frame = conform(pl.DataFrame(rows, infer_schema_length=None), HISTORY)
    runs = frame.unique("run", keep="first").sort("start")
    return History(conform(runs, RUNS), frame)


def test_the_nile_fell_in_1899():
    """Cobb 1978 and all after him: the change comes after 1898."""
    flow = [float(value) for value in NILE.split()]
    assert len(flow) == 100
    row = trends(history({("load", "nile"): flow})).to_dicts()[0]
    assert (row["changed_at"], row["shape"]) == (f"r{1899 - 1871}", "step")
    assert (row["before"], row["after"]) == (
        np.median(flow[:28]),
        np.median(flow[28:]),
    )
    assert row["change_p"] <= 1 / 1000
    assert row["worse"] is False


@given(st.lists(st.integers(0, 9), min_size=2, max_size=12).filter(lambda v: len(set(v)) > 1))
def test_the_place_is_pettitts(values):
    """U(t) = Σ over i ≤ t < j of sgn(x_i − x_j); the largest |U| (Pettitt 1979, eq. 2.1)."""
    count = len(values)
    u = [
        abs(sum(np.sign(values[i] - values[j]) for i in range(t) for j in range(t, count)))
        for t in range(1, count)
    ]
    place = change_points(np.array(values, float)[:, None]).place[0]
    assert place == max(t for t in range(1, count) if u[t - 1] == max(u))


@pytest.mark.parametrize("spread", [1, 3, 7])
def test_a_run_between_the_levels_is_not_yet_of_the_later_one(spread):
    """Of mid rank exactly, it leaves |U| as it is: the run after it is the first of the new."""
    values = [10.0, 10 + spread, 10, 10 + spread, 10, 50, 90, 90 + spread, 90, 90 + spread, 90]
    found = trends(history({("response", "t"): values}))
    assert found["changed_at"].to_list() == ["r6"]


def test_the_p_is_about_pettitts_approximation():
    """p ≈ 2 exp(−6K² / (n³ + n²)) for many runs (Pettitt 1979, eq. 2.6)."""
    n = 400
    values = np.random.default_rng(1).normal(size=n) + np.repeat([0.0, 0.12], n // 2)
    ranks = stats.rankdata(values)
    largest = np.abs(2 * np.cumsum(ranks) - np.arange(1, n + 1) * (n + 1)).max()
    expected = 2 * np.exp(-6 * largest**2 / (n**3 + n**2))
    assert 0.03 < expected < 0.3
    assert change_points(values[:, None]).p[0] == pytest.approx(expected, rel=0.2)


def test_a_drift_has_the_slope_of_theil_and_sen():
    rng = np.random.default_rng(2)
    values = 1000 + 5.0 * np.arange(30) + rng.normal(0, 10, 30)
    row = trends(history({("response", "t"): list(values)})).to_dicts()[0]
    reference = stats.theilslopes(values, np.arange(30))
    assert row["slope"] == pytest.approx(reference.slope)
    assert row["slope_low"] < 5.0 < row["slope_high"]
    assert row["trend_p"] == pytest.approx(stats.kendalltau(np.arange(30), values).pvalue)
    assert (row["shape"], row["worse"]) == ("drift", True)


def test_several_measures_are_judged_together():
    rng = np.random.default_rng(3)
    columns = {("response", f"t{k}"): list(rng.normal(1000, 10, 24)) for k in range(12)}
    columns["stack", "t0"] = [400.0] * 14 + [340.0] * 10
    found = trends(history(columns, "bytes"))
    assert_table(found, TRENDS, {})
    moved = found.filter(found["shape"].is_not_null())
    assert moved.select("measure", "subject", "changed_at", "worse").to_dicts() == [
        {"measure": "stack", "subject": "t0", "changed_at": "r14", "worse": True}
    ]


def test_a_measure_of_few_runs_is_told_and_not_judged():
    found = trends(
        history({("load", "a"): [0.5] * 20, ("load", "b"): [None] * 13 + [0.1] * (LEAST - 1)})
    )
    assert found["runs"].to_list() == [20, LEAST - 1]
    assert found["slope"].to_list() == [0.0, None]
    assert found["shape"].to_list() == [None, None]


def test_runs_that_lack_a_measure_do_not_disturb_it():
    """The same values with gaps between them have the same ranks, so the same place."""
    values = [1.0, 2, 1, 2, 1, 2, 1, 2, 1, 2, 9, 8, 9, 8, 9, 8, 9, 8, 9, 8]
    gaps: list[float | None] = []
    for value in values:
        gaps += [None, value]
    row = trends(history({("load", "a"): [1.0] * 40, ("response", "t"): gaps})).to_dicts()[1]
    assert (row["runs"], row["changed_at"], row["shape"]) == (20, "r21", "step")


def test_no_inversion_is_zero_where_the_task_ran():
    held = [None] * 6 + [0.01, 0.02]
    keys, values = matrix(history({("load", "t"): [0.2] * 7 + [None], ("inversion", "t"): held}))
    column = values[:, keys.index(("inversion", "t", "share"))]
    assert column.tolist() == [0.0] * 6 + [0.01, 0.02]


def alarms(histories: int, runs: int = 20, measures: int = 30) -> int:
    """Of histories in which nothing changes, how many are said to change."""
    rng = np.random.default_rng(4)
    said = 0
    for _ in range(histories):
        common = rng.normal(size=runs)  # measures of one run go together
        columns = {
            ("response", f"t{k}"): list(1e6 * (1 + 0.01 * (common + rng.normal(size=runs))))
            for k in range(measures)
        }
        said += trends(history(columns))["shape"].count() > 0
    return said


def test_a_history_without_change_says_so():
    """At most 5 %: more than 3 of 12 have a chance of 0.2 % (binomial)."""
    assert alarms(12) <= 3


@pytest.mark.night
def test_of_many_histories_without_change_few_are_said_to_change():
    """At most 5 %: more than 20 of 200 have a chance of 0.1 % (binomial)."""
    assert alarms(200) <= 20


def test_the_course_of_a_step_is_the_medians_and_of_a_drift_the_line_of_theil_and_sen():
    """scipy: `theilslopes(method="joint")` puts the line through the middle of what is left."""
    rng = np.random.default_rng(4)
    rising = [100.0 + 3.0 * n + rng.normal() for n in range(30)]
    columns: dict[tuple[str, str], list[float | None]] = {
        ("response", "steps"): [5.0, 6.0] * 6 + [50.0, None] * 8,
        ("response", "rises"): [*rising],
        ("response", "rests"): [1.0, 2.0] * 15,
    }
    told = history(columns)
    found = {row["subject"]: row for row in ranked(trends(told)).to_dicts()}
    assert list(found)[-1] == "rests"
    steps = course(told, found["steps"])
    places = [*range(1, 13), *range(13, 29, 2)]
    assert_table(steps, COURSE, {"place": places, "level": [5.5] * 12 + [50.0] * 8})
    rises = course(told, found["rises"])
    line = stats.theilslopes(rising, method="joint")
    assert rises["level"].to_numpy() == pytest.approx(line.intercept + line.slope * np.arange(30))
    assert course(told, found["rests"])["level"].null_count() == 30

"""Numbers as a reader sees them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracelens import numbers


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (0, "0"),
        (1, "1.00"),
        (9.996, "10.0"),  # rounding carries into a new digit: still three
        (0.0123456, "0.0123"),
        (99.95, "100"),
        (1234.5, "1234"),
        (-2.5, "−2.50"),
    ],
)
def test_three_significant_digits(value, shown):
    assert numbers.significant(value) == shown


@given(st.floats(min_value=1e-6, max_value=1e12))
def test_rounding_is_off_by_at_most_half_a_unit_in_the_third_digit(value):
    assert float(numbers.significant(value)) == pytest.approx(value, rel=0.5e-2)


@pytest.mark.parametrize(
    ("values", "unit"),
    [
        ([], "ns"),
        ([None, 0], "ns"),
        ([999], "ns"),
        ([1, 1_000], "µs"),
        ([26_000, 41_000, 9_000_000_000], "µs"),  # one outlier does not make the others zeros
        ([-26_000_000, None], "ms"),
        ([1_000_000_000], "s"),
    ],
)
def test_one_unit_for_a_group_from_its_middle_value(values, unit):
    assert numbers.time_unit(values) == unit


def test_a_time_shows_nothing_finer_than_a_nanosecond():
    assert numbers.time_in("µs", 5) == "0.005"
    assert numbers.time_in("ms", 1) == "0.000001"


@pytest.mark.parametrize(
    ("share", "shown"),
    [
        (0, "0"),
        (1, "100"),
        (0.5, "50.0"),
        (0.99996, ">99.9"),
        (0.00001, "<0.01"),
        (0.0123, "1.23"),
        (1.2, "120"),
    ],
)
def test_rounding_never_reaches_none_or_all(share, shown):
    assert numbers.hundredths(share) == shown
    assert numbers.percent(share) == f"{shown} %"


def test_decimal_points_stand_under_each_other():
    assert numbers.aligned(["12.3", "0.456", "123", "–"]) == ["12.3  ", "0.456", "123    ", "–    "]


def test_a_place_in_time_is_given_so_that_it_can_be_found():
    assert numbers.moment(8_123_456_789) == "8.123456 s"
    assert numbers.moment(999) == "0.000000 s"
    assert numbers.seconds(24_000) == "0.000024"


def test_exact_times_are_to_the_nanosecond_in_threes():
    assert numbers.exact(8_120_004_500) == "8\u202f120\u202f004.5 µs"
    assert numbers.exact(7) == "0.007 µs"
    assert numbers.exact(-500) == "−0.5 µs"
    assert numbers.microseconds(-1_234_567_250) == "−1234567.25"


@pytest.mark.parametrize(
    ("ns", "shown"),
    [
        (0, "0 ns"),
        (999.4, "999 ns"),
        (1_000, "1.00 µs"),
        (9_996_000, "10.0 ms"),
        (999.6, "1.00 µs"),  # not 1000 ns
        (612_000, "612 µs"),
        (1_850_000, "1.85 ms"),
        (-999_700, "−1.00 ms"),
        (1_234_500_000_000, "1234 s"),
    ],
)
def test_a_length_of_time_has_the_unit_that_reads_best(ns, shown):
    assert numbers.duration(ns) == shown


def test_small_shares_can_have_more_decimals():
    assert numbers.percent(0.00004, 3) == "0.004 %"
    assert numbers.percent(0.000001, 3) == "<0.001 %"
    assert numbers.signed_hundredths(-0.00004, 3) == "−0.004"
    assert numbers.signed_hundredths(0.0512) == "+5.12"


def test_names_in_a_sentence():
    assert numbers.listing(["a"]) == "a"
    assert numbers.listing(["a", "b", "c"]) == "a, b and c"
    assert numbers.listing(list("abcdefg"), most=4) == "a, b, c and 4 more"

"""Times on the command line."""

import click
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracelens.cli.options import time, window_ns


def parsed(text):
    return time(None, None, text)


@pytest.mark.parametrize(
    ("text", "ns"),
    [
        ("1.5s", 1_500_000_000),
        ("250us", 250_000),
        ("250µs", 250_000),
        ("12ms", 12_000_000),
        ("7ns", 7),
        ("0.1s", 100_000_000),
        (".5 ms", 500_000),
        (None, None),
    ],
)
def test_a_time_is_exact(text, ns):
    assert parsed(text) == ns


@given(st.integers(0, 10**18))
def test_any_decimal_text_is_exact(ns):
    assert parsed(f"{ns // 10**9}.{ns % 10**9:09}s") == ns


@pytest.mark.parametrize("text", ["3", "-1s", "1e3s", "1 h", "", "s", "1.s", "nan", "1.5ns"])
def test_what_is_no_time_is_refused(text):
    with pytest.raises(click.BadParameter, match="found"):
        parsed(text)


@pytest.mark.parametrize(
    ("start", "end", "window"),
    [(None, None, None), (5, None, (5, 100)), (None, 7, (0, 7)), (5, 7, (5, 7)), (None, 0, (0, 0))],
)
def test_what_is_not_given_is_the_runs_own_end(start, end, window):
    assert window_ns(100, start, end) == window

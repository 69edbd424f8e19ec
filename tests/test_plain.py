"""Text from a log made safe to show."""

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracelens.plain import LONGEST, plain


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("needle_select", "needle_select"),
        ("Größe µs →", "Größe µs →"),
        ("a\x1b[2Jb", r"a\x1b[2Jb"),
        ("a\rb\nc\td", r"a\x0db\x0ac\x09d"),
        ("a\x9bb", r"a\x9bb"),  # the one-byte control sequence introducer of ECMA-48
        ("a\u202eb", r"a\u202eb"),
        ("a\u2028b", r"a\u2028b"),
        ("a\ud800b", r"a\ud800b"),
    ],
)
def test_what_acts_is_written_out(text, shown):
    assert plain(text) == shown


@given(st.text())
def test_nothing_that_acts_is_left_and_nothing_else_is_touched(text):
    shown = plain(text)
    assert not {unicodedata.category(c) for c in shown} & {"Cc", "Cf", "Cs", "Zl", "Zp"}
    assert plain(shown) == shown


def test_what_is_as_long_as_a_file_is_cut():
    assert plain("n" * LONGEST) == "n" * LONGEST
    for text in ("n" * 10**7, "\x1b" * LONGEST):
        shown = plain(text)
        assert (len(shown), shown[-1]) == (LONGEST, "…")
        assert plain(shown) == shown

"""Interval algebra, checked by hand and against a nanosecond-by-nanosecond count."""

from itertools import pairwise

import numpy as np
import polars as pl
from hypothesis import example, given
from hypothesis import strategies as st

from tests.frames import assert_columns
from tracelens.spans import SpentTime, at, clip, common, inside, length, meetings, union

pairs = st.lists(st.tuples(st.integers(0, 60), st.integers(0, 60)), max_size=8)


def spans(rows: list[tuple[int, int]]) -> pl.DataFrame:
    return pl.DataFrame(rows, schema={"start_ns": pl.Int64, "end_ns": pl.Int64}, orient="row")


def moments(rows: list[tuple[int, int]]) -> list[int]:
    return [t for start, end in rows for t in range(start, end)]


@given(pairs)
def test_union_is_the_set_of_moments_in_disjoint_ascending_windows(rows):
    windows = union(rows)
    assert moments(windows) == sorted(set(moments(rows)))
    assert all(one[1] < other[0] for one, other in pairwise(windows))
    assert length(windows) == len(set(moments(rows)))


@given(pairs, pairs)
def test_common_is_what_lies_in_both(some, others):
    both = set(moments(some)) & set(moments(others))
    assert moments(common(union(some), union(others))) == sorted(both)


@given(pairs, pairs)
def test_clip_keeps_the_moments_inside_and_nothing_else(rows, windows):
    rows = [(min(row), max(row)) for row in rows]
    cut = clip(spans(rows), union(windows))
    found = moments(list(zip(cut["start_ns"], cut["end_ns"], strict=True)))
    allowed = set(moments(windows))
    assert sorted(found) == sorted(t for t in moments(rows) if t in allowed)
    assert (cut["start_ns"] < cut["end_ns"]).all()


def test_clip_by_one_window_and_by_several_agree():
    # One window that is split in two touching ones only cuts the spans once more, at 30.
    table = spans([(0, 20), (25, 35), (35, 35), (39, 80), (50, 60)])
    assert_columns(clip(table, ((10, 40),)), {"start_ns": [10, 25, 39], "end_ns": [20, 35, 40]})
    assert_columns(
        clip(table, ((10, 30), (30, 40))),
        {"start_ns": [10, 25, 30, 39], "end_ns": [20, 30, 35, 40]},
    )
    assert clip(table, ()).is_empty()


def test_inside_wants_begin_and_end_in_the_same_window():
    # Windows [10, 20) and [30, 40). An end at 20 or 40 is within: the last moment is before it.
    table = spans([(9, 15), (10, 20), (12, 21), (15, 35), (30, 40), (40, 40), (10, 10)])
    kept = inside(table, ((10, 20), (30, 40)))
    assert_columns(kept, {"start_ns": [10, 30, 10], "end_ns": [20, 40, 10]})
    assert_columns(inside(table, ((10, 20),)), {"start_ns": [10, 10], "end_ns": [20, 10]})
    assert inside(table, ()).is_empty()


def test_a_moment_at_a_window_s_end_is_outside():
    table = pl.DataFrame({"at_ns": [9, 10, 19, 20, 30]})
    assert_columns(at(table, ((10, 20), (30, 31))), {"at_ns": [10, 19, 30]})


tiles = st.lists(st.tuples(st.integers(0, 3), st.integers(0, 9), st.integers(0, 9)), max_size=20)


@given(
    tiles, st.lists(st.tuples(st.integers(-5, 200), st.integers(0, 80)), max_size=6), st.booleans()
)
@example([(0, 0, 0), (0, 0, 1)], [(0, 1)], True)
def test_spent_time_answers_any_pair_as_counting_does(rows, questions, shuffled):
    # Each row: key, gap before it, length. The rows of one key are disjoint, in order.
    clock = dict.fromkeys(range(4), 0)
    made = []
    for key, gap, size in rows:
        start = clock[key] + gap
        clock[key] = start + size
        made.append((key, start, start + size))
    if shuffled:
        made.reverse()
    table = pl.DataFrame(made, schema=["key", "start_ns", "end_ns"], orient="row").cast(pl.Int64)
    spent = SpentTime.of(table, "key")
    a = np.array([start for start, _ in questions], np.int64)
    b = a + np.array([size for _, size in questions], np.int64)
    for key in range(5):
        busy = moments([(start, end) for k, start, end in made if k == key])
        counted = [sum(a_ <= t < b_ for t in busy) for a_, b_ in zip(a, b, strict=True)]
        assert spent.between(a, b, key).tolist() == counted


def test_spent_time_takes_enums_by_physical_value_and_leaves_nulls_out():
    who = pl.Series(["b", None, "a", "b"], dtype=pl.Enum(["a", "b", "c"]))
    table = spans([(0, 5), (5, 6), (7, 9), (8, 10)]).with_columns(who=who)
    spent = SpentTime.of(table, "who")
    assert spent.keys.tolist() == [0, 1]
    assert [int(spent.between([0], [10], key)[0]) for key in (0, 1, 2)] == [2, 7, 0]


@given(tiles, pairs)
def test_meetings_are_all_pairs_that_share_a_moment(rows, questions):
    clock, made = 0, []
    for _, gap, size in rows:
        made.append((clock + gap, clock + gap + size + 1))
        clock = made[-1][1]
    questions = [(min(pair), max(pair) + 1) for pair in questions]
    i, k = meetings(
        *(np.array([row[side] for row in made], np.int64) for side in (0, 1)),
        *(np.array([pair[side] for pair in questions], np.int64) for side in (0, 1)),
    )
    shared = [
        (one, other)
        for one, (a, b) in enumerate(questions)
        for other, (start, end) in enumerate(made)
        if max(a, start) < min(b, end)
    ]
    assert list(zip(i.tolist(), k.tolist(), strict=True)) == shared

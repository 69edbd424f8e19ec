"""A whole comparison: what is said to have moved, and in what the runs are not alike."""

import re
from dataclasses import replace

import numpy as np
import pytest

from tests.comparison.drawn import Kind, pair, run
from tests.frames import assert_table
from tracelens.comparison import wording
from tracelens.comparison.comparable import blocks, differences
from tracelens.comparison.compare import compare
from tracelens.comparison.gate import failures
from tracelens.comparison.observed import Observed, Setup
from tracelens.errors import UsageError
from tracelens.model.compared import COMPARISONS, DISTRIBUTIONS, PRESENCE

SMALL = Kind(jobs=200, tasks=2, boards=0.002)


def changed(runs: list[Observed], **setup) -> list[Observed]:
    return [replace(one, setup=replace(one.setup, **setup)) for one in runs]


def kinds(old: list[Observed], new: list[Observed]) -> list[str]:
    return [one.kind for one in differences(old, new)]


def test_the_tables_keep_their_contract():
    found = compare(*pair(SMALL, SMALL, 4, 4, 1))
    assert_table(found.comparisons, COMPARISONS, {})
    assert_table(found.distributions, DISTRIBUTIONS, {})
    assert_table(found.presence, PRESENCE, {"subject": ["t0", "t1"], "old_runs": [4, 4]})
    judged = found.comparisons.filter(found.comparisons["moved"].is_not_null())
    assert judged.height == found.judged == found.comparisons.height
    assert (judged["change_low"] <= judged["change"]).all()
    assert (judged["change"] <= judged["change_high"]).all()


def test_means_are_of_the_runs_and_distributions_of_all_jobs():
    old, new = pair(SMALL, SMALL, 2, 3, 2)
    found = compare(old, new)
    row = found.comparisons.filter(
        (found.comparisons["quantity"] == "response") & (found.comparisons["subject"] == "t1")
    )
    assert row["old"][0] == pytest.approx(np.mean([one.response["t1"].mean() for one in old]))
    assert row["new"][0] == pytest.approx(np.mean([one.response["t1"].mean() for one in new]))
    together = np.concatenate([one.execution["t0"] for one in new])
    of_t0 = found.distributions.filter(
        (found.distributions["task"] == "t0") & (found.distributions["what"] == "execution")
    )
    assert of_t0["side"].to_list() == ["old", "new"]
    assert of_t0["jobs"][1] == len(together)
    assert of_t0["max_ns"][1] == together.max()


def test_a_slower_task_is_named_and_by_how_much():
    found = compare(*pair(SMALL, replace(SMALL, slower=1.1), 5, 5, 3))
    assert ("execution", "t0") in list(found.moved.select("quantity", "subject").iter_rows())
    assert "t1" not in found.moved["subject"].to_list()
    row = found.moved.filter(found.moved["quantity"] == "execution").to_dicts()[0]
    assert row["worse"]
    assert row["change_low"] < 30_000 < row["change_high"]
    said = r"t0 executes [\d.]+ % longer: mean 3\d\d µs → 3\d\d µs \(change \+.* µs to \+.* µs\)\."
    assert re.fullmatch(said, wording.moved(row))


def test_the_sides_mirror_each_other():
    old, new = pair(SMALL, replace(SMALL, slower=1.1), 4, 4, 4)
    one, other = compare(old, new).comparisons, compare(new, old).comparisons
    assert one["change"].to_list() == pytest.approx((-other["change"]).to_list())
    assert one["p"].to_list() == pytest.approx(other["p"].to_list())
    assert one["moved"].to_list() == other["moved"].to_list()


def test_the_order_of_the_runs_does_not_matter():
    old, new = pair(SMALL, replace(SMALL, slower=1.05), 4, 5, 5)
    one = compare(old, new).comparisons
    other = compare(old[::-1], new[::-1]).comparisons
    for column in ("change", "p", "detectable"):
        assert one[column].to_list() == pytest.approx(other[column].to_list())


def test_boards_that_ran_both_sides_are_compared_with_themselves():
    """Boards that differ by 20 % hide a change of 3 %, unless each is its own measure."""
    rng = np.random.default_rng(6)
    old, new = [], []
    for board in ("b1", "b2", "b3", "b4"):
        kind = Kind(jobs=400, tasks=2, boards=0.0, slower=1 + 0.2 * rng.random())
        for side, slower in ((old, 1.0), (new, 1.03)):
            for number in range(2):
                made = run(replace(kind, slower=kind.slower * slower), rng, f"{board} {number}")
                side.append(replace(made, setup=replace(made.setup, keys={"board": board})))
    blocked = compare(old, new)
    mixed = compare(changed(old, keys={}), changed(new, keys={}))
    assert blocked.boards
    assert not mixed.boards
    assert ("execution", "t0") in list(blocked.moved.select("quantity", "subject").iter_rows())
    assert "execution" not in mixed.moved["quantity"].to_list()


@pytest.mark.parametrize(
    ("boards", "old", "expected"),
    [
        (["a", "b", "a", "b"], 2, [0, 1, 0, 1]),
        (["a", "a", "a", "a"], 2, None),  # one board: nothing to part
        (["a", "a", "b", "b"], 2, None),  # no board ran both sides
        (["a", None, "a", "b"], 2, None),
    ],
)
def test_when_boards_are_blocks(boards, old, expected):
    runs = [Setup("r", keys={"board": board} if board else {}) for board in boards]
    assert blocks(runs, old) == expected


def test_alike_runs_have_no_differences():
    assert kinds(*pair(SMALL, SMALL, 2, 2, 7)) == []


@pytest.mark.parametrize(
    ("kind", "setup"),
    [
        ("clock", {"hz": 25_000_000}),
        ("cores", {"cores": 2}),
        ("policy", {"policy": "edf"}),
        ("policy", {"order": "lower_first"}),
        ("length", {"span_ns": 3_000_000_000}),
        ("coverage", {"coverage": 0.9}),
        ("restarts", {"boots": 2}),
    ],
)
def test_what_is_not_alike_is_said(kind, setup):
    old, new = pair(SMALL, SMALL, 2, 2, 8)
    assert kinds(old, changed(new, **setup)) == [kind]


def test_changed_declarations_are_said_with_both_values():
    old, new = pair(SMALL, SMALL, 2, 2, 9)
    old = changed(old, priorities={"t0": 1, "t1": 2}, deadlines={"t0": 1_000_000})
    new = changed(new, priorities={"t0": 3, "t1": 2}, deadlines={"t0": 2_000_000})
    texts = [one.text for one in differences(old, new)]
    assert texts == [
        "Declared otherwise, priority: t0 1 → 3; that alone moves response times.",
        "Declared otherwise, deadline: t0 1.00 ms → 2.00 ms; that alone moves misses.",
    ]


def test_boards_and_builds_that_are_mixed_up_are_said():
    old, new = pair(SMALL, SMALL, 2, 2, 10)
    old[0] = changed(old[:1], keys={"board": "a", "build": "1"})[0]
    old[1] = changed(old[1:], keys={"board": "a", "build": "2"})[0]
    new = changed(new, keys={"board": "b", "build": "3"})
    assert kinds(old, new) == ["builds", "boards"]


def test_a_copy_of_a_run_is_noticed():
    old, new = pair(SMALL, SMALL, 2, 2, 11)
    assert kinds([old[0], old[0]], new) == ["copies"]


def test_runs_without_a_task_in_common_are_refused():
    old, new = pair(SMALL, SMALL, 1, 1, 12)
    other = replace(new[0], response={"x": new[0].response["t0"]})
    with pytest.raises(UsageError, match="no task that has jobs on both sides"):
        compare(old, [other])


def test_tasks_come_and_go():
    old, new = pair(SMALL, SMALL, 2, 2, 13)
    less = frozenset({"t0"})
    found = compare(old, [replace(one, ran=less) for one in new])
    assert (found.came, found.went) == ([], ["t1"])
    assert failures(found, ["tasks"]) == ["Only in the old runs: t1."]
    found = compare([replace(one, ran=less) for one in old], [new[0], replace(new[1], ran=less)])
    assert found.came == []
    assert found.sometimes["subject"].to_list() == ["t1"]


def test_a_task_that_is_not_in_every_run_is_shown_and_not_judged():
    old, new = pair(SMALL, SMALL, 2, 2, 14)
    lacking = replace(new[0], response={"t0": new[0].response["t0"]})
    found = compare(old, [lacking, new[1]]).comparisons
    row = found.filter((found["quantity"] == "response") & (found["subject"] == "t1")).to_dicts()[0]
    assert row["unjudged"] == "not in every run"
    assert row["moved"] is None
    assert row["new"] == pytest.approx(new[1].response["t1"].mean())


def test_what_fails_a_check():
    old, new = pair(SMALL, replace(SMALL, slower=1.1), 5, 5, 15)
    slower, faster = compare(old, new), compare(new, old)
    assert failures(slower, []) == []
    assert any("t0 executes" in text for text in failures(slower, ["worse"]))
    assert any("t0 executes" in text for text in failures(slower, ["execution"]))
    assert failures(slower, ["stack"]) == []
    assert failures(slower, ["execution"], at_least=0.5) == []
    assert failures(faster, ["worse"]) == []
    assert len(failures(faster, ["any"])) == faster.moved.height > 0


@pytest.mark.parametrize(
    ("old", "new", "rate"), [(0, 1, 0.05), (1, 0, 0.05), (1, 1, 0.0), (1, 1, 1.0)]
)
def test_nonsense_is_refused(old, new, rate):
    runs = pair(SMALL, SMALL, old, new, 16)
    with pytest.raises(UsageError):
        compare(*runs, rate)

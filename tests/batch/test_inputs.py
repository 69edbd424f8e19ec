"""Which logs files, directories and patterns name."""

import os
from pathlib import Path

import pytest

from tracelens.batch.inputs import find
from tracelens.errors import InputError, UsageError


@pytest.fixture
def tree(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for name in ("a/one.csv", "a/b/two.csv.gz", "a/b/notes.txt", "c/three.csv", "odd.log"):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).touch()
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize(
    ("patterns", "runs"),
    [
        (["a"], ["b/two.csv.gz", "one.csv"]),
        (["."], ["a/b/two.csv.gz", "a/one.csv", "c/three.csv"]),
        (["**/*.csv"], ["a/one.csv", "c/three.csv"]),
        (["a/**/*.csv*"], ["b/two.csv.gz", "one.csv"]),
        (["a/*.csv", "c", "a/one.csv"], ["a/one.csv", "c/three.csv"]),
        (["odd.log"], ["odd.log"]),
        (["a/b/notes.txt"], ["notes.txt"]),
    ],
)
def test_each_log_is_named_once_below_what_all_have_in_common(tree, patterns, runs):
    found = find(patterns)
    assert [one.run for one in found] == runs
    assert all(one.path.exists() and not one.path.is_absolute() for one in found)


def test_an_absolute_pattern_does_as_well(tree):
    assert [one.run for one in find([f"{tree}/*/*.csv"])] == ["a/one.csv", "c/three.csv"]


@pytest.mark.parametrize("pattern", ["nowhere/*.csv", "-", "a/b/*.csv"])
def test_what_names_no_log_is_wrong_usage(tree, pattern):
    with pytest.raises(UsageError):
        find([pattern])


def test_a_file_that_is_not_there_cannot_be_read(tree):
    with pytest.raises(InputError, match=r"nowhere\.csv: no such file"):
        find(["a", "nowhere.csv"])


def test_the_tables_of_an_earlier_batch_are_no_logs(tree):
    assert [one.run for one in find(["."], tree / "a")] == ["three.csv"]
    with pytest.raises(UsageError):
        find(["a"], tree / "a")


@pytest.mark.parametrize(
    ("patterns", "runs"),
    [
        (["one.csv", "../c"], ["a/one.csv", "c/three.csv"]),
        (["one.csv", "../a/one.csv", "b/../one.csv"], ["one.csv"]),
        (["../c/../odd.log", "../c"], ["c/three.csv", "odd.log"]),
    ],
)
def test_the_way_back_is_no_part_of_a_name(tree, monkeypatch, patterns, runs):
    """Reports lie below the results by these names: none may lead out of there."""
    monkeypatch.chdir(tree / "a")
    assert [one.run for one in find(patterns)] == runs


def test_the_way_back_to_an_earlier_batch_is_known_again(tree, monkeypatch):
    monkeypatch.chdir(tree / "a")
    assert [one.run for one in find([str(tree)], Path("../a").absolute())] == ["three.csv"]


def test_a_name_that_is_no_utf8_is_written_out(tree):
    Path(os.fsdecode(b"c/odd_\xff.csv")).touch()
    assert [one.run for one in find(["c"])] == ["odd_\\udcff.csv", "three.csv"]

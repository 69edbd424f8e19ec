"""What is written after an option, and what is refused in one line."""

import pytest

from tests.replay.again import SAMPLES, prepared
from tracelens.errors import UsageError
from tracelens.replay import Change, parse


@pytest.fixture(scope="module")
def knitting():
    return prepared((SAMPLES / "knitting_inversion.toml").read_text())


@pytest.mark.parametrize(
    ("kind", "text", "change"),
    [
        ("priority", "archive=3", Change("priority", "archive", value=3)),
        ("protocol", "flash_bus=inherit", Change("protocol", "flash_bus", protocol="inherit")),
        ("scale", "a=b=0.8", Change("scale", "a=b", factor=0.8)),
        ("clock", "0.5", Change("clock", factor=0.5)),
        ("clock", "0.4294967295", Change("clock", factor=0.4294967295)),
        ("period", "panel=40ms", Change("period", "panel", value=40_000_000)),
        ("offset", "panel=1.5us", Change("offset", "panel", value=1_500)),
        ("section", "a/b=2", Change("section", "a", lock="b", factor=2.0)),
        ("without", "panel", Change("without", "panel")),
    ],
)
def test_words(kind, text, change):
    assert parse(kind, text) == change
    assert parse(kind, str(change).removeprefix(f"--{kind} ")) == change


@pytest.mark.parametrize(
    ("kind", "text"),
    [
        ("priority", "archive"),
        ("priority", "archive=high"),
        ("protocol", "flash_bus=inherits"),
        ("scale", "archive=0"),
        ("scale", "archive=nan"),
        ("clock", "fast"),
        ("period", "archive=10"),
        ("period", "archive=0ms"),
        ("section", "archive=0.5"),
        ("core", "archive=-1"),
    ],
)
def test_unclear_words(kind, text):
    with pytest.raises(UsageError, match=f"--{kind}: found"):
        parse(kind, text)


@pytest.mark.parametrize(
    ("changes", "problem", "hint"),
    [
        ([("priority", "archiv=3")], "no such task: found archiv", "archive"),
        ([("protocol", "flash=none")], "no such lock: found flash", "flash_bus"),
        ([("scale", "link_tx=2")], "no such task or handler: found link_tx", "link_rx"),
        ([("without", "idle")], "no such task: found idle", None),
        ([("core", "archive=7")], "no such core: found 7", "0"),
        ([("section", "panel/flash_bus=0.5")], "panel never takes flash_bus", "no lock"),
        ([("period", "row_worker=2ms")], "row_worker is not released by time", "releases it"),
        ([("clock", "2"), ("clock", "3")], "two changes of the same thing", None),
        ([("without", "panel"), ("scale", "panel=2")], "contradict each other", None),
    ],
)
def test_changes_that_make_no_sense(knitting, changes, problem, hint):
    with pytest.raises(UsageError, match=problem) as refused:
        knitting.predict([parse(kind, text) for kind, text in changes])
    assert "\n" not in str(refused.value)
    assert hint is None or hint in (refused.value.hint or "")

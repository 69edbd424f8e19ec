"""Times as people write and read them; names that cannot act."""

import pytest

from tracelens.drawing.packing import inert
from tracelens.drawing.words import exact, instant, read_instant, reason
from tracelens.errors import UsageError
from tracelens.model.columns import ENTRIES


@pytest.mark.parametrize(
    ("text", "ns"),
    [
        ("8.12 s", 8_120_000_000),
        ("8,12", 8_120_000_000),
        ("250us", 250_000),
        (" 250 µs ", 250_000),
        ("1.5ms", 1_500_000),
        ("2 min", 120_000_000_000),
        ("0", 0),
    ],
)
def test_a_typed_time_is_read_exactly(text: str, ns: int) -> None:
    assert read_instant(text) == ns


@pytest.mark.parametrize("text", ["", "8.", "-1 s", "1e3", "8 h", "8 s 5", "९ s"])
def test_anything_else_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(UsageError, match=r"expected a time such as 8\.12 s or 250 us"):
        read_instant(text)


def test_exact_times_are_to_the_nanosecond_in_threes() -> None:
    assert exact(8_120_004_500) == "8\u202f120\u202f004.5 µs"
    assert exact(7) == "0.007 µs"
    assert instant(8_120_004_999) == "8.120\u202f004 s"


def test_every_entry_of_a_ledger_has_words() -> None:
    said = {entry: reason(entry, "archive", "flash_bus") for entry in ENTRIES}
    assert len(set(said.values())) == len(ENTRIES)
    assert said["inversion"] == "archive runs, less urgent; flash_bus held"
    assert "None" not in " ".join(
        reason(entry, "archive", None) for entry in ENTRIES if entry != "inversion"
    ), "an inversion always has a lock; the others need none"


def test_markup_and_acting_characters_in_a_name_are_written_out() -> None:
    assert inert("<script>&\x1b[31m") == "&lt;script&gt;&amp;\\x1b[31m"

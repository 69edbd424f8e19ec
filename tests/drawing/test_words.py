"""Reasons in words; names that cannot act."""

from tracelens.drawing.packing import inert
from tracelens.drawing.words import reason
from tracelens.model.columns import ENTRIES


def test_every_entry_of_a_ledger_has_words() -> None:
    said = {entry: reason(entry, "archive", "flash_bus") for entry in ENTRIES}
    assert len(set(said.values())) == len(ENTRIES)
    assert said["inversion"] == "archive runs, less urgent; flash_bus held"
    assert "None" not in " ".join(
        reason(entry, "archive", None) for entry in ENTRIES if entry != "inversion"
    ), "an inversion always has a lock; the others need none"


def test_markup_and_acting_characters_in_a_name_are_written_out() -> None:
    assert inert("<script>&\x1b[31m") == "&lt;script&gt;&amp;\\x1b[31m"

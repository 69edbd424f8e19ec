"""A sealed table is Parquet like any other, and no byte of it can change unseen."""

import io

import polars as pl
import pytest

from tracelens.sealed import BrokenError, read_table, read_words, write_table

TABLE = pl.DataFrame({"n": range(100), "word": ["a", "b"] * 50})
SEALED = write_table(TABLE, {"key": "value"})


def test_a_sealed_table_comes_back() -> None:
    assert read_table(SEALED).equals(TABLE)
    assert read_words(SEALED)["key"] == "value"


def test_any_reader_of_parquet_reads_it() -> None:
    assert pl.read_parquet(io.BytesIO(SEALED)).equals(TABLE)


def test_a_byte_that_changed_anywhere_is_seen() -> None:
    """The table library ends the process over some of these; none must reach it."""
    for at in range(len(SEALED)):
        damaged = bytearray(SEALED)
        damaged[at] ^= 1 << at % 8
        with pytest.raises(BrokenError):
            read_table(bytes(damaged))


def test_what_is_cut_or_another_file_is_refused() -> None:
    other = io.BytesIO()
    TABLE.write_parquet(other)
    whole = SEALED
    for data in (
        *(whole[:n] for n in (0, 3, 8, 50, len(whole) - 1)),
        other.getvalue(),
        b"PAR1PAR1",
    ):
        with pytest.raises(BrokenError):
            read_words(data)

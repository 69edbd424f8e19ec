"""The tables of a run as files."""

import polars as pl
import pytest

from tests.report.example import empty_analysis, knitting
from tracelens.errors import UsageError
from tracelens.model.measured import MEASURED
from tracelens.model.tables import RECONSTRUCTED
from tracelens.report import tables

CONTRACTS = RECONSTRUCTED | MEASURED


@pytest.mark.parametrize("analysis", [knitting(), empty_analysis()], ids=["knitting", "empty"])
def test_every_table_is_written_with_its_columns(tmp_path, analysis):
    tables.write(analysis, tmp_path / "new" / "folder")
    for name, contract in CONTRACTS.items():
        parquet = pl.read_parquet(tmp_path / "new" / "folder" / f"{name}.parquet")
        csv = pl.read_csv(tmp_path / "new" / "folder" / f"{name}.csv")
        assert parquet.columns == csv.columns == list(contract.columns)
        assert parquet.height == csv.height
        assert not [d for d in parquet.dtypes if d in (pl.Enum, pl.Categorical)]


def test_values_survive_both_formats(tmp_path):
    tables.write(knitting(), tmp_path)
    for frame in (pl.read_csv(tmp_path / "jobs.csv"), pl.read_parquet(tmp_path / "jobs.parquet")):
        assert frame["task"].to_list() == ["needle_select", "needle_select", "panel", "panel"]
        assert frame["response_ns"].to_list() == [2_412_000, 1_900_000, 12_000_000, 1_000_000]


def test_in_csv_the_items_of_a_list_are_joined(tmp_path):
    tables.write(knitting(), tmp_path)
    chains = pl.read_csv(tmp_path / "inversions.csv")["chain"].to_list()
    assert chains == ["archive", "archive|needle_select"]


def test_the_page_says_what_every_column_means(tmp_path):
    tables.write(knitting(), tmp_path)
    page = (tmp_path / "columns.md").read_text(encoding="utf-8")
    for name, contract in CONTRACTS.items():
        section = page[page.index(f"### {name}\n") :].split("\n### ")[0]
        for column in contract.columns:
            assert f"| {column} | " in section


def test_a_directory_that_cannot_be_made_is_the_users_to_put_right(tmp_path):
    (tmp_path / "file").touch()
    with pytest.raises(UsageError, match="cannot be written: Not a directory"):
        tables.write(knitting(), tmp_path / "file" / "inside")

"""A table taken apart by the names of one column, without copying where that can be."""

import polars as pl

from tracelens.measures.contract import names_of


def by_name(frame: pl.DataFrame, column: str) -> dict[str, pl.DataFrame]:
    """Name → its rows, in their order; `column` is an Enum. Rows without a name are left out.

    Of a table that is in order of that column the parts are slices.
    """
    names = names_of(frame[column])
    codes = frame[column].to_physical()
    runs = codes.rle().struct.unnest()
    if runs["value"].is_duplicated().any():
        frame = frame.drop_nulls(column)
        return {str(name): rows for (name,), rows in frame.group_by(column, maintain_order=True)}
    first = runs["len"].cum_sum() - runs["len"]
    return {
        names[code]: frame.slice(start, count)
        for code, start, count in zip(runs["value"], first, runs["len"], strict=True)
        if code is not None
    }

"""Bring a frame into the exact shape that `model.tables` promises."""

import polars as pl

from tracelens.model.columns import Table


def conform(frame: pl.DataFrame, table: Table) -> pl.DataFrame:
    """Exactly the columns of `table`, in order and of its dtypes. A missing column is an error."""
    return frame.select(pl.col(column).cast(dtype) for column, dtype in table.schema().items())


def empty(table: Table) -> pl.DataFrame:
    """A table without rows."""
    return pl.DataFrame(schema=table.schema())


def names_of(column: pl.Series) -> list[str]:
    """The names that an Enum column is over; an index is a physical value."""
    dtype = column.dtype
    return dtype.categories.to_list() if isinstance(dtype, pl.Enum) else []


def of_name(frame: pl.DataFrame, column: str, name: str) -> pl.DataFrame:
    """The rows whose Enum `column` is `name`; none if the Enum has no such name."""
    if name not in names_of(frame[column]):
        return frame.clear()
    return frame.filter(pl.col(column) == name)


def nearest_rank(column: str, percent: int) -> pl.Expr:
    """The percentile `percent` of an integer column: a value that was observed.

    Nearest rank: the smallest value that at least `percent` % of the values do not exceed.
    That is type 1 of Hyndman and Fan, "Sample Quantiles in Statistical Packages", The American
    Statistician 50(4), 1996.
    """
    return pl.col(column).quantile(percent / 100, "equiprobable").cast(pl.Int64)


def statistics(column: str, prefix: str, names: tuple[str, ...]) -> list[pl.Expr]:
    """The aggregates `{prefix}_{name}_ns` of a column of times; null where it has no value.

    `names` are of 'min', 'mean', 'max', 'p50', 'p95', 'p99'. A mean is rounded to the nanosecond.
    """
    value = pl.col(column)
    made = {
        "min": value.min(),
        "mean": value.mean().round().cast(pl.Int64),
        "max": value.max(),
    }
    return [
        (made[name] if name in made else nearest_rank(column, int(name[1:]))).alias(
            f"{prefix}_{name}_ns"
        )
        for name in names
    ]


FIVE = ("min", "mean", "p50", "p95", "p99", "max")
"""The statistics that response times, latencies and waiting times are summed up by."""

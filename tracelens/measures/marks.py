"""The application's own marks: points, and values over time."""

from typing import Final

import polars as pl

from tracelens.model.log import Log

EDGES: Final = ("begin", "end")
"""Values of a mark that bound a phase (see `phases`)."""


def marks(log: Log) -> pl.DataFrame:
    """Every mark that bounds no phase, in order of time.

    Columns: mark (String), at_ns, value (Float64; null for a point, and for a value that is no
    finite number).
    """
    text = pl.col("value").cast(pl.String)
    number = text.cast(pl.Float64, strict=False)
    return (
        log.events.lazy()
        .filter(pl.col("event") == "mark")
        .filter(~text.is_in(EDGES).fill_null(False))
        .select(
            mark=pl.col("subject").cast(pl.String),
            at_ns="time_ns",
            value=pl.when(number.is_finite()).then(number),
        )
        .sort("at_ns", maintain_order=True)
        .collect()
    )

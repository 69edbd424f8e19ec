"""A history in a directory, made of tables: 20 runs, and from the 13th on one task is slower."""

from pathlib import Path

import polars as pl

from tests.drawing.scene import TAG
from tests.history.test_trends import history
from tracelens.history import store
from tracelens.history.store import History

CHANGED = 12
"""The first slower run, counted from 0."""


def made(runs: int = 20) -> History:
    """Runs of two boards; `pump` takes 100 µs, later 130 µs, `link` always some 50 µs."""
    pump = [1000.0 * (100 + n * 5 % 12 / 4 + 30 * (n >= CHANGED)) for n in range(runs)]
    columns = {
        ("response", "pump"): [*pump],
        ("load", "pump"): [0.25 + 0.001 * (n * 7 % 5) for n in range(runs)],
        ("response", "link"): [1000.0 * (50 + n * 7 % 5) for n in range(runs)],
    }
    told = history(columns)
    number = pl.col("run").str.strip_prefix("r").cast(pl.Int64)
    values = {
        "build": pl.format("k{}", number),
        "board": pl.when(number % 2 == 0).then(pl.lit("a.1")).otherwise(pl.lit(TAG)),
    }
    pairs = [
        pl.struct(pl.lit(key).alias("key"), value.alias("value")) for key, value in values.items()
    ]
    keys = pl.concat_list(pairs).alias("keys")
    return History(told.runs.with_columns(keys), told.measures.with_columns(keys))


def put(folder: Path, runs: int = 20) -> Path:
    """The history written to a directory, a file a run; those that are there stay."""
    for (run,), rows in made(runs).measures.group_by("run", maintain_order=True):
        store.add(folder, str(run), rows)
    return folder

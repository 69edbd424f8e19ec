"""No question at all: the plain reading that others are measured against."""

from pathlib import Path

import polars as pl


def answers(path: Path) -> None:
    pl.read_csv(path, comment_prefix="#", truncate_ragged_lines=True)

"""Does a comparison fail what a continuous check asks of it?"""

from collections.abc import Collection
from typing import Final

import polars as pl

from tracelens.comparison import wording
from tracelens.comparison.records import Comparison
from tracelens.model.compared import QUANTITIES

WORDS: Final = ("worse", "any", "tasks", *QUANTITIES)
"""What a check may ask for: whatever moved for the worse; whatever moved, and tasks that came or
went; these tasks alone; or one quantity that moved for the worse."""


def failures(found: Comparison, words: Collection[str], at_least: float = 0.0) -> list[str]:
    """Sentences about what fails the check; none if it passes. `words` are of `WORDS`.

    Only what is beyond noise counts, and of that only changes of at least this share of the old
    value; one from 0 is never too small.
    """
    rows = found.moved.filter(
        (pl.col("old") == 0) | ((pl.col("change") / pl.col("old")).abs() >= at_least)
    )
    if "any" not in words:
        asked = pl.lit("worse" in words) | pl.col("quantity").cast(pl.String).is_in(list(words))
        rows = rows.filter(pl.col("worse") & asked)
    told = wording.came_or_went(found) if {"any", "tasks"} & set(words) else []
    return told + [wording.moved(row) for row in rows.to_dicts()]

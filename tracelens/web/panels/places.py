"""Where a number of a table comes from, as text: what a table holds and a click brings back.

A place is 'start:end:job:lane': ns, ns, a job's id or nothing, a lane's name or nothing.
"""

from dataclasses import dataclass
from typing import Final

import polars as pl

LONGEST_LANE: Final = 200
"""A longer name is not sent along: the window alone is then the place."""


@dataclass(frozen=True, slots=True)
class Place:
    """[start_ns, end_ns) or, if both are equal, a moment; the job and the lane it belongs to."""

    start_ns: int
    end_ns: int
    job_id: int | None
    lane: str | None


def place(start: str, end: str, *, job: str = "", lane: str = "") -> pl.Expr:
    """Places from columns of that name; null where the start is null."""
    job_id = pl.col(job).cast(pl.String).fill_null("") if job else pl.lit("")
    name = pl.lit("")
    if lane:
        name = pl.col(lane).cast(pl.String).fill_null("")
        name = pl.when(name.str.len_chars() <= LONGEST_LANE).then(name).otherwise(pl.lit(""))
    return pl.format("{}:{}:{}:{}", start, end, job_id, name)


def read(text: str) -> Place | None:
    """The place that a click brought back; None for what is none."""
    parts = text.split(":", 3)
    if len(parts) != 4 or not (parts[2].isdecimal() or not parts[2]):
        return None
    if not (parts[0].isdecimal() and parts[1].isdecimal() and len("".join(parts[:3])) < 60):
        return None
    start, end, job, lane = parts
    return Place(int(start), int(end), int(job) if job else None, lane or None)

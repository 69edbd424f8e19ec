"""Jobs that a change moves, outlined in their lanes."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import polars as pl

from tracelens.drawing.runs import Run
from tracelens.drawing.sheet import Place, Sheet
from tracelens.numbers import duration

MOST_OUTLINED: Final = 60
_WORD_PX: Final = 78
"""Room for the words beside one job; where the next job comes sooner there are none."""


@dataclass(frozen=True, slots=True)
class Moved:
    """Jobs of one run: columns task, start_ns, end_ns and by_ns, how much longer the response is.

    `said` is true where the picture tells by how much.
    """

    jobs: pl.DataFrame
    said: bool = False

    def within(self, start_ns: int, end_ns: int) -> pl.DataFrame:
        """Those that have time in [start_ns, end_ns)."""
        return self.jobs.filter(pl.col("start_ns") < end_ns, pl.col("end_ns") > start_ns)


def outlined(
    moved: Moved, run: Run, places: Sequence[Place], start_ns: int, end_ns: int, sheet: Sheet
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Shapes and words for the most moved jobs of a window, at most `MOST_OUTLINED`."""
    there = {place.lane.name: place for place in places if place.lane.kind == "task"}
    seen = moved.within(start_ns, end_ns).filter(pl.col("task").is_in(list(there)))
    most = seen.sort(
        pl.col("by_ns").abs(), descending=True, nulls_last=True, maintain_order=True
    ).head(MOST_OUTLINED)
    room = _WORD_PX * (end_ns - start_ns) / sheet.columns
    shapes, words = [], []
    for job in most.to_dicts():  # few rows: at most MOST_OUTLINED
        place, done = there[job["task"]], job["end_ns"]
        shapes.append(_outline(job, place, sheet))
        if moved.said and job["by_ns"] is not None and start_ns <= done <= end_ns - room:
            near = run.jobs.visible(place.lane.key, done, done + int(room))
            if near.filter(pl.col("done_ns") > done).is_empty():
                words.append(_by(job, place, sheet))
    return shapes, words


def _outline(job: dict[str, Any], place: Place, sheet: Sheet) -> dict[str, Any]:
    return {
        "type": "rect",
        "x0": job["start_ns"],
        "x1": job["end_ns"],
        "y0": place.baseline + 1,
        "y1": place.baseline - place.pitch + 3,
        "line": {"width": 1.5, "color": sheet.palette.text, "dash": "dash"},
    }


def _by(job: dict[str, Any], place: Place, sheet: Sheet) -> dict[str, Any]:
    sign = "+" if job["by_ns"] > 0 else "−"
    return {
        "text": f"{sign}{duration(abs(job['by_ns']))}",
        "x": job["end_ns"],
        "xref": "x",
        "xanchor": "left",
        "xshift": 4,
        "y": place.baseline - place.pitch / 2,
        "yref": "y",
        "showarrow": False,
        "font": {"size": 12, "color": sheet.palette.text},
    }

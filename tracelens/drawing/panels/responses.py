"""Response times of one task: a dot per job, a histogram, and the empirical distribution."""

from typing import Final

import numpy as np
import polars as pl

from tracelens.drawing.axis import round_step
from tracelens.drawing.figures import (
    DOT_PX,
    Figure,
    Shown,
    caption,
    columns,
    dots,
    over_time,
    ring,
    rows,
    ruled,
    share_axis,
    thinned,
    time_axis,
    with_deadline,
)
from tracelens.drawing.packing import packed
from tracelens.drawing.palette import Palette
from tracelens.drawing.runs import Run
from tracelens.drawing.sheet import Sheet, remark
from tracelens.numbers import count, duration
from tracelens.units import NS_PER_S

DOTS: Final = 0.56
HISTOGRAM: Final = (0.62, 0.76)
DISTRIBUTION: Final = (0.82, 1.0)
"""Parts of the width."""

_CLOUDS: Final = (
    (False, False, "circle"),
    (True, False, "x"),
    (False, True, "triangle-up"),
    (True, True, "triangle-up"),
)
"""(late, open, symbol) of each cloud of dots."""

LEAST_PX: Final = 400
"""On a narrower figure the dots have the room alone."""

BAR_PX: Final = 4
MOST_STEPS: Final = 400


def response_times(run: Run, task: str | None, sheet: Sheet, chosen: int | None = None) -> Shown:
    """A dot per job of a task: response over release; beside it histogram and distribution.

    Dots that would lie on one another are one, the longest of them; a late job is a cross, an open
    one (its response is a lower bound) a triangle; the job that the reader looks at has a ring.
    """
    jobs = responses(run, task)
    if jobs.is_empty():
        return None, (
            "No job of this task was complete. Jobs are told by the waits between them, or by "
            "`arrive` and `finish` marks in the log."
        )
    palette = sheet.palette
    longest, deadline = jobs.select(pl.col("response_ns", "deadline_ns").max()).row(0)
    top = round(1.1 * max(longest, deadline or 0, 1))
    axis, unit = time_axis(top, sheet)
    share = DOTS if columns(sheet) >= LEAST_PX else 1.0
    made = over_time(sheet, 0, max(1, run.span_ns), share)
    made["yaxis"] |= axis
    made["annotations"].append(caption(f"response, {unit}", palette))
    if deadline is not None:
        with_deadline(made, deadline, palette, share)
    data = [*_clouds(jobs, run.span_ns, top, share, sheet), _chosen(jobs, chosen, palette)]
    if share < 1:
        histogram, most = _histogram(jobs, top, sheet)
        made["xaxis2"] = {
            **ruled(palette),
            "domain": HISTOGRAM,
            "anchor": "y",
            "range": [0, 1.05 * most],
            "tickmode": "array",
            "tickvals": [0, most],
        }
        made["xaxis3"] = {**share_axis(palette), "domain": DISTRIBUTION, "anchor": "y"}
        made["annotations"] += [
            remark("jobs", palette, x=HISTOGRAM[1], y=1, yanchor="bottom", yshift=3),
            remark("share of jobs, %", palette, x=1, y=1, yanchor="bottom", yshift=3),
        ]
        data += [histogram, _distribution(jobs, palette)]
    return {"data": data, "layout": made}, ""


def responses(run: Run, task: str | None) -> pl.DataFrame:
    """The jobs of a task that have a response: columns of `JOBS`, in order of release."""
    return run.analysis.timeline.jobs.filter(
        (pl.col("task") == task) & pl.col("response_ns").is_not_null()
    )


def _clouds(jobs: pl.DataFrame, span_ns: int, top: int, share: float, sheet: Sheet) -> list[Figure]:
    cell_x = max(1, DOT_PX * span_ns // columns(sheet, share))
    cell_y = max(1, round(DOT_PX * top / rows(sheet)))
    is_open = pl.col("status") == "open"
    drawn = thinned(
        jobs.with_columns(open=is_open), "release_ns", "response_ns", cell_x, cell_y, "late", "open"
    )
    return [
        _dots(
            drawn.filter((pl.col("late") == late) & (pl.col("open") == is_open)),
            symbol,
            "late" if late else "execution",
            sheet,
        )
        for late, is_open, symbol in _CLOUDS
    ]


def _dots(jobs: pl.DataFrame, symbol: str, state: str, sheet: Sheet) -> Figure:
    least = "at least " if symbol == "triangle-up" else ""
    return dots(
        jobs["release_ns"].to_numpy(),
        jobs["response_ns"].to_numpy() / NS_PER_S,
        jobs["job_id"].to_list(),
        symbol,
        state,
        sheet.palette,
    ) | {
        "text": jobs["job"].cast(pl.String).to_list(),
        "hovertemplate": f"job %{{text}}: {least}%{{y:.3~s}}s<extra></extra>",
    }


def _chosen(jobs: pl.DataFrame, chosen: int | None, palette: Palette) -> Figure:
    job = jobs.filter(pl.col("job_id") == (-1 if chosen is None else chosen))
    return ring(job["release_ns"].to_list(), (job["response_ns"] / NS_PER_S).to_list(), palette)


def _complete(jobs: pl.DataFrame) -> pl.DataFrame:
    return jobs.filter(pl.col("status") == "complete").sort("response_ns", maintain_order=True)


def _histogram(jobs: pl.DataFrame, top: int, sheet: Sheet) -> tuple[Figure, int]:
    """How many complete jobs took so long, in bins of a round length; and the most in one."""
    width = round_step(max(1.0, BAR_PX * top / rows(sheet)))
    taken = _complete(jobs)["response_ns"].to_numpy() // width
    counts = np.bincount(taken) if len(taken) else np.zeros(0, np.int64)
    bins = np.flatnonzero(counts)
    paint = sheet.palette.states["execution"]
    return {
        "type": "bar",
        "orientation": "h",
        "xaxis": "x2",
        "base": 0,
        "y": packed((bins + 0.5) * width / NS_PER_S),
        "x": packed(counts[bins].astype(np.int32)),
        "width": 0.9 * width / NS_PER_S,
        "marker": {"color": paint.fill, "line": {"width": 0}},
        "hovertext": [
            f"{count(number, 'job')} took {duration(at)} to {duration(at + width)}"
            for at, number in zip((bins * width).tolist(), counts[bins].tolist(), strict=True)
        ],
        "hoverinfo": "text",
    }, int(counts.max(initial=1))


def _distribution(jobs: pl.DataFrame, palette: Palette) -> Figure:
    """Empirical distribution function of the complete jobs' responses, as a step line.

    A point leads to the job whose response it is, so that each percentile can be looked at.
    """
    done = _complete(jobs)
    at = np.unique(np.linspace(0, done.height - 1, MOST_STEPS).astype(np.int64))
    at = at[: done.height]  # no complete job: no line
    share = 100 * (at + 1) / max(1, done.height)
    return {
        "type": "scatter",
        "mode": "lines",
        "xaxis": "x3",
        "x": packed(share.astype(np.float32)),
        "y": packed((done["response_ns"].to_numpy()[at] / NS_PER_S).astype(np.float32)),
        "customdata": done["job_id"].to_numpy()[at].tolist(),
        "line": {"shape": "vh", "width": 1.5, "color": palette.states["execution"].edge},
        "hovertemplate": "%{x:.3g} % of the jobs took %{y:.3~s}s or less<extra></extra>",
    }

"""Where the time of one job went: its ledger as a bar against the deadline.

Tables in, a plotly figure as a dict out.
"""

from collections.abc import Sequence
from itertools import accumulate, chain
from typing import Any, Final

import numpy as np
import polars as pl

from tracelens.drawing.axis import ticks
from tracelens.drawing.figures import Figure, Shown
from tracelens.drawing.labels import CHARACTER_PX
from tracelens.drawing.packing import inert, packed
from tracelens.drawing.palette import Paint, Palette
from tracelens.drawing.runs import Run
from tracelens.drawing.sheet import RIGHT_PX, Sheet, layout, remark, unit
from tracelens.drawing.window import Track, codes, column_edges, time_in
from tracelens.drawing.words import reason
from tracelens.explanation.jobs import of_task
from tracelens.explanation.usual import median_job
from tracelens.measures.ledgers import ledger
from tracelens.numbers import count, duration, exact
from tracelens.spans import LENGTH

LEFT_PX: Final = 132
BAR: Final = 0.7
"""Height of a bar, as a share of its place."""
LEAST_PX: Final = 4
"""A job whose parts are narrower on average is drawn as columns, each with its exact shares."""
COLUMN_PX: Final = 2
LABELLED_PX: Final = 30
"""No name is shorter."""

Part = tuple[int, int, str, str | None, str | None]
"""Start after release and length (ns), entry, by, via."""


def this_job(run: Run, job_id: int | None, sheet: Sheet) -> Shown:
    """Where a job's response went: as it happened, and summed, against the deadline.

    Under it stands the median job of the task, summed, with its entries in the same order.
    """
    job = None if job_id is None else run.job(job_id)
    if job is None:
        return None, _no_job(run)
    episodes = run.episodes_of(job["job_id"], job["job_id"])
    if episodes.is_empty():
        return None, "The log does not tell where the time of this job went."
    palette = sheet.palette
    release, deadline = job["release_ns"], job["deadline_ns"]
    spent = entries(run, job["job_id"])
    summed = spent.rows()  # few rows: a ledger is summed
    bars = [("as it happened", []), ("added up", _one_after_another(summed))]
    usual = _usual(run, job, spent)
    if usual is not None:
        bars.append(usual)
    ends = (base + length for _, parts in bars for base, length, *_ in parts)
    right = round(1.03 * max(job["end_ns"] - release, deadline or 0, *ends, 1))
    axis = ticks(0, right, sheet.width - LEFT_PX)
    made = layout(sheet, 0, right)
    made["margin"] |= {"l": LEFT_PX, "t": 18}
    made["barmode"] = "overlay"
    made["xaxis"] |= {
        "range": [0, right],
        "fixedrange": True,
        **axis.layout(),
    }
    made["yaxis"] |= {
        "range": [len(bars), 0],
        "tickmode": "array",
        "tickvals": [place + 0.5 for place in range(len(bars))],
        "ticktext": [title for title, _ in bars],
    }
    made["annotations"] = [unit(f"{axis.title} after release", palette)]
    if deadline is not None:
        colour = palette.states["late" if job["late"] else "met"].edge
        made["shapes"] = [
            {
                "type": "line",
                "yref": "paper",
                "x0": deadline,
                "x1": deadline,
                "y0": 0,
                "y1": 1,
                "line": {"width": 2, "color": colour},
            }
        ]
        made["annotations"].append(_at_deadline(deadline, right, palette))
    px_per_ns = (sheet.width - LEFT_PX - RIGHT_PX) / right
    length = job["end_ns"] - release
    told = bars
    if episodes.height * LEAST_PX > length * px_per_ns:
        dense = _in_columns(episodes, job, max(1, round(length * px_per_ns / COLUMN_PX)), palette)
        wide = episodes.filter(LENGTH * px_per_ns > LABELLED_PX)
        told = [("", _in_order(wide, release)), *bars[1:]]
    else:
        dense = []
        bars[0] = (bars[0][0], _in_order(episodes, release))
    data = [_ledger_bars(parts, place + 0.5, palette) for place, (_, parts) in enumerate(bars)]
    labels = [_labels(parts, place + 0.5, right, sheet) for place, (_, parts) in enumerate(told)]
    return {"data": [*dense, *chain.from_iterable(data), *labels], "layout": made}, ""


def _at_deadline(deadline: int, right: int, palette: Palette) -> dict[str, Any]:
    """The words at the mark of the deadline, on the side where there is room."""
    where: dict[str, Any] = {"xref": "x", "x": deadline, "y": 1, "yanchor": "bottom", "yshift": -3}
    if deadline * 5 < right:
        return remark(
            f"↓ deadline {duration(deadline)}", palette, **where, xanchor="left", xshift=-5
        )
    return remark(f"deadline {duration(deadline)} ↓", palette, **where, xshift=5)


def _usual(run: Run, job: dict[str, Any], spent: pl.DataFrame) -> tuple[str, list[Part]] | None:
    """Title and parts of the median job of the task; None if there is none, or it is this one."""
    if job["status"] not in ("complete", "open"):
        return None
    found = median_job(of_task(run.analysis.timeline.jobs, job["task"]))
    if found is None or found[0].job_id == job["job_id"]:
        return None
    key = ("entry", "by", "via")
    order = spent.select(*key, place=pl.int_range(pl.len()))
    theirs = entries(run, found[0].job_id).join(order, on=key, how="left", nulls_equal=True)
    rows = theirs.sort("place", nulls_last=True, maintain_order=True).drop("place")
    return f"median: job {found[0].number}", _one_after_another(rows.rows())  # few rows: summed


def _in_order(episodes: pl.DataFrame, release: int) -> list[Part]:
    return episodes.select(
        pl.col("start_ns") - release, LENGTH.alias("ns"), "entry", "by", "via"
    ).rows()  # few rows: they are drawn LEAST_PX wide


def _in_columns(
    episodes: pl.DataFrame, job: dict[str, Any], columns: int, palette: Palette
) -> list[Figure]:
    """The first bar, stacked: the share of each entry in each column."""
    edges = column_edges(job["release_ns"], job["end_ns"], columns)
    track = Track.of(episodes.select("start_ns", "end_ns", "entry"), "entry")
    width = np.maximum(np.diff(edges), 1)
    base = np.zeros(columns)
    made = []
    for entry, code in codes(episodes["entry"]).items():
        share = BAR * time_in(track, code, edges) / width
        some = np.flatnonzero(share)
        paint = palette.states[entry]
        if len(some):
            made.append(
                {
                    "type": "bar",
                    "orientation": "h",
                    "base": packed(edges[some] - job["release_ns"]),
                    "x": packed(width[some]),
                    "y": packed((0.5 + BAR / 2 - base - share / 2)[some]),
                    "width": packed(share[some]),
                    "marker": {"color": paint.fill, "line": {"width": 0}},
                    "hovertext": entry,
                    "hoverinfo": "text",
                }
            )
        base += share
    return made


def _one_after_another(ledger: Sequence[tuple[str, str | None, str | None, int]]) -> list[Part]:
    ends = accumulate(ns for *_, ns in ledger)
    return [
        (end - ns, ns, entry, by, via)
        for end, (entry, by, via, ns) in zip(ends, ledger, strict=True)
    ]


def entries(run: Run, job_id: int) -> pl.DataFrame:
    """The ledger of one job, largest entry first. Columns entry, by, via, ns."""
    return ledger(job_id, run.episodes_of(job_id, job_id)).select("entry", "by", "via", "ns")


def _ledger_bars(parts: list[Part], y: float, palette: Palette) -> list[Figure]:
    """One bar trace for each entry that occurs."""
    return [
        _ledger_bar([part for part in parts if part[2] == entry], y, palette.states[entry])
        for entry in dict.fromkeys(part[2] for part in parts)
    ]


def _ledger_bar(parts: list[Part], y: float, paint: Paint) -> Figure:
    return {
        "type": "bar",
        "orientation": "h",
        "base": packed(np.array([base for base, *_ in parts], np.float64)),
        "x": packed(np.array([length for _, length, *_ in parts], np.float64)),
        "y": [y] * len(parts),
        "width": [BAR] * len(parts),
        "marker": {
            "color": paint.fill,
            "line": {"width": 1, "color": paint.edge},
            "pattern": {
                "shape": paint.hatch,
                "fillmode": "overlay",
                "fgcolor": paint.edge,
                "fgopacity": 0.7,
                "size": 8,
                "solidity": 0.15,
            },
        },
        "hovertext": [
            f"{duration(ns)} ({exact(ns)})<br>{reason(entry, by and inert(by), via and inert(via))}"
            for _, ns, entry, by, via in parts
        ],
        "hoverinfo": "text",
    }


def _labels(parts: list[Part], y: float, right: int, sheet: Sheet) -> Figure:
    """Who or what each part is, where it fits: colour and hatch must not be all there is."""
    px_per_ns = (sheet.width - LEFT_PX - RIGHT_PX) / right
    fitting = [
        (base + length / 2, by if by and entry != "execution" else entry, entry)
        for base, length, entry, by, _ in parts
        if len(by or entry) * CHARACTER_PX + 10 <= length * px_per_ns
    ]
    palette = sheet.palette
    return {
        "type": "scatter",
        "mode": "text",
        "x": [x for x, _, _ in fitting],
        "y": [y] * len(fitting),
        "text": [f" {inert(text)} " for _, text, _ in fitting],
        "textfont": {
            "size": 12,
            "color": [palette.ink_on(entry) for _, _, entry in fitting],
        },
        "hoverinfo": "skip",
    }


def _no_job(run: Run) -> str:
    if run.late.height:
        return "Choose a finding, or a miss, to see where its time went."
    deadlines = run.analysis.tasks["deadline_ns"].drop_nulls().len()
    if deadlines:
        have = "has" if deadlines == 1 else "have"
        return (
            f"No job was late; {count(deadlines, 'task')} {have} a deadline. "
            "Choose a dot under “response times” to see where a job’s time went."
        )
    return (
        "No deadline is declared, so nothing can be called late: add deadline_us to the #task "
        "lines of the log, or to a system file."
    )

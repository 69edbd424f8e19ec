"""An analysis as one HTML page: the verdict first, then everything an engineer asks for.

The pictures are those of the page of `tracelens serve`, as SVG elements. Against embedding the
library that draws them there, which would keep them movable, speaks its size (4.8 MB of script in
every report), that it must run script over names that anybody may have put into a log, and that
its pictures neither print well nor follow the reader's colour scheme.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

import polars as pl

from tracelens import explanation
from tracelens.drawing import key
from tracelens.drawing.palette import LIGHT
from tracelens.drawing.runs import Run, load
from tracelens.model.results import Analysis, Finding, Timeline
from tracelens.report import explained, selection
from tracelens.report.blocks import Document, Drawing, Remark
from tracelens.report.document import document, worst_first
from tracelens.report.html import blocks, pictures, summary
from tracelens.report.html.pictures import Picture
from tracelens.report.html.template import fill

MOST_MISSES: Final = 4
"""So many late jobs, the worst of so many tasks, are drawn and told."""

AT_ONCE: Final = ("Where the time went", "What to try")
"""Sections of a telling that stand open; the others open at a click."""


@dataclass(frozen=True, slots=True)
class Told:
    """One job drawn and told. `anchor` is where a link to it leads."""

    anchor: str
    verdict: str
    facts: tuple[str, ...]
    schedule: Picture
    ledger: Picture
    sections: tuple[tuple[str, bool, tuple[dict[str, Any], ...]], ...]


def render(analysis: Analysis, run: Timeline) -> str:
    """The whole report as one HTML document that needs nothing else.

    `run` is the run that was analysed: of an analysis of a part of it the whole run, for the tale
    of a job begins before its window. Names are as in the log: whatever the template shows is
    made plain and escaped.
    """
    told = document(analysis)
    drawn = load(replace(analysis, timeline=run))
    jobs = tuple(_told(drawn, run, job_id) for job_id in jobs_to_tell(analysis))
    anchors = {job_id: one.anchor for job_id, one in zip(jobs_to_tell(analysis), jobs, strict=True)}
    return fill(
        "report.html.j2",
        title=told.title,
        facts=told.facts,
        headline=summary.headline(analysis),
        verdict=told.verdict,
        findings=_findings(analysis, told.remarks, anchors),
        deadlines=blocks.grid(summary.deadlines(analysis)),
        strip=pictures.run_strip(drawn),
        late=bool(selection.late_jobs(analysis).height),
        jobs=jobs,
        states=[(state, said, bool(LIGHT.states[state].hatch)) for state, said in key.STATES],
        signs=key.SIGNS,
        load=pictures.load_curve(drawn, analysis.window),
        responses=tuple(pictures.response_plots(drawn, analysis)),
        sections=[(s.title, tuple(map(blocks.view, s.blocks))) for s in told.sections],
    )


def render_document(told: Document, links: Mapping[str, str]) -> str:
    """A document without pictures as a page of the same kind.

    `links` leads from the text of a cell to a relative address, percent-encoded already.
    """
    return fill(
        "document.html.j2",
        title=told.title,
        facts=told.facts,
        verdict=told.verdict,
        remarks=told.remarks,
        sections=[(s.title, tuple(map(blocks.view, s.blocks))) for s in told.sections],
        links=links,
    )


def jobs_to_tell(analysis: Analysis) -> list[int]:
    """The worst late job of each task, the worst of all first; if none was late, the nearest.

    That is the job with the largest response as a share of its deadline, or, where no deadline is
    declared, with the largest response.
    """
    late = selection.late_jobs(analysis).sort("lateness_ns", descending=True, maintain_order=True)
    if late.height:
        worst = late.unique("task", keep="first", maintain_order=True)
        return worst["job_id"].head(MOST_MISSES).to_list()
    judged = analysis.timeline.jobs.filter(pl.col("response_ns").is_not_null())
    used = pl.col("response_ns") / pl.col("deadline_ns")
    nearest = judged.sort(
        used, "response_ns", descending=True, nulls_last=True, maintain_order=True
    )
    return nearest["job_id"].head(1).to_list()


def _findings(
    analysis: Analysis, remarks: tuple[Remark, ...], anchors: dict[int, str]
) -> list[tuple[Remark, str]]:
    """Each remark with the anchor of the job that it tells of, or ''."""

    def anchor(found: Finding) -> str:
        return anchors.get(int(found.numbers.get("job_id", -1)), "")

    return [
        (remark, anchor(found))
        for remark, found in zip(remarks, worst_first(analysis), strict=True)
    ]


def _told(drawn: Run, run: Timeline, job_id: int) -> Told:
    job = drawn.job(job_id)
    assert job is not None, "a job of the run"
    page = explained.document(explanation.explain(run, job_id))
    return Told(
        anchor=f"job-{job_id}",
        verdict=page.verdict,
        facts=page.facts,
        schedule=pictures.job_schedule(drawn, job),
        ledger=pictures.job_ledger(drawn, job),
        # The last section is the caution that closes the whole report too.
        sections=tuple(_sections(page.sections[:-1])),
    )


def _sections(told: Any) -> Iterator[tuple[str, bool, tuple[dict[str, Any], ...]]]:
    """(title, whether it stands open, blocks), without the picture made of characters."""
    for section in told:
        shown = [block for block in section.blocks if not isinstance(block, Drawing)]
        yield section.title, section.title in AT_ONCE, tuple(map(blocks.view, shown))

"""Load, response times and the ledger of a job, as dicts; and what stands where there is none."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from tests.drawing import scene
from tests.drawing.figure_reading import numbers, size
from tests.drawing.scene import US
from tracelens.drawing.panels.load import load_over_time
from tracelens.drawing.panels.responses import response_times
from tracelens.drawing.runs import Episodes, load
from tracelens.drawing.sheet import Sheet
from tracelens.drawing.this_job import entries, this_job

SHEET = Sheet(1100, 180)


def test_load_adds_up_to_the_load_of_the_core() -> None:
    """Windows of one length: their mean is the load of the whole."""
    run = scene.run()
    figure, missing = load_over_time(run, 0, run.span_ns, SHEET)
    assert figure is not None
    assert missing == ""
    _, core = figure["data"]
    edges, load_of_window = numbers(core["x"]), numbers(core["y"])
    assert len(set(np.diff(edges))) == 1
    mean = load_of_window[:-1].mean() / 100
    assert mean == pytest.approx(run.analysis.cores["load"][0], rel=1e-5)


def test_each_job_is_a_dot_and_a_late_one_a_cross() -> None:
    figure, _ = response_times(scene.run(), "needle_select", SHEET)
    assert figure is not None
    met, late, *_ = figure["data"]
    assert (met["marker"]["symbol"], late["marker"]["symbol"]) == ("circle", "x")
    assert numbers(met["y"]) * 1000 == pytest.approx([0.7] * 3)
    assert numbers(late["y"]) * 1000 == pytest.approx([3.2] * 3)
    assert late["customdata"] == [scene.job_of("needle_select", n) for n in (1, 3, 5)]
    assert figure["layout"]["shapes"][0]["y0"] == pytest.approx(1.8e-3)


def test_the_distribution_ends_at_all_jobs() -> None:
    figure, _ = response_times(scene.run(), "needle_select", SHEET)
    assert figure is not None
    share = numbers(figure["data"][-1]["x"])
    assert (share[0], share[-1]) == (pytest.approx(100 / 6), 100)


def test_dots_on_one_another_are_one() -> None:
    figure, _ = response_times(scene.run(400), "archive", SHEET)
    assert figure is not None
    assert len(numbers(figure["data"][0]["x"])) < 400
    assert size(figure) < 400_000


def test_the_ledger_of_a_job_is_its_response() -> None:
    run = scene.run()
    job = scene.job_of("needle_select", 3)
    figure, missing = this_job(run, job, SHEET)
    assert figure is not None
    assert missing == ""
    bars: dict[float, float] = {}
    for trace in figure["data"]:
        if trace["type"] == "bar":
            for y, length in zip(trace["y"], numbers(trace["x"]), strict=True):
                bars[y] = bars.get(y, 0) + length
    assert bars == {0.5: 3200 * US, 1.5: 3200 * US, 2.5: 700 * US}
    assert figure["layout"]["yaxis"]["ticktext"] == [
        "as it happened", "added up", "median: job 2",
    ]  # fmt: skip
    assert entries(run, job).rows() == [
        ("inversion", "link", "flash_bus", 2000 * US),
        ("execution", "needle_select", None, 700 * US),
        ("blocked", "archive", "flash_bus", 450 * US),
        ("isr", "carriage_encoder", None, 50 * US),
    ]
    assert figure["layout"]["shapes"][0]["x0"] == 1800 * US


def test_the_median_job_stands_alone() -> None:
    figure, _ = this_job(scene.run(), scene.job_of("needle_select", 2), SHEET)
    assert figure is not None
    assert figure["layout"]["yaxis"]["ticktext"] == ["as it happened", "added up"]


def test_without_a_choice_the_page_says_how_to_choose() -> None:
    assert this_job(scene.run(), None, SHEET) == (
        None,
        "Choose a finding, or a miss, to see where its time went.",
    )
    assert this_job(scene.run(), 10**6, SHEET)[0] is None


def test_without_a_deadline_the_page_says_how_to_declare_one() -> None:
    analysis = scene.analysis()
    bare = analysis.tasks.with_columns(deadline_ns=None)
    run = load(
        replace(
            analysis,
            tasks=bare,
            timeline=replace(
                analysis.timeline, jobs=analysis.timeline.jobs.with_columns(late=False)
            ),
        )
    )
    assert "add deadline_us to the #task lines" in this_job(run, None, SHEET)[1]


def test_a_task_without_a_job_says_how_jobs_are_told() -> None:
    figure, missing = response_times(scene.run(), "idle", SHEET)
    assert figure is None
    assert "`arrive` and `finish` marks" in missing


def test_a_job_of_very_many_parts_is_drawn_as_columns_with_their_shares() -> None:
    """A job that is interrupted a thousand times, each time for 1 µs, then runs for 1 ms."""
    run = scene.run()
    job = scene.job_of("link", 1)
    at = [1500 * US + i * US for i in range(2001)]
    many = pl.DataFrame(
        {
            "job_id": [job] * 2000,
            "start_ns": at[:-1],
            "end_ns": at[1:],
            "entry": ["execution", "isr"] * 1000,
            "by": ["link", "carriage_encoder"] * 1000,
            "via": [None] * 2000,
        },
        schema=run.episodes.table.schema,
    )
    figure, _ = this_job(replace(run, episodes=Episodes.of(many)), job, SHEET)
    assert figure is not None
    assert size(figure) < 100_000
    shares = {}
    for trace in figure["data"]:
        if trace["type"] == "bar" and trace.get("hovertext") in ("execution", "isr"):
            area = numbers(trace["x"]) * numbers(trace["width"])
            shares[trace["hovertext"]] = area.sum() / 0.7 / US
    assert shares == {"execution": pytest.approx(1000), "isr": pytest.approx(1000)}

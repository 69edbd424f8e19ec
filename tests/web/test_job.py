"""This job, as the page tells it: the same numbers as `tracelens explain`."""

import dataclasses
import json

import polars as pl
import pytest

from tests.drawing import scene
from tests.drawing.scene import MS
from tests.web.reading import every, places, text
from tracelens import explanation
from tracelens.drawing.sheet import Sheet
from tracelens.drawing.telling import MOST_KEPT, chain, telling
from tracelens.numbers import time_in
from tracelens.report import explained_json
from tracelens.web.components import BLANK
from tracelens.web.moves import View, to_place
from tracelens.web.parts.job import beside_usual, explain, take

SHEET = Sheet(700, 150)
LATE = scene.job_of("needle_select", 3)


@pytest.mark.parametrize("number", [1, 2, 3])
def test_the_numbers_are_those_of_explain(number: int) -> None:
    job = scene.job_of("needle_select", number)
    told = explanation.explain(scene.run().analysis.timeline, job)
    document = json.loads(explained_json.encode(told))
    rows = beside_usual(telling(scene.run(), job))
    ledger = {(r["entry"], r["by"], r["via"]): r["us"] for r in document["ledger"]}
    ours = {(e, by, via): us for e, by, via, us, _ in rows.rows() if us}
    assert ours == ledger
    if document["usual"]:
        usual = {(g["entry"], g["by"], g["via"]): g["usual_us"]
                 for g in document["usual"]["growths"]}  # fmt: skip
        assert {(e, by, via): us for e, by, via, _, us in rows.rows()} == usual
    words = text(explain(scene.run(), job, SHEET)[3])
    bare = "".join(words.split())
    for repair in document["repairs"]:
        assert repair["text"].replace("`", "").replace(" ", "") in bare
    for row in told.rows:
        assert time_in("µs", row.ns) in words


def test_a_late_job_is_told_from_why_to_what_to_try() -> None:
    figure, missing, title, words = explain(scene.run(), LATE, SHEET)
    assert missing == ""
    assert figure["data"]
    assert title[1].children == "needle_select, job 3: response 3.20 ms, 1.40 ms over its deadline"
    heads = [text(head) for head in every(words, "H3")]
    assert heads == [
        "to try",
        "where its time went",
        "in order, from the release",
        "who held the locks",
        "all late jobs of needle_select",
    ]
    said = text(words)
    assert "Job 2 is the median of the 6 judged jobs of needle_select" in said
    assert "Create flash_bus with priority inheritance or a priority ceiling" in said
    assert "archive held flash_bus from" in said
    assert explain(scene.run(), None, SHEET)[0] is BLANK


def test_each_stretch_leads_to_its_place() -> None:
    """needle_select 3: released at 21 ms, wants the lock at 21.3, has it at 23.8, done at 24.2."""
    words = explain(scene.run(), LATE, SHEET)[3]
    leads = places(words)[:3]
    assert leads == [
        f"{21 * MS}:{21_300_000}:{LATE}:needle_select",
        f"{21_300_000}:{23_800_000}:{LATE}:needle_select",
        f"{23_800_000}:{24_200_000}:{LATE}:needle_select",
    ]
    moved = to_place(scene.run(), View(0, 60 * MS), leads[1])
    assert moved is not None
    assert moved[1] == LATE
    assert moved[0].start <= 21.3 * MS < 23.8 * MS <= moved[0].end


def test_the_ledger_is_taken_away() -> None:
    sent, note = take(scene.run(), LATE)
    assert note == ""
    assert sent["filename"].startswith("knitting-job-needle_select-3-")
    rows = pl.read_csv(sent["content"].encode())
    assert rows["this_us"].sum() == 3200
    assert rows["usual_us"].sum() == 700
    assert take(scene.run(), None)[1] == "no job is chosen"


def test_a_telling_is_made_once_and_few_are_kept() -> None:
    run = dataclasses.replace(scene.run())
    first = telling(run, LATE)
    assert telling(run, LATE) is first
    for job in range(MOST_KEPT):
        chain(run, job % run.analysis.timeline.jobs.height)
        telling(run, job % run.analysis.timeline.jobs.height)
    other = dataclasses.replace(run)
    assert telling(other, LATE) is not first, "of another run"

"""What the callbacks hand over, without a browser."""

import pytest

from tests.drawing import scene
from tests.drawing.scene import MS
from tracelens.drawing.sheet import Sheet
from tracelens.web import ids
from tracelens.web.moves import View
from tracelens.web.panels.registry import panel_of
from tracelens.web.parts.job import job_title
from tracelens.web.parts.panel_content import to_clicked
from tracelens.web.parts.schedule import draw, go, jump
from tracelens.web.screen import sheet_of

SHEET = Sheet(1100, 420)
VIEW = View(20 * MS, 26 * MS)
SCREEN = {"sizes": {ids.SCHEDULE: [1100.4, 420]}, "scheme": "dark"}


def test_the_browser_says_how_large_and_which_scheme() -> None:
    assert sheet_of(SCREEN, ids.SCHEDULE) == Sheet(1100, 420, "dark")
    assert sheet_of(SCREEN, ids.STRIP) is None
    assert sheet_of(None, ids.STRIP) is None


def test_an_absurd_size_is_not_painted() -> None:
    huge = {"sizes": {ids.SCHEDULE: [10**9, 10**9]}, "scheme": "<b>"}
    assert sheet_of(huge, ids.SCHEDULE) == Sheet(8000, 4000, "light")


@pytest.mark.parametrize(
    ("pressed", "job"),
    [
        (ids.NEXT, 5),
        (ids.PREVIOUS, 1),
    ],
)
def test_what_is_pressed_leads_to_a_job(pressed: str, job: int) -> None:
    chosen = scene.job_of("needle_select", 3)
    moved = go(scene.run(), VIEW, chosen, pressed, "miss")
    assert moved is not None
    assert moved[1] == scene.job_of("needle_select", job)


def test_the_whole_run_keeps_the_choice_and_the_lanes() -> None:
    assert go(scene.run(), View(0, 9, 2), 4, ids.WHOLE) == (View(0, 60 * MS, 2), 4)


def test_a_dot_leads_to_its_job_and_a_line_nowhere() -> None:
    job = scene.job_of("archive", 2)
    dot = {"points": [{"customdata": job}]}
    moved = to_clicked(scene.run(), panel_of("responses"), VIEW, None, dot)
    assert moved is not None
    assert moved[1] == job
    assert (
        to_clicked(scene.run(), panel_of("responses"), VIEW, None, {"points": [{"x": 1}]}) is None
    )


def test_a_jump_moves_or_says_why_not() -> None:
    run = scene.run()
    assert jump(run, VIEW, "30 ms") == (View(27 * MS, 33 * MS), "")
    assert jump(run, VIEW, " ") == (None, "")
    assert jump(run, VIEW, "soon")[1].startswith("found 'soon', expected")
    assert jump(run, VIEW, "3 s") == (None, "the run ends at 0.060000 s")


def test_a_drawing_says_what_it_shows() -> None:
    figure, note = draw(scene.run(), VIEW, scene.job_of("needle_select", 3), SHEET)
    assert figure["top"] == 0
    assert note == "6.00 ms from 0.020000 s"
    assert draw(scene.run(), VIEW, None, Sheet(1100, 120))[1].startswith("lanes 1–")


@pytest.mark.parametrize(
    ("status", "late", "deadline", "title"),
    [
        ("open", True, 1 * MS, "t, job 1: still open after 2.00 ms, 1.00 ms over its deadline"),
        ("complete", False, None, "t, job 1: response 2.00 ms, no deadline declared"),
        (
            "excluded",
            False,
            3 * MS,
            "t, job 1: not judged, since part of its time is unknown, deadline 3.00 ms",
        ),
    ],
)
def test_titles(status: str, late: bool, deadline: int | None, title: str) -> None:
    job = {"task": "t", "job": 1, "release_ns": 0, "end_ns": 2 * MS}
    assert job_title(job | {"status": status, "late": late, "deadline_ns": deadline}) == title

"""Where findings, misses, typed times and addresses take the reader."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.drawing import scene
from tests.drawing.scene import MS, US
from tracelens.errors import UsageError
from tracelens.model.results import Finding
from tracelens.web import moves
from tracelens.web.moves import LEAST_WIDTH_NS, View

WIDE = View(0, 60 * MS)


@given(st.integers(-(10**9), 10**9), st.integers(-100, 10**9), st.integers(-5, 50))
def test_every_view_lies_within_the_run(start: int, width: int, top: int) -> None:
    run = scene.run()
    view = moves.fit(run, View(start, start + width, top))
    assert 0 <= view.start < view.end <= run.span_ns
    assert view.end - view.start == min(max(width, LEAST_WIDTH_NS), run.span_ns)
    assert 0 <= view.top < len(run.lanes.lanes)


def test_the_page_opens_on_the_first_finding() -> None:
    view, chosen = moves.opening(scene.run())
    assert chosen == scene.job_of("needle_select", 1)
    assert view.start <= 1 * MS
    assert view.end >= 4.2 * MS


def test_a_job_is_shown_from_release_to_the_later_of_deadline_and_completion() -> None:
    job = scene.job_of("needle_select", 4)
    view, chosen = moves.to_job(scene.run(), WIDE, job)
    assert chosen == job
    assert (view.start, view.end) == (30_640 * US, 33_160 * US)


def test_a_finding_without_a_place_moves_nothing() -> None:
    finding = Finding("note", "log", "said", None, "kind", {})
    assert moves.to_finding(scene.run(), WIDE, finding) == (WIDE, None)


def test_a_finding_about_a_lock_shows_the_moment() -> None:
    finding = Finding("note", "flash_bus", "said", 30 * MS, "kind", {})
    view, chosen = moves.to_finding(scene.run(), WIDE, finding)
    assert chosen is None
    assert (view.start + view.end) // 2 == 30 * MS


def test_a_typed_time_comes_to_the_middle() -> None:
    view = moves.to_instant(scene.run(), View(0, 2 * MS, 3), 30 * MS)
    assert view == View(29 * MS, 31 * MS, 3)


@pytest.mark.parametrize(
    ("search", "view", "chosen"),
    [
        ("?run=1&from=1000000&to=2000000", View(MS, 2 * MS), None),
        ("?from=1000000&to=2000000&top=2&job=3", View(MS, 2 * MS, 2), 3),
        ("?from=1000000&to=2000000&job=99999", View(MS, 2 * MS), None),
        ("?from=1000000&to=999999999999", View(0, 60 * MS), None),
        (
            "?from=1000000&to=2000000&lanes=needle+LINK&without=isr&without=queue&first=archive"
            "&first=link&order=busy&fold=1",
            View(MS, 2 * MS, 0, "needle LINK", ["isr", "queue"], ["archive", "link"], "busy", True),
            None,
        ),
        (
            "?from=1000000&to=2000000&without=window&first=nobody&order=chaos&fold=maybe&top=-3",
            View(MS, 2 * MS),
            None,
        ),
    ],
)
def test_the_address_brings_a_view_back(search: str, view: View, chosen: int | None) -> None:
    found, job = moves.from_address(scene.run(), search)
    assert (found.stored(), job) == (
        view.stored() | {"without": list(view.without), "first": list(view.first)},
        chosen,
    )


def test_an_address_with_a_job_alone_shows_it() -> None:
    job = scene.job_of("needle_select", 4)
    assert moves.from_address(scene.run(), f"?job={job}") == moves.to_job(
        scene.run(), View(0, 60 * MS, without=[], first=[]), job
    )


@pytest.mark.parametrize("search", ["", "?from=x&to=2", "?from=1", "?job=<script>"])
def test_an_address_that_says_nothing_opens_as_usual(search: str) -> None:
    view, chosen = moves.from_address(scene.run(), search)
    opened, first = moves.opening(scene.run())
    assert (view.start, view.end, chosen) == (opened.start, opened.end, first)


def test_an_address_with_a_finding_alone_shows_it() -> None:
    run = scene.run()
    for number, finding in enumerate(run.analysis.findings):
        view, chosen = moves.from_address(run, f"?finding={number}")
        expected = moves.to_finding(run, View(0, run.span_ns), finding)
        assert (view.start, view.end, chosen) == (expected[0].start, expected[0].end, expected[1])


@pytest.mark.parametrize(
    ("text", "ns"),
    [
        ("8.12 s", 8_120_000_000),
        ("8,12", 8_120_000_000),
        ("250us", 250_000),
        (" 250 µs ", 250_000),
        ("1.5ms", 1_500_000),
        ("2 min", 120_000_000_000),
        ("0", 0),
        ("0 s", 0),
    ],
)
def test_a_typed_time_is_read_exactly(text: str, ns: int) -> None:
    assert moves.typed(text) == ns


@pytest.mark.parametrize("text", ["", "8.", "-1 s", "1e3", "8 h", "8 s 5", "९ s"])
def test_anything_else_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(UsageError, match=r"expected a time such as 8\.12 s or 250 us"):
        moves.typed(text)

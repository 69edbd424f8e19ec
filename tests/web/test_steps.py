"""From one place to the next, and where that ends."""

from tests.drawing import scene
from tests.drawing.scene import MS
from tracelens.web import moves, steps
from tracelens.web.moves import View


def test_misses_follow_one_another_and_stop_at_the_ends() -> None:
    run, view, chosen = scene.run(), View(0, 1 * MS), None
    seen = []
    for by in (1, 1, 1, 1, -1, -1, -1):
        view, chosen = steps.step(run, view, chosen, "miss", by)
        seen.append(steps.which(run, view, chosen, "miss"))
    assert seen == [f"miss {n} of 3" for n in (1, 2, 3, 3, 2, 1, 1)]


def test_from_between_two_misses_each_is_near() -> None:
    run, between = scene.run(), View(29 * MS, 31 * MS)
    assert steps.step(run, between, None, "miss", 1)[1] == scene.job_of("needle_select", 5)
    assert steps.step(run, between, None, "miss", -1)[1] == scene.job_of("needle_select", 3)


def test_inversions_follow_one_another_and_bring_their_job() -> None:
    """One in each even cycle, from 1.3 to 3.8 ms of it: scene.LATE."""
    run, view, chosen = scene.run(), View(0, 60 * MS), None
    assert steps.which(run, view, chosen, "inversion") == "3 inversions"
    seen = []
    for by in (1, -1, -1, 1, 1, 1):
        view, chosen = steps.step(run, view, chosen, "inversion", by)
        seen.append(steps.which(run, view, chosen, "inversion"))
        start = 20 * MS * int(seen[-1].split()[1]) - 20 * MS
        assert view.start < start + 1.3 * MS < start + 3.8 * MS < view.end
        assert chosen == scene.job_of("needle_select", 2 * int(seen[-1].split()[1]) - 1)
    assert seen == [f"inversion {n} of 3" for n in (3, 2, 1, 2, 3, 3)]


def test_inversions_with_one_frame_do_not_hold_the_reader_back() -> None:
    """Two victims of one holder at one time would be framed by one window."""
    import dataclasses

    import polars as pl

    run = scene.run()
    timeline = run.analysis.timeline
    doubled = pl.concat([timeline.inversions, timeline.inversions]).sort("start_ns")
    analysis = dataclasses.replace(
        run.analysis, timeline=dataclasses.replace(timeline, inversions=doubled)
    )
    run = dataclasses.replace(run, analysis=analysis)
    view = moves.to_span(run, View(0, 60 * MS), 1_300_000, 3_800_000, "needle_select")
    assert steps.which(run, view, None, "inversion") == "inversion 1 of 6"
    view, _ = steps.step(run, view, None, "inversion", 1)
    assert steps.which(run, view, None, "inversion") == "inversion 3 of 6"


def test_without_a_place_nothing_moves() -> None:
    import dataclasses

    run = scene.run()
    none = dataclasses.replace(
        run.analysis.timeline, inversions=run.analysis.timeline.inversions.clear()
    )
    run = dataclasses.replace(
        run, late=run.late.clear(), analysis=dataclasses.replace(run.analysis, timeline=none)
    )
    for kind, said in (("miss", "no misses"), ("inversion", "no inversions")):
        assert steps.step(run, View(0, 1), 7, kind, 1) == (View(0, 1), 7)
        assert steps.which(run, View(0, 1), None, kind) == said

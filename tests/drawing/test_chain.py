"""The chain of holders over the lanes."""

import tracelens
from tests.drawing import scene
from tests.drawing.figure_reading import numbers
from tests.drawing.scene import MS
from tracelens.drawing.runs import load
from tracelens.drawing.sheet import Sheet
from tracelens.drawing.swimlanes import schedule

SHEET = Sheet(1100, 420)


def lines(figure: dict, width: float) -> list[list[tuple[float, float]]]:
    """The points of each line of that width, without its gaps."""
    return [
        [(x, y) for x, y in zip(numbers(t["x"]), numbers(t["y"]), strict=True) if x == x]
        for t in figure["data"]
        if t.get("mode") == "lines" and t["line"]["width"] == width
    ]


def test_a_link_goes_along_the_lane_of_the_holder_while_it_holds() -> None:
    """From 21.3 to 23.8 ms archive has the lock that needle_select waits for: scene.LATE."""
    job = scene.job_of("needle_select", 3)
    figure, arrangement = schedule(scene.run(), 20 * MS, 26 * MS, SHEET, job_id=job)
    at = {p.lane.name: p for p in arrangement.places}
    (points,) = lines(figure, 2.5)
    assert [x / MS for x, _ in points] == [21.3, 21.3, 23.8, 23.8]
    waiter = at["needle_select"].baseline - at["needle_select"].block / 2
    holder = at["archive"].baseline + 1
    assert [y for _, y in points] == [waiter, holder, holder, waiter]
    said = [t["hovertext"][0] for t in figure["data"] if "holds" in str(t.get("hovertext"))]
    assert said == [
        "<b>needle_select</b> waits for flash_bus<br><b>archive</b> holds flash_bus for "
        "2.50 ms of that"
    ]
    assert not [t for t in figure["data"] if t.get("line", {}).get("dash") == "dot"], "drawn once"


def test_a_chain_is_drawn_link_by_link() -> None:
    """J1 waits for S1, then for S2: two waits, each with its holder (Sha, Rajkumar and Lehoczky,
    "Priority inheritance protocols", IEEE Transactions on Computers 39(9), 1990)."""
    log = "sample_traces/classroom/chained_blocking_inherit.csv"
    run = load(tracelens.analyse(tracelens.read(log)))
    jobs = run.analysis.timeline.jobs.filter(task="J1")
    figure, _ = schedule(run, 0, run.span_ns, SHEET, job_id=jobs["job_id"][0])
    (points,) = lines(figure, 2.5)
    assert len(points) == 2 * 4


def test_lanes_that_are_not_shown_have_no_link() -> None:
    job = scene.job_of("needle_select", 3)
    figure, _ = schedule(scene.run(), 20 * MS, 26 * MS, Sheet(1100, 110), job_id=job)
    assert lines(figure, 2.5) == []

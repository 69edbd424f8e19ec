"""The schedule as a dict: what is drawn, where, and in how few bytes."""

import base64
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from _plotly_utils.png import Reader  # a vendored pure-Python PNG decoder

import tracelens
from tests.drawing import scene
from tests.drawing.figure_reading import numbers, said, size
from tests.drawing.scene import MS, TAG, US
from tracelens.drawing.columns import picture
from tracelens.drawing.lanes import Lane
from tracelens.drawing.palette import LIGHT, rgb
from tracelens.drawing.runs import load
from tracelens.drawing.sheet import LEFT_PX, RIGHT_PX, Place, Sheet, arrange
from tracelens.drawing.swimlanes import schedule, whole_run
from tracelens.drawing.window import column_edges

SHEET = Sheet(1100, 420)
LIMIT = 400_000


def late_cycle() -> dict:
    """The cycle from 20 ms on, in which needle_select is late."""
    return schedule(scene.run(), 20 * MS, 26 * MS, SHEET)[0]


def test_lanes_stand_by_urgency_under_their_headings() -> None:
    run = scene.run()
    assert [lane.label for lane in run.lanes.lanes] == [
        "carriage_encoder", "needle_select · 6", "link · 4", f"{TAG} · 3", "archive · 1",
        "idle · 0", "main", "flash_bus",
    ]  # fmt: skip
    headings = [text["text"] for text in late_cycle()["layout"]["annotations"]]
    assert headings == ["ms", "interrupts", "tasks, most urgent first", "cores", "locks"]


def test_blocks_are_exact_and_say_state_and_reason() -> None:
    figure = late_cycle()
    assert said(figure, "<b>needle_select</b>", "executes") == [
        (21 * MS, 300 * US),
        (23.8 * MS, 400 * US),
    ]
    assert said(figure, "<b>needle_select</b>", "waits for a lock : flash_bus") == [
        (21.3 * MS, 2500 * US)
    ]
    assert said(figure, "<b>carriage_encoder</b>", "interrupt") == [(23.6 * MS, 50 * US)]
    assert said(figure, "<b>archive</b>", "interrupted") == [(23.6 * MS, 50 * US)]
    assert said(figure, "<b>archive</b>", "ready", "link runs, at least as urgent") == [
        (21.5 * MS, 2000 * US)
    ]
    assert said(figure, "<b>flash_bus</b>", "wanted by needle_select") == [(21.3 * MS, 2500 * US)]


def test_what_runs_after_the_deadline_is_edged() -> None:
    """Released at 21 ms, due at 22.8 ms, complete at 24.2 ms: it ran late from 23.8 ms on."""
    assert said(late_cycle(), "runs after its deadline") == [(23.8 * MS, 400 * US)]


def test_job_marks_stand_at_release_deadline_and_completion() -> None:
    marks = next(t for t in late_cycle()["data"] if t.get("mode") == "markers" and "line" in
                 t["marker"])  # fmt: skip
    at = {
        (symbol, float(x) / MS)
        for symbol, x, words in zip(
            marks["marker"]["symbol"], numbers(marks["x"]), marks["hovertext"], strict=True
        )
        if "<b>needle_select</b> job 3" in words
    }
    assert at == {
        ("triangle-up", 21.0),
        ("triangle-down", 22.8),
        ("x-thin", 22.8),
        ("circle-open", 24.2),
    }


def test_a_waiting_task_is_tied_to_the_holder() -> None:
    ties = [t for t in late_cycle()["data"] if t.get("line", {}).get("dash") == "dot"]
    assert [float(numbers(tie["x"])[0]) for tie in ties] == [21.3 * MS]


def test_the_job_that_is_looked_at_is_shaded_in_its_lane() -> None:
    figure, _ = schedule(
        scene.run(), 20 * MS, 26 * MS, SHEET, job_id=scene.job_of("needle_select", 3)
    )
    shaded = [s for s in figure["layout"]["shapes"] if s["type"] == "rect"]
    assert [(s["x0"], s["x1"]) for s in shaded] == [(21 * MS, 24.2 * MS)]


def test_a_name_with_markup_is_inert_wherever_it_stands() -> None:
    whole = scene.run()
    for start, end in ((0, whole.span_ns), (0, 10 * MS)):
        figure, _ = schedule(whole, start, end, SHEET)
        assert "<script" not in str(figure["data"]) + str(figure["layout"])


def test_a_full_window_is_one_picture_and_every_execution_shows() -> None:
    run = scene.run(400)
    figure, arrangement = schedule(run, 0, run.span_ns, SHEET)
    (image,) = figure["layout"]["images"]
    assert (image["x"], image["sizex"]) == (0, run.span_ns)
    picture = base64.b64decode(image["source"].removeprefix("data:image/png;base64,"))
    width, height, rows, _ = Reader(bytes=picture).asRGBA8()
    assert (width, height) == (SHEET.columns, SHEET.rows)
    seen = np.array([list(row) for row in rows], np.uint8).reshape(height, width, 4)
    lane = next(p for p in arrangement.places if p.lane.name == "needle_select")
    bottom = seen[lane.baseline - 1, :, :3]
    executing = (bottom == rgb(LIGHT.states["execution"].fill)).all(axis=1)
    runs = run.lanes.tracks["task"]["running"].visible(lane.lane.key, 0, run.span_ns)
    column = (runs["start_ns"].to_numpy() * width) // run.span_ns
    assert executing[column].all(), "every column in which it began to run shows it"


def test_the_pointer_reads_exact_times_from_columns() -> None:
    run = scene.run(400)
    figure, _ = schedule(run, 0, run.span_ns, SHEET)
    reading = next(t for t in figure["data"] if "needle_select" in t.get("hovertemplate", ""))
    executes = float(numbers(reading["customdata"])[:, 0].sum())
    assert executes == pytest.approx(400 * 700e-6, rel=1e-5), "700 µs a cycle"


@pytest.mark.parametrize("cycles", [6, 400])
@pytest.mark.parametrize("share", [1, 4, 40])
def test_a_drawing_stays_small(cycles: int, share: int) -> None:
    run = scene.run(cycles)
    start = run.span_ns // 3 if share > 1 else 0
    figure, _ = schedule(run, start, start + run.span_ns // share, Sheet(1920, 1000))
    assert size(figure) < LIMIT


def test_lanes_that_do_not_fit_wait_below() -> None:
    lanes = [Lane("task", f"t{i}", i, f"t{i}", "task") for i in range(40)]
    first = arrange(lanes, 0, 200)
    assert [p.lane.name for p in first.places] == [f"t{i}" for i in range(len(first.places))]
    assert first.places[-1].baseline <= 200
    last = arrange(lanes, 1000, 200)
    assert last.places[-1].lane.name == "t39"
    assert len(last.places) == len(first.places)


def test_the_strip_has_a_tick_for_each_late_job_and_a_ribbon_for_each_core() -> None:
    figure = whole_run(scene.run(), Sheet(1400, 82))
    assert [x / MS for x in figure["data"][0]["x"]] == [4.2, 24.2, 44.2]
    assert figure["layout"]["yaxis"]["ticktext"] == ["main"]
    assert len(figure["layout"]["images"]) == 1


def test_an_execution_of_5_us_shows_in_ten_minutes(tmp_path: Path) -> None:
    """One job in a run of 600 s, drawn 1000 columns wide: 0.6 s a column."""
    log = tmp_path / "long.csv"
    head = "#tracelens 1\n#clock hz=1000000 bits=64\n#priority order=higher_first\n"
    named = "#task id=t1 name=rare priority=2\n#task id=t0 name=idle priority=0 idle=yes\n"
    events = "time,core,event,subject,value\n0,0,start,t0,\n123456789,0,release,t1,\n"
    events += "123456789,0,start,t1,\n123456794,0,wait,t1,delay\n123456794,0,start,t0,\n"
    log.write_text(f"{head}{named}{events}600000000,0,mark,end,\n")
    run = load(tracelens.analyse(tracelens.read(log)))
    sheet = Sheet(1000 + LEFT_PX + RIGHT_PX, 420)
    edges = column_edges(0, run.span_ns, 1000)
    rare = next(lane for lane in run.lanes.lanes if lane.name == "rare")
    place = Place(rare, baseline=40, block=20, pitch=30)
    image = picture(run.lanes, [place], 0, run.span_ns, sheet, 60)
    shown = base64.b64decode(image["source"].removeprefix("data:image/png;base64,"))
    width, _, rows, _ = Reader(bytes=shown).asRGBA8()
    seen = np.array([list(row) for row in rows], np.uint8).reshape(60, width, 4)
    executing = (seen[39, :, :3] == rgb(LIGHT.states["execution"].fill)).all(axis=1)
    assert list(np.flatnonzero(executing)) == [
        np.searchsorted(edges, 123456789_000, side="right") - 1
    ]
    figure, _ = schedule(run, 0, run.span_ns, sheet)
    assert said(figure, "<b>rare</b>", "executes") == [(123456789_000, 5_000)], "a block, exact"


def test_names_of_many_cores_do_not_overlap_in_the_strip(tmp_path: Path) -> None:
    log = tmp_path / "cores.csv"
    head = "#tracelens 1\n#clock hz=1000000 bits=64\n#priority order=higher_first\n"
    tasks = "".join(f"#task id=t{i} name=t{i} priority=2\n" for i in range(8))
    starts = "".join(f"{i},{i},start,t{i},\n" for i in range(8))
    log.write_text(f"{head}{tasks}time,core,event,subject,value\n{starts}9000,0,mark,end,\n")
    figure = whole_run(load(tracelens.analyse(tracelens.read(log))), Sheet(1400, 82))
    at = figure["layout"]["yaxis"]["tickvals"]
    assert len(at) < 8
    assert min(b - a for a, b in pairwise(at)) >= 12
    assert all(0 < y < Sheet(1400, 82).rows for y in at)

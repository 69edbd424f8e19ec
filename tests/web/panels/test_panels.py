"""Every panel: what it shows of a run, its numbers, and what stands where there is nothing."""

import csv
import io
import json
import tempfile
from functools import cache
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from dash import no_update

import tracelens
from tests.drawing import machine
from tests.drawing.figure_reading import numbers
from tests.drawing.machine import MS, US
from tracelens.drawing.runs import Run, load
from tracelens.drawing.sheet import Sheet
from tracelens.web import moves
from tracelens.web.components import BLANK
from tracelens.web.moves import View
from tracelens.web.panels.grid import Grid, page
from tracelens.web.panels.panel import Panel
from tracelens.web.panels.registry import PANELS, panel_of
from tracelens.web.parts import panel_content
from tracelens.web.parts.panel_content import asked_of, draw, listed, offer, take, to_clicked

SHEET = Sheet(640, 150)
VIEW = View(0, 100 * MS)
EACH = pytest.mark.parametrize("panel", PANELS, ids=lambda panel: panel.value)

BARE = """\
#tracelens 1
#clock hz=1000000 bits=64
time,core,event,subject,value
0,0,start,a,
500,0,start,b,
900,0,start,a,
"""


@cache
def bare() -> Run:
    """Two tasks that run, and nothing else."""
    with tempfile.TemporaryDirectory() as folder:
        log = Path(folder) / "bare.csv"
        log.write_text(BARE, encoding="utf-8")
        return load(tracelens.analyse(tracelens.read(log)))


def grid(value: str, of: str | None = None) -> Grid:
    panel = panel_of(value)
    assert panel.table is not None
    names = panel.of(machine.run()) if panel.of else [None]
    return panel.table(machine.run(), of or names[0])


def reported() -> dict[str, Any]:
    return json.loads(machine.document())


def us(row: dict[str, Any], *columns: str) -> list[float]:
    return [row[column] / 1000 for column in columns]


@EACH
def test_each_panel_shows_what_there_is(panel: Panel) -> None:
    run = machine.run()
    figure, said, shape = draw(run, panel, asked_of(run, panel, VIEW, 3, None, None), SHEET)
    assert said == ""
    assert shape == f"body {panel.shape}"
    if panel.figure:
        assert figure["data"]
        assert json.dumps(figure)
        assert figure["layout"]["meta"]["what"].startswith(panel.value)
    assert listed(run, panel, None) is not None


@EACH
def test_each_number_leads_into_the_run(panel: Panel) -> None:
    shown = page(grid(panel.value))
    led = [place for row in shown.places for place in row if place is not None]
    assert led, "a panel whose numbers lead nowhere"
    for place in led:
        moved = moves.to_place(machine.run(), VIEW, place)
        assert moved is not None
        assert 0 <= moved[0].start < moved[0].end <= machine.run().span_ns


@pytest.mark.parametrize(
    ("value", "how"),
    [
        ("inversions", "log `request`, `lock` and `unlock`"),
        ("locks", "#lock line"),
        ("queues", "log `send` and `receive`"),
        ("chains", "[chains.NAME]"),
        ("stacks", "`stack,TASK,BYTES`"),
        ("sleep", "`sleep` before and `wake` after"),
        ("values", "`mark,WORD,NUMBER`"),
    ],
)
def test_where_nothing_is_declared_a_sentence_says_how(value: str, how: str) -> None:
    run, panel = bare(), panel_of(value)
    figure, said, shape = draw(run, panel, asked_of(run, panel, VIEW, None, None, None), SHEET)
    assert figure is BLANK
    assert how in said
    assert shape == "body missing"
    assert listed(run, panel, None) is None
    _, _, chosen, without_choice, _, without_windows = offer(run, value, None, None)
    assert (chosen, without_choice, without_windows) == (None, True, True)


def test_the_load_is_the_report_s() -> None:
    rows = grid("load").frame
    (core,) = reported()["cores"]
    told = rows.row(0, named=True)
    assert (told["load"], told["peak_load"]) == (core["load"], core["peak_load"]["load"])
    assert told["peak_at_ns"] == core["peak_load"]["at_us"] * US
    tasks = {task["name"]: task["load"] for task in reported()["tasks"]}
    tasks |= {isr["name"]: isr["load"] for isr in reported()["isrs"]}
    assert dict(zip(rows["name"][1:], rows["load"][1:], strict=True)) == tasks


def test_the_response_times_are_the_report_s_and_lead_to_their_job() -> None:
    task = reported()["tasks"][0]
    rows = grid("responses", "needle_select").frame
    expected = task["response_us"]
    assert (rows["response"] / US).to_list() == [expected[key] for key in expected]
    assert (rows["latency"] / US).to_list() == list(task["start_latency_us"].values())
    longest = rows.row(-1, named=True)
    moved = moves.to_place(machine.run(), VIEW, longest["response_place"])
    assert moved is not None
    job = machine.run().job(moved[1]) if moved[1] is not None else None
    assert job is not None
    assert job["response_ns"] == longest["response"]
    assert rows.row(1, named=True)["response_place"] is None, "a mean was not observed"


def test_the_inversions_are_the_report_s() -> None:
    expected = reported()["inversions"]
    rows = grid("inversions").frame
    assert rows.height == len(expected) == 8
    for row, one in zip(rows.iter_rows(named=True), expected, strict=True):
        assert us(row, "start_ns", "duration_ns", "holder_ns", "third_party_ns") == [
            one["start_us"], one["duration_us"], one["holder_us"], one["third_party_us"],
        ]  # fmt: skip
        assert (row["victim"], row["lock"]) == (one["victim"], one["lock"])


def test_the_locks_are_the_report_s_and_lead_to_the_longest_hold_and_wait() -> None:
    (lock,) = reported()["locks"]
    (row,) = grid("locks").frame.to_dicts()
    assert us(row, "hold_max_ns", "hold_mean_ns") == [lock["hold_us"]["max"], 165]
    assert us(row, "own_max_ns", "wait_max_ns", "wait_total_ns") == [
        lock["own_us"]["max"], lock["wait_us"]["max"], lock["wait_us"]["total"],
    ]  # fmt: skip
    assert (row["holds"], row["contentions"]) == (lock["holds"], lock["contentions"])
    assert row["hold_place"] == f"{20 * US}:{300 * US}::flash_bus"
    assert row["wait_place"] == f"{140 * US}:{300 * US}::needle_select"


def test_a_hold_whose_end_was_not_seen_is_not_the_longest(tmp_path: Path) -> None:
    log = tmp_path / "held.csv"
    log.write_text(
        BARE.replace("0,0,start,a,\n", "0,0,start,a,\n10,0,lock,a,m\n60,0,unlock,a,m\n")
        + "910,0,lock,a,m\n990,0,mark,end,\n",
        encoding="utf-8",
    )
    run, table = load(tracelens.analyse(tracelens.read(log))), panel_of("locks").table
    assert table is not None
    (row,) = table(run, None).frame.to_dicts()
    assert (row["holds"], row["hold_max_ns"]) == (2, 50 * US)
    assert row["hold_place"] == f"{10 * US}:{60 * US}::m"


def test_the_queues_are_the_report_s() -> None:
    (queue,) = reported()["queues"]
    (row,) = grid("queues").frame.to_dicts()
    assert (row["most_items"], row["sends"]) == (queue["most_items"], queue["sends"])
    waits = queue["item_wait_us"]
    assert us(row, "item_wait_p50_ns", "item_wait_max_ns") == [waits["p50"], waits["max"]]
    assert row["wait_place"] == f"{400 * US}:{610 * US}::row_queue"
    assert row["per_second"] == pytest.approx(40 / 0.400005)


def test_the_stacks_are_the_report_s_and_lead_to_the_lowest_mark() -> None:
    told = reported()["tasks"][0]["stack"]
    (row,) = grid("stacks").frame.to_dicts()
    assert row["stack_headroom"] == told["headroom"]
    assert row["stack_least_free_bytes"] == told["least_free_bytes"] == 800 - 5 * 39
    assert row["stack_still_falling"] is told["still_falling"] is True
    assert row["place"] == f"{390_150 * US}:{390_150 * US}::needle_select"


def test_the_sleep_is_the_report_s() -> None:
    (core,) = reported()["cores"]
    whole, *wakers = grid("sleep").frame.to_dicts()
    assert (whole["asleep"], whole["wakeups"]) == (core["asleep"], core["wakeups"])
    assert sum(row["wakeups"] for row in wakers) == whole["wakeups"]
    assert sum(row["per_second"] for row in wakers) == pytest.approx(whole["per_second"])


def test_the_chains_are_the_report_s() -> None:
    (chain,) = reported()["chains"]
    rows = grid("chains", "stitch").frame
    assert rows["ns"].sum() == chain["worst"]["latency_us"] * US
    stages = rows.group_by("stage", maintain_order=True).agg(pl.col("ns").sum())
    expected = {stage["stage"]: stage["us"] * US for stage in chain["worst"]["stages"]}
    assert dict(stages.iter_rows()) == expected
    assert "8 late, deadline 450 µs" in grid("chains", "stitch").note


def test_marks_and_phases_are_told_apart() -> None:
    rows = {row["mark"]: row for row in grid("values").frame.to_dicts()}
    tension, phase, point = rows["tension"], rows["row"], rows["=stitch"]
    assert (tension["what"], tension["times"]) == ("value", 40)
    assert (tension["least"], tension["greatest"]) == (100.0, 106 + 34 / 100)
    assert (phase["what"], phase["times"], phase["longest_ns"]) == ("phase", 8, 675 * US)
    assert (point["what"], point["times"], point["least"]) == ("point", 32, None)


def test_the_log_quality_is_the_report_s() -> None:
    log = reported()["log"]
    rows = grid("quality").frame.to_dicts()
    lost, unused, *_ = rows
    assert (lost["what"], lost["count"]) == ("lost", log["lost_events"])
    assert unused["count"] == log["unused_lines"]["fewer than 3 fields"]["count"]
    assert unused["lines"] == "757"
    # The torn line stands below the last event of the last cycle.
    assert unused["place"].startswith(f"{390_450 * US}:")


def test_lines_of_a_log_in_parts_are_told_with_their_part(tmp_path: Path) -> None:
    lines = machine.log_text().splitlines()
    parts = [tmp_path / "one.csv", tmp_path / "two.csv"]
    parts[0].write_text("\n".join(lines[:400]) + "\n", encoding="utf-8")
    parts[1].write_text("\n".join(lines[400:]) + "\n", encoding="utf-8")
    run = load(tracelens.analyse(tracelens.read(parts)))
    table = panel_of("quality").table
    assert table is not None
    lost, unused, unknown = table(run, None).frame.to_dicts()
    assert (lost["lines"], unused["lines"]) == ("2:359", "2:357")
    assert unused["place"].startswith(f"{390_450 * US}:")
    assert (unknown["what"], unknown["count"]) == ("not known", 1)
    assert unknown["place"] == f"{400_000 * US}:{400_005 * US}::"


def test_a_click_leads_to_a_job_a_place_or_an_instant() -> None:
    run = machine.run()
    job = to_clicked(run, panel_of("responses"), VIEW, None, {"points": [{"customdata": 3}]})
    assert job is not None
    assert job[1] == 3
    place = {"points": [{"customdata": "5000000:5000000::", "x": 1}]}
    there = to_clicked(run, panel_of("queues"), VIEW, 7, place)
    assert there is not None
    assert there[0].start < 5 * MS < there[0].end
    at = to_clicked(run, panel_of("load"), View(0, 10 * MS), 7, {"points": [{"x": 50e6, "y": 3}]})
    assert at == (View(45 * MS, 55 * MS), 7), "an instant moves the window and keeps the job"
    assert to_clicked(run, panel_of("responses"), VIEW, None, {"points": [{"x": 1}]}) is None


@pytest.mark.parametrize("place", ["", "1:2", "x:2::", "1:2:z:", "-1:2::", f"{'9' * 99}:2::"])
def test_what_is_no_place_leads_nowhere(place: str) -> None:
    assert moves.to_place(machine.run(), VIEW, place) is None


@EACH
@pytest.mark.parametrize("drawn", [True, False])
def test_each_panel_can_be_taken_away(panel: Panel, drawn: bool) -> None:
    run = machine.run()
    sent, note = take(run, panel, asked_of(run, panel, VIEW, None, None, None), drawn=drawn)
    assert note == ""
    assert sent["filename"].startswith(f"machine-{panel.value}")
    rows = list(csv.reader(io.StringIO(sent["content"])))
    assert len(rows) > 1
    assert not [cell for row in rows for cell in row if cell.startswith("=")]


def test_the_window_of_a_file_is_what_it_shows() -> None:
    run = machine.run()
    load_panel, responses = panel_of("load"), panel_of("responses")
    asked = asked_of(run, load_panel, View(MS, 2 * MS), None, "needle_select", "100us")
    sent, _ = take(run, load_panel, asked, drawn=True)
    assert sent["filename"] == "machine-load-needle_select-1000us-2000us.csv"
    assert len(sent["content"].splitlines()) == 1 + 2 * 10, "core and task, ten windows each"
    asked = asked_of(run, responses, View(MS, 2 * MS), None, "solenoid", None)
    sent, _ = take(run, responses, asked, drawn=True)
    assert sent["filename"] == "machine-responses-solenoid-0us-400005us.csv"


def test_a_file_of_too_many_rows_says_what_else_to_do(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(panel_content, "MOST_ROWS", 7)
    run, panel = machine.run(), panel_of("inversions")
    asked = asked_of(run, panel, VIEW, None, None, None)
    sent, note = take(run, panel, asked, drawn=True)
    assert sent is no_update
    assert note == "8 rows, more than 7: use tracelens report --tables"


def test_the_choice_follows_the_job_and_otherwise_stays() -> None:
    run = machine.run()
    solenoid = run.analysis.timeline.jobs.filter(task="solenoid")["job_id"][0]
    needle = run.analysis.timeline.jobs.filter(task="needle_select")["job_id"][0]
    assert offer(run, "responses", solenoid, "archive", solenoid)[2] == "solenoid"
    assert offer(run, "responses", None, "archive", solenoid)[2] == "archive"
    assert offer(run, "queues", needle, "archive", needle)[2] == "row_queue"
    assert offer(run, "responses", None, "row_queue", needle)[2] == "needle_select"
    assert offer(run, "responses", None, "<script>", None)[2] == "needle_select"


def test_the_peaks_of_load_do_not_vanish_in_a_wide_view() -> None:
    """10 µs of archive at the beginning of a cycle, in windows of 100 µs over the whole run."""
    run, panel = machine.run(), panel_of("load")
    asked = asked_of(run, panel, View(0, run.span_ns), None, "archive", "100us")
    figure, _, _ = draw(run, panel, asked, SHEET)
    line = figure["data"][-1]
    assert line["name"] == "archive"
    assert numbers(line["y"]).max() == pytest.approx(100)
    assert len(numbers(line["x"])) <= SHEET.width
    assert "the highest and the lowest in each pixel" in json.dumps(figure["layout"]["annotations"])


LONG = "n" * 10_000_000
MANY = 3000


@cache
def hostile() -> Run:
    """3000 tasks, one of them with a name of 10 MB, which marks, waits for a lock and is judged."""
    lines = [
        "#tracelens 1", "#clock hz=1000000 bits=64", "#priority order=higher_first",
        f"#task id=t0 name={LONG} priority=9 stack_bytes=900",
        f"#queue id=q0 name=q{LONG} depth=3", f"#lock id=m0 name=m{LONG}",
        *(f"#task id=t{i} name=<b>{i}</b> priority=1" for i in range(1, MANY)),
        "time,core,event,subject,value",
    ]  # fmt: skip
    for i in range(MANY):
        at = 100 * i
        lines += [f"{at},0,release,t{i},", f"{at},0,start,t{i},", f"{at + 90},0,wait,t{i},delay"]
    for i in range(300):
        at = 100 * MANY + 100 * i
        lines += [
            f"{at},0,release,t0,", f"{at},0,start,t0,", f"{at + 5},0,mark,w{i},{i}",
            f"{at + 6},0,lock,t0,m0", f"{at + 7},0,unlock,t0,m0", f"{at + 8},0,stack,t0,{900 - i}",
            f"{at + 9},0,send,t0,q0", f"{at + 10},0,receive,t0,q0", f"{at + 20},0,wait,t0,delay",
        ]  # fmt: skip
    with tempfile.TemporaryDirectory() as folder:
        log = Path(folder) / "hostile.csv"
        log.write_text("\n".join(lines) + "\n", encoding="utf-8")
        return load(tracelens.analyse(tracelens.read(log)))


@pytest.mark.night
@EACH
def test_names_of_ten_megabytes_and_thousands_of_tasks_stay_bounded(panel: Panel) -> None:
    run = hostile()
    view = View(0, run.span_ns)
    options, searched, chosen, *_ = offer(run, panel.value, None, None)
    figure, said, _ = draw(run, panel, asked_of(run, panel, view, 0, chosen, None), SHEET)
    table = listed(run, panel, chosen)
    sent = [len(json.dumps(part)) for part in (figure, said)]
    sent.append(len(json.dumps(options)))
    sent.append(len(json.dumps(table, default=lambda part: part.to_plotly_json())))
    assert max(sent) < 500_000, sent
    assert searched is (len(options) > 12)
    if panel.value == "load":
        assert "The first 200 of 3001 rows" in json.dumps(
            table, default=lambda part: part.to_plotly_json()
        )

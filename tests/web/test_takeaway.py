"""Tables on their way into a spreadsheet, and the names of the files."""

import csv
import io

import polars as pl
import pytest

from tests.drawing import scene
from tests.drawing.scene import MS
from tracelens.drawing import intervals
from tracelens.web import takeaway
from tracelens.web.moves import View


@pytest.mark.parametrize("cell", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1"])
def test_no_cell_is_a_formula(cell: str) -> None:
    """The beginnings that OWASP lists under 'CSV Injection'."""
    written = takeaway.csv(pl.DataFrame({"task": [cell], "us": [-1.5]}))
    _, row = csv.reader(io.StringIO(written))
    assert row[0].startswith("'")
    assert row[1] == "-1.5", "a number stays one"


def test_names_with_commas_quotes_and_lines_come_back() -> None:
    names = ["a,b", 'say "x"', "two\nlines", None]
    written = takeaway.csv(pl.DataFrame({"name": names}))
    rows = [row[0] if row else "" for row in csv.reader(io.StringIO(written))]
    assert rows == ["name", "a,b", 'say "x"', "two\\x0alines", ""]


@pytest.mark.parametrize(
    ("run", "name"),
    [
        ("knitting.csv", "knitting-schedule-39126.8us-45239us.svg"),
        ("../../etc/x.csv", ".._.._etc_x-schedule-39126.8us-45239us.svg"),
        ("", "run-schedule-39126.8us-45239us.svg"),
    ],
)
def test_a_file_is_named_for_run_and_window(run: str, name: str) -> None:
    assert takeaway.file_name(run, "schedule", 39_126_800, 45_239_000, "svg") == name


def test_the_window_as_a_table() -> None:
    """The cycle from 20 ms on; scene.LATE says what happens in it."""
    run = scene.run()
    rows = intervals.intervals(run, run.lanes.lanes, 20 * MS, 26 * MS)
    assert rows.height == intervals.count(run, run.lanes.lanes, 20 * MS, 26 * MS)
    assert rows.filter(lane="needle_select", state="executes")["length_us"].to_list() == [300, 400]
    wait = rows.filter(lane="needle_select", state="waits for lock")
    assert wait.select("start_us", "length_us", "waits_for").row(0) == (21_300, 2500, "flash_bus")
    wanted = rows.filter(lane="flash_bus", state="wanted")
    assert wanted.select("kind", "who").row(0) == ("lock", "needle_select")
    sent = takeaway.table(rows, run, "schedule", View(20 * MS, 26 * MS))
    assert sent["filename"] == "knitting-schedule-20000us-26000us.csv"
    assert len(list(csv.reader(io.StringIO(sent["content"])))) == 1 + rows.height

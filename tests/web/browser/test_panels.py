"""The panels in a real browser: numbers, places, keys, sizes, files."""

import json
import re
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Locator, Page, expect

from tests.drawing import machine
from tests.drawing.machine import MS, US
from tests.web.browser.conftest import Open, Serve
from tests.web.browser.test_page import settled, window
from tests.web.panels.test_panels import bare
from tracelens.web import create_app, ids
from tracelens.web.panels.registry import PANELS

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def address(serve: Serve) -> str:
    return serve(create_app(machine.analysis(), bare().analysis).server)


@pytest.fixture
def open_page(open_at: Open, address: str) -> Open:
    """`open_page(query, …)`: the page on the run, once its panel is filled."""

    def opened(query: str = "", **how: Any) -> Page:
        page = open_at(address + query, **how)
        expect(page.locator("#schedule .barlayer, #schedule image").first).to_be_attached()
        expect(page.locator("#panel-table tbody, #panel-empty:not(:empty)").first).to_be_attached()
        return page

    return opened


def tab(page: Page, panel: str) -> None:
    page.locator(f"#{ids.PANELS} input[value={panel}]").check(force=True)
    page.wait_for_function("panel => location.search.includes(`panel=${panel}`)", arg=panel)


def cells(page: Page, column: int) -> Locator:
    return page.locator(f"#{ids.PANEL_TABLE} tbody td:nth-child({column})")


def exact(cell: Locator) -> float:
    """What a cell says on a closer look, in its unit."""
    said = cell.locator("[title]").or_(cell.and_(cell.page.locator("[title]"))).first
    return float(re.sub(r"[^0-9.]", "", said.get_attribute("title") or ""))


def report() -> dict[str, Any]:
    return json.loads(machine.document())


def test_a_number_of_the_locks_leads_to_its_place(open_page: Open) -> None:
    page = open_page("?run=1&from=0&to=100000000&panel=locks")
    (lock,) = report()["locks"]
    expect(page.locator("#panel-table th").nth(3)).to_have_text("longest hold µs")
    assert exact(cells(page, 4)) == lock["hold_us"]["max"]
    assert exact(cells(page, 8)) == lock["wait_us"]["max"]
    page.wait_for_function("location.search.includes('panel=locks')")
    cells(page, 8).get_by_role("button").click()
    start, end = settled(page, (0, 100 * MS))
    assert start <= 140 * US < 300 * US <= end < 2 * MS


def test_a_panel_takes_the_room_and_escape_gives_it_back(open_page: Open) -> None:
    page = open_page("?run=1&from=0&to=100000000&panel=load")
    panel = page.locator(".panel")
    low = panel.bounding_box()
    page.locator(f"#{ids.ENLARGE}").click()
    expect(page.locator(f"#{ids.ENLARGE}")).to_have_text("back")
    expect(page.locator("#panel-figure .main-svg").first).to_have_attribute(
        "height", re.compile(r"^[5-9]\d\d")
    )
    high = panel.bounding_box()
    assert low is not None
    assert high is not None
    assert high["height"] > 3 * low["height"]
    page.keyboard.press("Escape")
    expect(page.locator(f"#{ids.ENLARGE}")).to_have_text("enlarge")
    assert panel.bounding_box() == low
    assert window(page) == (0, 100 * MS)


@pytest.mark.night
@pytest.mark.parametrize("panel", [panel.value for panel in PANELS])
@pytest.mark.parametrize(
    ("width", "height", "scheme"), [(1440, 900, "light"), (1440, 900, "dark"), (800, 600, "light")]
)
def test_each_panel_opens_and_a_link_brings_it_back(
    open_page: Open, panel: str, width: int, height: int, scheme: str
) -> None:
    page = open_page("?run=1&from=0&to=100000000", width=width, height=height, scheme=scheme)
    tab(page, panel)
    expect(page.locator(f"#{ids.PANEL_BODY}")).to_have_class(re.compile("both|table"))
    expect(cells(page, 1).first).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    paper = {"dark": "rgb(20, 24, 29)", "light": "rgb(255, 255, 255)"}[scheme]
    expect(page.locator("#panel-table th").first).to_have_css("background-color", paper)
    if (width, scheme) == (1440, "light"):
        again = open_page(page.url.split("/")[-1])
        expect(again.locator(f"#{ids.PANELS} input:checked")).to_have_value(panel)
        expect(cells(again, 1).first).to_be_visible()


@pytest.mark.night
@pytest.mark.parametrize(
    ("panel", "how"),
    [
        ("inversions", "request"), ("locks", "#lock"), ("queues", "#queue"),
        ("chains", "[chains.NAME]"), ("stacks", "stack_bytes"), ("sleep", "sleep"),
        ("values", "mark,WORD,NUMBER"),
    ],
)  # fmt: skip
def test_an_empty_panel_says_how_to_fill_it(open_page: Open, panel: str, how: str) -> None:
    page = open_page(f"?run=2&from=0&to=900000&panel={panel}")
    expect(page.locator(f"#{ids.PANEL_EMPTY}")).to_contain_text(how)
    expect(page.locator(f"#{ids.PANEL_TABLE}")).to_be_hidden()
    expect(page.locator(".panel .takeaway").first).to_be_hidden()


@pytest.mark.night
def test_the_numbers_of_every_panel_are_the_report_s(open_page: Open) -> None:
    told = report()
    page = open_page("?run=1&from=0&to=100000000&panel=responses&of=needle_select")
    expect(cells(page, 1).first).to_have_text("shortest")
    shown = [exact(cells(page, 2).nth(i)) for i in range(6)]
    assert shown == pytest.approx(list(told["tasks"][0]["response_us"].values()))
    tab(page, "load")
    expect(cells(page, 1).first).to_have_text("core 0")
    assert exact(cells(page, 2).first) == pytest.approx(100 * told["cores"][0]["load"])
    assert exact(cells(page, 3).first) == pytest.approx(100 * told["cores"][0]["peak_load"]["load"])
    tab(page, "inversions")
    expect(cells(page, 1)).to_have_count(len(told["inversions"]))
    assert {exact(cells(page, 5).nth(i)) for i in range(8)} == {
        inversion["start_us"] for inversion in told["inversions"]
    }
    tab(page, "queues")
    expect(cells(page, 1).first).to_have_text("row_queue")
    assert exact(cells(page, 4).first) == told["queues"][0]["item_wait_us"]["p50"]
    assert exact(cells(page, 5).first) == told["queues"][0]["item_wait_us"]["max"]
    tab(page, "chains")
    expect(cells(page, 1).first).to_have_text("carriage_encoder")
    summed = sum(exact(cells(page, 2).nth(i)) for i in range(cells(page, 2).count()))
    assert summed == told["chains"][0]["worst"]["latency_us"]
    tab(page, "stacks")
    expect(cells(page, 1).first).to_have_text("needle_select")
    assert exact(cells(page, 3).first) == told["tasks"][0]["stack"]["least_free_bytes"]
    tab(page, "sleep")
    expect(cells(page, 4).first).to_have_text("all")
    assert exact(cells(page, 5).first) == told["cores"][0]["wakeups"]
    tab(page, "quality")
    expect(cells(page, 1).first).to_have_text("lost")
    assert exact(cells(page, 2).first) == told["log"]["lost_events"]


@pytest.mark.night
def test_by_keyboard_alone(open_page: Open) -> None:
    """From tab to tab, into the table, from cell to cell, to the place; the schedule stays."""
    page = open_page("?run=1&from=0&to=100000000&panel=load")
    page.locator(f"#{ids.PANELS} input:checked").focus()
    page.keyboard.press("ArrowRight")
    expect(page.locator(f"#{ids.PANELS} input:checked")).to_have_value("inversions")
    expect(cells(page, 1)).to_have_count(8)
    page.wait_for_function("document.querySelector('#panel-table [data-place][tabindex=\"0\"]')")
    for _ in range(30):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.matches('#panel-table [data-place]')"):
            break
    focused = page.locator("#panel-table :focus")
    expect(focused).to_have_text("needle_select")
    assert focused.evaluate("e => getComputedStyle(e).outlineStyle") != "none"
    page.keyboard.press("End")
    page.keyboard.press("ArrowRight")
    assert page.evaluate("document.activeElement.closest('tr').rowIndex") == 8
    expect(focused).to_have_text("0.350140")
    assert window(page) == (0, 100 * MS), "arrow keys in a table do not move the schedule"
    page.keyboard.press("Enter")
    start, end = settled(page, (0, 100 * MS))
    assert start <= 350_140 * US <= end
    expect(page.locator("#job-title")).to_contain_text("needle_select, job 36")


@pytest.mark.night
def test_a_head_sorts_up_and_down(open_page: Open) -> None:
    page = open_page("?run=1&from=0&to=100000000&panel=inversions")
    at = page.get_by_role("columnheader", name="at s")
    expect(at).to_have_attribute("aria-sort", "none")
    at.get_by_role("button").click()
    expect(at).to_have_attribute("aria-sort", "descending")
    expect(cells(page, 5).first).to_have_text("0.350140")
    at.get_by_role("button").click()
    expect(at).to_have_attribute("aria-sort", "ascending")
    expect(cells(page, 5).first).to_have_text("0.000140")


@pytest.mark.night
def test_windows_and_task_are_in_the_address(open_page: Open) -> None:
    page = open_page("?run=1&from=0&to=100000000&panel=load&of=archive&windows=1ms")
    figure = page.locator("#panel-figure")
    expect(figure).to_contain_text("in windows of 1.00 ms")
    expect(figure).to_contain_text("archive")
    page.reload()
    expect(figure).to_contain_text("in windows of 1.00 ms")
    expect(page.locator(f"#{ids.PANEL_OF}")).to_contain_text("archive")
    assert "windows=1ms" in page.url


@pytest.mark.night
def test_a_step_of_the_load_leads_to_its_instant(open_page: Open) -> None:
    page = open_page("?run=1&from=100000000&to=200000000&panel=load")
    box = page.locator("#panel-figure .nsewdrag").first.bounding_box()
    assert box is not None
    x, y = box["x"] + box["width"] * 0.25, box["y"] + box["height"] * 0.5
    page.mouse.move(x, y)
    expect(page.locator("#panel-figure .hovertext")).to_contain_text("needle_select: 0.00 %")
    page.mouse.click(x, y)
    start, end = settled(page, (100 * MS, 200 * MS))
    assert (start + end) / 2 == pytest.approx(125 * MS, abs=2 * MS)


@pytest.mark.night
@pytest.mark.parametrize(
    ("kind", "name", "begins"),
    [
        ("SVG", "machine-load-archive-0us-100000us.svg", b"<svg"),
        ("PNG", "machine-load-archive-0us-100000us.png", b"\x89PNG"),
        ("CSV", "machine-load-archive-0us-100000us.csv", b"who,start_ns,end_ns,load\n"),
        ("table", "machine-load-archive-table-0us-100000us.csv", b"name,load,peak_load"),
    ],
)
def test_a_panel_is_taken_away(open_page: Open, kind: str, name: str, begins: bytes) -> None:
    page = open_page("?run=1&from=0&to=100000000&panel=load&of=archive")
    expect(page.locator("#panel-figure")).to_contain_text("archive")
    with page.expect_download() as waited:
        page.locator(".panel .takeaway").get_by_text(kind, exact=True).click()
    assert waited.value.suggested_filename == name
    assert Path(waited.value.path()).read_bytes().startswith(begins)


@pytest.mark.night
def test_the_whole_is_taken_away_as_one_file(open_page: Open) -> None:
    page = open_page("?run=1&from=0&to=100000000")
    with page.expect_download() as waited:
        page.locator(f"#{ids.REPORT}").click()
    assert waited.value.suggested_filename == "machine-report-0us-400005us.html"
    content = Path(waited.value.path()).read_text(encoding="utf-8")
    assert "needle_select" in content
    assert "<script" not in content


def test_the_chooser_is_one_stop_of_the_tab_key_in_both_directions(open_page: Open) -> None:
    page = open_page("?run=1&from=0&to=100000000&panel=responses")
    page.locator(f"#{ids.PANELS} input:checked").focus()
    chooser = page.locator(f"#{ids.PANEL_OF}")
    page.keyboard.press("Tab")
    expect(chooser).to_be_focused()
    before = chooser.inner_text()
    options = page.locator(".dash-dropdown-options")
    for key in ("Tab", "Shift+Tab"):
        page.keyboard.press("ArrowDown")
        expect(options).to_be_visible()
        page.keyboard.press(key)
        expect(options).to_be_hidden()
        expect(chooser).to_be_focused()
    assert chooser.inner_text() == before
    page.keyboard.press("Shift+Tab")
    expect(page.locator(f"#{ids.PANELS} input:checked")).to_be_focused()
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    expect(page.locator(".panel").get_by_role("button", name="SVG")).to_be_focused()

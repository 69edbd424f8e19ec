"""The page in a real browser, over loopback: what the reader does, sees, and finds stored."""

import json
import re
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
from playwright.sync_api import Page, expect

from tests.drawing import scene
from tests.drawing.scene import MS, TAG
from tests.web.browser.conftest import Open, Serve
from tracelens import explanation
from tracelens.report import explained_json
from tracelens.web import create_app, ids

pytestmark = pytest.mark.browser

CYCLES = 60
SPAN = CYCLES * 10 * MS


@pytest.fixture(scope="module")
def address(serve: Serve) -> str:
    return serve(create_app(scene.analysis(CYCLES)).server)


@pytest.fixture
def open_page(open_at: Open, address: str) -> Open:
    """`open_page(query, …)`: the page on the run, once its schedule is drawn."""

    def opened(query: str = "", **how: Any) -> Page:
        page = open_at(address + query, **how)
        expect(page.locator("#schedule .barlayer, #schedule image").first).to_be_attached()
        expect(page.locator("#lanes-note")).not_to_be_empty()
        return page

    return opened


def window(page: Page) -> tuple[int, int]:
    """What the address says is visible."""
    query = parse_qs(urlsplit(page.url).query)
    return int(query["from"][0]), int(query["to"][0])


def drawn(page: Page) -> tuple[float, float]:
    """What the schedule's time axis shows."""
    low, high = page.evaluate(
        f"document.querySelector('#{ids.SCHEDULE} .js-plotly-plot')._fullLayout.xaxis.range"
    )
    return low, high


def settled(page: Page, moved_from: tuple[int, int]) -> tuple[int, int]:
    """The new window, once address and drawing agree on it."""
    page.wait_for_function(
        "before => !location.search.includes(before)",
        arg=f"from={moved_from[0]}&to={moved_from[1]}",
    )
    now = window(page)
    page.wait_for_function(
        f"""([low, high]) => {{
            const shown = document.querySelector('#{ids.SCHEDULE} .js-plotly-plot');
            const range = shown._fullLayout.xaxis.range;
            return Math.abs(range[0] - low) < 1 && Math.abs(range[1] - high) < 1;
        }}""",
        arg=list(now),
    )
    return now


def over_schedule(page: Page) -> tuple[float, float]:
    box = page.locator(f"#{ids.SCHEDULE} .nsewdrag").first.bounding_box()
    assert box is not None
    return box["x"] + box["width"] * 0.25, box["y"] + box["height"] / 2


def test_opens_on_what_is_wrong_where_and_why(open_page: Open) -> None:
    page = open_page()
    expect(page.locator("h1")).to_have_text("knitting.csv")
    findings = page.locator("button.finding")
    expect(findings.first).to_contain_text("Lock flash_bus, held longest by archive")
    expect(findings.nth(1)).to_contain_text("needle_select missed")
    expect(page.locator("#which-place")).to_have_text("miss 1 of 30")
    expect(page.locator("#job-title")).to_contain_text("1.40 ms over its deadline")
    expect(page.locator("#job-words")).to_contain_text("link runs, less urgent")
    expect(findings.first).to_have_attribute("aria-current", "true")
    start, end = window(page)
    assert start <= 1 * MS < 4.2 * MS <= end
    assert page.evaluate("document.documentElement.scrollHeight") <= 900, "one screen"


def test_a_name_with_markup_is_shown_as_written(open_page: Open) -> None:
    page = open_page()
    expect(page.locator("#schedule .ytick text").filter(has_text="alert")).to_have_text(
        re.compile(r"^<script>alert\(1\)</script>")
    )
    assert page.locator("script", has_text="alert(1)").count() == 0
    page.locator(f"#{ids.PANEL_OF}").click()
    expect(page.get_by_text(TAG, exact=True).first).to_be_visible()


@pytest.mark.night
def test_the_wheel_zooms_about_the_pointer(open_page: Open) -> None:
    page = open_page("?from=20000000&to=60000000")
    before = window(page)
    x, y = over_schedule(page)
    page.mouse.move(x, y)
    page.mouse.wheel(0, -200)
    start, end = settled(page, before)
    assert end - start < 40 * MS
    pointed = before[0] + 0.25 * (before[1] - before[0])
    assert start + 0.25 * (end - start) == pytest.approx(pointed, abs=0.01 * 40 * MS)


@pytest.mark.night
def test_dragging_moves_the_window(open_page: Open) -> None:
    page = open_page("?from=200000000&to=240000000")
    x, y = over_schedule(page)
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 100, y, steps=4)
    page.mouse.up()
    start, end = settled(page, (200 * MS, 240 * MS))
    assert start < 200 * MS
    assert end - start == pytest.approx(40 * MS, abs=2)


KEYS = {
    "ArrowLeft": (190, 230),
    "ArrowRight": (210, 250),
    "PageUp": (160, 200),
    "PageDown": (240, 280),
    "Home": (0, 40),
    "End": (560, 600),
    "+": (210, 230),
    "-": (180, 260),
}


def test_keys_move(open_page: Open) -> None:
    page = open_page("?from=200000000&to=240000000")
    for key, (start, end) in KEYS.items():
        page.keyboard.press(key)
        moved = settled(page, (200 * MS, 240 * MS))
        assert moved == (start * MS, end * MS), key
        page.evaluate("window.tracelens.go(200e6, 240e6)")
        settled(page, moved)


@pytest.mark.night
def test_no_key_moves_while_text_is_typed(open_page: Open) -> None:
    page = open_page("?from=200000000&to=240000000")
    page.locator(f"#{ids.JUMP}").fill("0.3 s")
    page.keyboard.press("Home")
    assert window(page) == (200 * MS, 240 * MS)
    page.keyboard.press("Enter")
    assert settled(page, (200 * MS, 240 * MS)) == (280 * MS, 320 * MS)


@pytest.mark.night
def test_a_wrong_time_is_refused_in_place(open_page: Open) -> None:
    page = open_page()
    page.locator(f"#{ids.JUMP}").fill("soon")
    page.keyboard.press("Enter")
    expect(page.get_by_role("alert")).to_contain_text("expected a time such as 8.12 s")


@pytest.mark.night
def test_a_finding_moves_the_window(open_page: Open) -> None:
    page = open_page("?from=200000000&to=240000000")
    expect(page.locator("#job-empty")).to_contain_text("Choose a finding")
    page.locator("button.finding").first.click()
    start, end = settled(page, (200 * MS, 240 * MS))
    assert start <= 1 * MS < end
    expect(page.locator("#job-title")).to_contain_text("needle_select, job 1")
    expect(page.locator("button.finding").first).to_have_class("finding marked")
    page.wait_for_function("location.search.includes('finding=0')")
    page.locator(f"#{ids.NEXT}").click()
    expect(page.locator(".finding.marked")).to_have_count(0)
    page.wait_for_function("!location.search.includes('finding=')")


@pytest.mark.night
def test_the_next_miss_is_explained(open_page: Open) -> None:
    page = open_page()
    before = window(page)
    page.locator(f"#{ids.NEXT}").click()
    start, end = settled(page, before)
    assert start <= 21 * MS < 24.2 * MS <= end
    expect(page.locator("#which-place")).to_have_text("miss 2 of 30")
    expect(page.locator("#job-title")).to_contain_text("needle_select, job 3")


@pytest.mark.night
def test_a_dot_of_the_responses_leads_to_its_job(open_page: Open) -> None:
    page = open_page()
    before = window(page)
    dot = page.locator(f"#{ids.PANEL_FIGURE} .scatterlayer .trace").first.locator("path").nth(3)
    box = dot.bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + 2, box["y"] + 2)
    expect(page.locator(f"#{ids.PANEL_FIGURE} .hovertext")).to_contain_text("job 8: 700µs")
    page.mouse.click(box["x"] + 2, box["y"] + 2)
    settled(page, before)
    expect(page.locator("#job-title")).to_contain_text("needle_select, job 8")


@pytest.mark.night
def test_the_pointer_reads_a_block(open_page: Open) -> None:
    page = open_page("?from=1000000&to=4200000")
    bars = page.locator(f"#{ids.SCHEDULE} .nsewdrag").first.bounding_box()
    lane = page.locator("#schedule .ytick text").filter(has_text="link").bounding_box()
    assert bars is not None
    assert lane is not None
    page.mouse.move(bars["x"] + bars["width"] * 0.4, lane["y"] + lane["height"] / 2)
    expect(page.locator("#schedule .hovertext")).to_contain_text("executes on core 0")
    expect(page.locator("#schedule .hovertext")).to_contain_text("2.00 ms")


@pytest.mark.night
def test_the_strip_brings_the_window(open_page: Open) -> None:
    page = open_page("?from=200000000&to=240000000")
    box = page.locator(f"#{ids.STRIP} .nsewdrag, #{ids.STRIP} .bglayer").first.bounding_box()
    assert box is not None
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    start, end = settled(page, (200 * MS, 240 * MS))
    assert (start + end) / 2 == pytest.approx(SPAN / 2, rel=0.02)
    bracket = page.locator(".bracket").bounding_box()
    assert bracket is not None
    assert bracket["x"] < box["x"] + box["width"] / 2 < bracket["x"] + bracket["width"]


@pytest.mark.night
def test_reloading_brings_the_view_back(open_page: Open) -> None:
    page = open_page()
    before = window(page)
    page.locator(f"#{ids.NEXT}").click()
    here = settled(page, before)
    page.reload()
    expect(page.locator("#which-place")).to_have_text("miss 2 of 30")
    assert window(page) == here


@pytest.mark.night
def test_dark_follows_the_system(open_page: Open) -> None:
    page = open_page(scheme="dark")
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(20, 24, 29)"
    tick = page.locator("#schedule .ytick text").first
    expect(tick).to_have_css("fill", "rgb(232, 235, 238)")
    page.emulate_media(color_scheme="light")
    expect(tick).to_have_css("fill", "rgb(27, 31, 36)")


@pytest.mark.night
def test_works_on_a_small_screen(open_page: Open) -> None:
    page = open_page(width=800, height=600)
    assert page.evaluate("document.documentElement.scrollWidth") <= 800
    before = window(page)
    page.locator(f"#{ids.NEXT}").click()
    settled(page, before)
    page.locator(f"#{ids.PANEL_FIGURE}").scroll_into_view_if_needed()
    expect(page.locator("#panel-figure .xtick text").first).to_be_visible()


@pytest.mark.night
def test_controls_are_reached_by_keyboard_and_show_it(open_page: Open) -> None:
    page = open_page()
    seen = []
    for _ in range(14):
        page.keyboard.press("Tab")
        seen.append(page.evaluate("(e => e.id || e.className || e.type)(document.activeElement)"))
        outline = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
        inside = page.evaluate("document.activeElement.closest('.dash-input, .tabs, .chooser')")
        assert outline != "none" or inside is not None, seen
    assert {"next-place", "previous-place", "jump", "whole"} <= set(seen)


@pytest.mark.night
@pytest.mark.parametrize("kind", ["SVG", "PNG", "CSV"])
def test_the_schedule_is_taken_away(open_page: Open, kind: str) -> None:
    page = open_page("?from=20000000&to=26000000", scheme="dark")
    with page.expect_download() as waited:
        page.locator(".schedule .takeaway").get_by_text(kind).click()
    download = waited.value
    assert download.suggested_filename == f"knitting-schedule-20000us-26000us.{kind.lower()}"
    content = Path(download.path()).read_bytes()
    begins = {"SVG": b"<svg", "PNG": b"\x89PNG\r\n\x1a\n", "CSV": b"lane,kind,state,start_us"}
    assert content.startswith(begins[kind])
    if kind == "SVG":
        assert b"flash_bus" in content
        assert b"<script" not in content
        assert b"rgb(20, 24, 29)" in content, "the paper is part of the picture"


@pytest.mark.night
def test_a_link_brings_lanes_window_job_and_kind_of_place_back(open_page: Open) -> None:
    page = open_page("?from=20000000&to=26000000")
    page.locator("summary", has_text="lanes").click()
    page.locator(f"#{ids.LANES_FIND}").fill("needle arch flash")
    page.get_by_label("cores", exact=True).click()
    page.get_by_label("as one line").click()
    page.get_by_label("busiest first").click()
    page.keyboard.press("Escape")
    expect(page.locator("#lanes-summary")).to_have_text("lanes: 3 of 8")
    page.locator(f"#{ids.STEP_KIND}").get_by_label("inversions").click()
    page.locator(f"#{ids.NEXT}").click()
    expect(page.locator(f"#{ids.WHICH}")).to_have_text("inversion 3 of 30")
    expect(page.locator("#job-title")).to_contain_text("needle_select, job 5")
    settled(page, (20 * MS, 26 * MS))
    query = urlsplit(page.url).query
    assert parse_qs(query)["lanes"] == ["needle arch flash"]
    again = open_page(f"?{query}")
    names = again.locator("#schedule .ytick text")
    expect(names).to_have_text(["archive · 1", "needle_select · 6", "flash_bus"])
    expect(again.locator(f"#{ids.WHICH}")).to_have_text("inversion 3 of 30")
    expect(again.locator(f"#{ids.LANES_FIND}")).to_have_value("needle arch flash")
    assert parse_qs(urlsplit(again.url).query) == parse_qs(query)


@pytest.mark.night
def test_places_are_stepped_through_by_keys(open_page: Open) -> None:
    page = open_page("?from=200000000&to=240000000")
    page.keyboard.press("Shift+ArrowRight")
    settled(page, (200 * MS, 240 * MS))
    expect(page.locator(f"#{ids.WHICH}")).to_have_text("miss 12 of 30")
    page.keyboard.press("Shift+ArrowLeft")
    expect(page.locator(f"#{ids.WHICH}")).to_have_text("miss 11 of 30")


@pytest.mark.night
def test_this_job_has_the_numbers_of_explain(open_page: Open) -> None:
    analysis = scene.analysis(CYCLES)
    job = explanation.find_job(analysis.timeline, task="needle_select", number=3)
    document = json.loads(explained_json.encode(explanation.explain(analysis.timeline, job)))
    page = open_page(f"?job={job}")
    rows = page.locator("#job-words tbody tr")
    expect(rows).to_have_count(len(document["usual"]["growths"]))
    shown = [[cell.inner_text() for cell in row.locator("td").all()] for row in rows.all()]
    told = sorted(document["usual"]["growths"], key=lambda growth: -growth["us"])
    assert [(float(r[1]), float(r[2])) for r in shown] == [(g["us"], g["usual_us"]) for g in told]
    expect(page.locator("#job-words")).to_contain_text(document["repairs"][0]["text"][:40])
    before = window(page)
    page.locator("#job-words button", has_text="waits for flash_bus").click()
    start, end = settled(page, before)
    assert start <= 21.3 * MS < 23.8 * MS <= end
    expect(page.locator("#job-title")).to_contain_text("needle_select, job 3")


def at(page: Page, ns: float, lane: str) -> tuple[float, float]:
    """Where a moment of a lane is on the screen."""
    label = page.locator("#schedule .ytick text").filter(has_text=lane).bounding_box()
    area = page.locator(f"#{ids.SCHEDULE} .nsewdrag").first.bounding_box()
    assert label is not None
    assert area is not None
    low, high = drawn(page)
    return area["x"] + (ns - low) / (high - low) * area["width"], label["y"] + label["height"] / 2


def test_measuring_by_mouse_snaps_to_what_is_near(open_page: Open) -> None:
    """From the release of needle_select 3 to its deadline: 1.8 ms, pressed some pixels beside."""
    page = open_page("?from=20000000&to=26000000")
    page.wait_for_function("window.tracelens.edges")
    (x0, y), (x1, _) = at(page, 21 * MS, "needle_select"), at(page, 22.8 * MS, "needle_select")
    page.keyboard.down("Shift")
    page.mouse.move(x0 + 5, y)
    page.mouse.down()
    page.mouse.move(x1 - 40, y)
    page.mouse.move(x1 - 4, y)
    page.mouse.up()
    page.keyboard.up("Shift")
    told = page.locator(f"#{ids.MEASURED}")
    expect(told).to_have_text(
        "1\u202f800 µs: from needle_select, release of job 3 at 21\u202f000 µs "
        "to needle_select, deadline of job 3 at 22\u202f800 µs"
    )
    expect(page.locator(".measured .between")).to_have_text("1\u202f800 µs")
    assert parse_qs(urlsplit(page.url).query)["measure"] == ["21000000,22800000"]
    assert window(page) == (20 * MS, 26 * MS), "measuring does not move the window"


@pytest.mark.night
def test_measuring_by_keys(open_page: Open) -> None:
    page = open_page("?from=20000000&to=26000000&lanes=needle")
    page.wait_for_function("window.tracelens.edges")
    page.locator(f"#{ids.MEASURE}").focus()
    page.keyboard.press("Enter")
    expect(page.locator(f"#{ids.MEASURE}")).to_have_attribute("aria-pressed", "true")
    told = page.locator(f"#{ids.MEASURED}")
    page.keyboard.press("ArrowRight")  # the first edge after a third of the window: 22 ms
    expect(told).to_have_text("from needle_select, deadline of job 3 at 22\u202f800 µs")
    page.keyboard.press("Enter")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    expect(told).to_contain_text("1\u202f400 µs: from needle_select, deadline of job 3")
    expect(told).to_contain_text("to needle_select, completion of job 3 at 24\u202f200 µs")
    page.keyboard.press("ArrowLeft")
    expect(told).to_contain_text("1\u202f000 µs: ")
    page.keyboard.press("Escape")
    expect(told).to_have_text("")
    assert "measure" not in parse_qs(urlsplit(page.url).query)


@pytest.mark.night
def test_a_link_brings_a_measurement_back(open_page: Open) -> None:
    page = open_page("?from=20000000&to=26000000&measure=21000000,23333333")
    told = page.locator(f"#{ids.MEASURED}")
    expect(told).to_have_text(
        "2\u202f333.333 µs: from needle_select, release of job 3 at 21\u202f000 µs "
        "to beside the edges at 23\u202f333.333 µs"
    )
    before = window(page)
    page.keyboard.press("+")
    settled(page, before)
    line = page.locator(".measured .from").bounding_box()
    assert line is None, "out of the window, and out of sight"


@pytest.mark.night
def test_a_click_on_a_name_keeps_the_lane_on_top(open_page: Open) -> None:
    page = open_page("?from=20000000&to=26000000")
    page.wait_for_function("window.tracelens.edges")
    names = page.locator("#schedule .ytick text")
    expect(names.first).to_have_text("carriage_encoder")
    for name, then in (("flash_bus", "flash_bus"), ("flash_bus", "carriage_encoder")):
        box = names.filter(has_text=name).bounding_box()
        assert box is not None
        page.mouse.click(box["x"] + 4, box["y"] + box["height"] / 2)
        expect(names.first).to_have_text(then)

"""The rooms in a real browser: a log opened, two runs, the classroom, a log that grows."""

import re
import threading
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest
from playwright.sync_api import Page, expect

from tests.drawing import scene
from tests.drawing.scene import MS
from tests.history.past import put
from tests.web.browser.conftest import Open, Serve
from tracelens.web import create_app
from tracelens.web.following import Follower

pytestmark = pytest.mark.browser

PAIR = "two/?a=sample:knitting_inversion&b=sample:knitting_mended"
REPAIR = "repair/?run=sample:knitting_inversion&protocol=flash_bus%3Dinherit"
ROOMS = ["open/", "classroom/", f"{PAIR}&from=0&to=50000000", REPAIR]


@pytest.fixture(scope="module")
def address(serve: Serve) -> str:
    return serve(create_app().server)


@pytest.fixture
def open_page(open_at: Open, address: str) -> Open:
    """`open_page(path, …, at=address)`: a page of that server, or of the one at `at`."""
    return lambda path="", at=address, **how: open_at(at + path, **how)


@pytest.fixture
def log(tmp_path: Path) -> Path:
    path = tmp_path / "knitting.csv"
    path.write_text(scene.log_text(20), encoding="utf-8")
    return path


def query(page: Page) -> dict[str, str]:
    return {key: values[0] for key, values in parse_qs(urlsplit(page.url).query).items()}


def says(page: Page, text: str) -> None:
    """Wait until the address says something."""
    page.wait_for_function("text => location.search.includes(text)", arg=text)


def says_no_more(page: Page, text: str) -> None:
    """Wait until the address says something else."""
    page.wait_for_function("text => !location.search.includes(text)", arg=text)


def drawn(page: Page, low: float, high: float) -> None:
    """Wait until the time axes of both schedules show a window."""
    page.wait_for_function(
        """([low, high]) => ["schedule-a", "schedule-b"].every((id) => {
            const graph = document.querySelector(`#${id} .js-plotly-plot`);
            const range = graph && graph._fullLayout && graph._fullLayout.xaxis.range;
            return range && Math.abs(range[0] - low) < 1 && Math.abs(range[1] - high) < 1;
        })""",
        arg=[low, high],
    )


def test_a_page_without_a_run_opens_the_room_where_a_file_becomes_one(
    open_page: Open, log: Path
) -> None:
    page = open_page()
    expect(page).to_have_url(re.compile(r"/open/$"))
    page.locator("#file").set_input_files(log)
    expect(page.locator("h1")).to_have_text("knitting.csv")
    expect(page.locator("button.finding").first).to_contain_text("flash_bus")
    assert len(query(page)["run"]) > 12


@pytest.mark.night
def test_two_runs_move_together(open_page: Open) -> None:
    page = open_page(f"{PAIR}&at=job&task=needle_select&job_a=21&from=-2000000&to=8000000")
    at = 40 * MS  # release of needle_select's job 21 in both
    drawn(page, at - 2 * MS, at + 8 * MS)
    page.locator("#later").click()
    drawn(page, at + MS / 2, at + 10.5 * MS)
    says(page, "from=500000&")
    expect(page.locator(".pairs tbody tr").first).to_contain_text("needle_select")
    expect(page.locator(".pairs tbody tr").first.locator("td").nth(6)).to_have_text("4")


@pytest.mark.night
def test_a_repair_is_tried_on_paper(open_page: Open) -> None:
    page = open_page("?run=sample:knitting_inversion&job=20")
    page.get_by_role("link", name="Try it on paper").click()
    drawn(page, 39.1268 * MS, 45.2392 * MS)
    believed = page.locator("#believed")
    expect(believed).to_contain_text("820 of 820 responses (100 %)")
    expect(page.locator("#verdict")).to_contain_text("4 deadline misses recorded, 0 predicted.")
    first = page.locator(".pairs tbody tr").first
    expect(first).to_contain_text("needle_select better")
    expect(first.locator("td").nth(5)).to_have_text("1.12")
    expect(page.locator("#schedule-b .annotation-text").filter(has_text="−4.02 ms")).to_be_visible()
    says(page, "protocol=flash_bus%3Dinherit&from=39126800&")
    page.locator("#later").click()
    says_no_more(page, "from=39126800&")
    page.get_by_role("button", name="take out flash_bus").click()
    expect(page.locator("#verdict")).to_have_text("4 deadline misses recorded, 4 predicted.")
    says_no_more(page, "protocol=")
    page.locator("#kind").click()
    page.get_by_text("the clock of the cores").click()
    page.locator("#value").fill("zero")
    page.locator("#value").press("Enter")
    expect(page.get_by_role("alert")).to_contain_text("--clock: found 'zero', expected a factor")
    page.locator("#value").fill("1.5")
    page.locator("#value").press("Enter")
    says(page, "clock=1.5&from=")
    again = open_page(f"repair/{page.evaluate('location.search')}")
    expect(again.get_by_role("button", name="take out clock × 1.5")).to_be_visible()
    expect(again.locator("#believed")).to_contain_text("820 of 820 responses")


def test_four_protocols_side_by_side(open_page: Open) -> None:
    """The responses of d: Burns & Wellings, 4th ed., sect. 11.8."""
    page = open_page("classroom/")
    first = page.locator(".responses tbody tr").first
    expect(first).to_have_text(re.compile(r"d.*12\.0 ms.*9\.00 ms.*7\.00 ms.*6\.00 ms"))
    expect(page.locator(".protocol .js-plotly-plot")).to_have_count(4)


@pytest.mark.night
def test_a_mistake_is_said_at_its_cell_and_the_last_good_answer_stays(open_page: Open) -> None:
    page = open_page("classroom/?example=lander")
    first = page.locator(".responses tbody tr").first
    steps = page.get_by_label("what a job does, in ms of task 1")
    steps.fill("run 2, lok Q")
    steps.press("Enter")
    expect(page.get_by_role("alert").filter(has_text="did you mean lock?")).to_be_visible()
    expect(page.locator(".results")).to_have_class("results stale")
    steps.fill("run 3")
    steps.press("Enter")
    expect(first).to_have_text(re.compile(r"bus.*3\.00 ms"))


# ---------------------------------------------------------------------------- the long ones


@pytest.mark.night
def test_a_bad_file_is_refused_in_place_and_a_good_one_of_the_name_is_read(
    open_page: Open, log: Path
) -> None:
    page = open_page("open/")
    whole = log.read_bytes()
    log.write_bytes(b"\x89PNG\r\n" + bytes(500))
    page.locator("#file").set_input_files(log)
    expect(page.locator("#problem")).to_contain_text("knitting.csv:1: not an event log")
    expect(page.locator("#hint")).not_to_be_empty()
    log.write_bytes(whole)
    page.locator("#file").set_input_files(log)
    expect(page.locator("h1")).to_have_text("knitting.csv")


@pytest.mark.night
def test_a_file_is_dropped_and_several_are_refused(open_page: Open, log: Path) -> None:
    page = open_page("open/")
    drop = """([text, count]) => {
        const data = new DataTransfer();
        for (let n = 0; n < count; n++) data.items.add(new File([text], `dropped${n}.csv`));
        document.getElementById("drop").dispatchEvent(
            new DragEvent("drop", { dataTransfer: data, bubbles: true, cancelable: true }));
    }"""
    text = log.read_text(encoding="utf-8")
    page.evaluate(drop, [text, 2])
    expect(page.locator("#problem")).to_contain_text("found several files")
    page.evaluate(drop, [text, 1])
    expect(page.locator("h1")).to_have_text("dropped0.csv")


@pytest.mark.night
def test_a_sample_is_reached_by_keyboard_alone(open_page: Open) -> None:
    page = open_page("open/")
    for _ in range(60):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.textContent") == "knitting_inversion":
            break
    assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") != "none"
    page.keyboard.press("Enter")
    expect(page.locator("h1")).to_have_text("knitting_inversion.csv")
    nav = page.locator("nav.rooms a").nth(2)
    nav.focus()
    page.keyboard.press("Enter")
    expect(page.locator("#missing")).to_contain_text("First run: knitting_inversion.csv")


@pytest.mark.night
def test_the_second_run_is_opened_from_the_room_of_two(open_page: Open, log: Path) -> None:
    page = open_page("two/?a=sample:knitting_healthy")
    page.get_by_role("link", name="Open the log of the second run").click()
    expect(page.locator("#drop-title")).to_have_text("The log for the other side of two runs")
    page.locator("#file").set_input_files(log)
    expect(page.locator("#name-b")).to_contain_text("second: knitting.csv")
    expect(page.locator("#name-a")).to_contain_text("first: knitting_healthy.csv")
    expect(page.locator("#only")).to_contain_text("Only the first run has")
    page.locator("#name-a").get_by_role("link", name="another log").click()
    page.locator("#opened").get_by_role("link", name="knitting.csv").click()
    expect(page.locator("#name-a")).to_contain_text("first: knitting.csv")


@pytest.mark.night
def test_a_run_that_is_gone_says_so_and_leads_on(open_page: Open) -> None:
    page = open_page("?run=gone")
    expect(page.get_by_role("alert").first).to_contain_text("is not here any more")
    expect(page.locator("#file")).to_be_attached()


@pytest.mark.night
@pytest.mark.parametrize(
    ("key", "window"),
    [
        ("ArrowRight", (105, 125)),
        ("ArrowLeft", (95, 115)),
        ("PageDown", (120, 140)),
        ("+", (105, 115)),
        ("-", (90, 130)),
        ("Home", (0, 20)),
        ("End", (780, 800)),
    ],
)
def test_keys_move_both_runs(open_page: Open, key: str, window: tuple[int, int]) -> None:
    page = open_page(f"{PAIR}&from=100000000&to=120000000")
    drawn(page, 100 * MS, 120 * MS)
    page.keyboard.press(key)
    says(page, f"from={window[0] * MS}&to={window[1] * MS}")
    drawn(page, window[0] * MS, window[1] * MS)


@pytest.mark.night
def test_dragging_one_run_moves_the_other(open_page: Open) -> None:
    page = open_page(f"{PAIR}&from=100000000&to=120000000")
    drawn(page, 100 * MS, 120 * MS)
    box = page.locator("#schedule-b .nsewdrag").first.bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + 200, box["y"] + 60)
    page.mouse.down()
    page.mouse.move(box["x"] + 320, box["y"] + 60, steps=4)
    page.mouse.up()
    says_no_more(page, "from=100000000&")
    start, end = int(query(page)["from"]), int(query(page)["to"])
    assert start < 100 * MS
    drawn(page, start, end)


@pytest.mark.night
def test_an_alignment_that_cannot_be_is_said_and_a_link_brings_it_back(open_page: Open) -> None:
    page = open_page(PAIR)
    page.get_by_label("a job").check()
    page.get_by_label("of task").fill("needle")
    page.keyboard.press("Enter")
    expect(page.locator("#align-wrong")).to_contain_text("did you mean needle_select?")
    page.get_by_label("of task").fill("needle_select")
    page.keyboard.press("Enter")
    expect(page.locator("#align-wrong")).to_be_empty()
    page.get_by_label("number in the first").fill("21")
    page.keyboard.press("Enter")
    says(page, "job_a=21")
    page.reload()
    expect(page.get_by_label("number in the first")).to_have_value("21")


@pytest.mark.night
def test_a_link_to_a_set_brings_it_back_and_files_can_be_taken(open_page: Open) -> None:
    page = open_page("classroom/?example=lander")
    expect(page.get_by_label("task of task 1")).to_have_value("bus")
    page.get_by_label("deadline, ms of task 1").fill("20")
    page.keyboard.press("Enter")
    expect(page.locator(".protocol").first).to_contain_text("none late")
    says(page, "?set=")
    again = open_page(f"classroom/{page.evaluate('location.search')}")
    expect(again.get_by_label("deadline, ms of task 1")).to_have_value("20")
    with again.expect_download() as taken:
        again.get_by_role("link", name="the set as a file").click()
    assert "deadline_us = 20000" in Path(taken.value.path()).read_text(encoding="utf-8")
    expect(again.locator(".protocol").first).to_be_attached()
    with again.expect_download() as taken:
        again.get_by_role("link", name="its log").first.click()
    assert Path(taken.value.path()).read_bytes().startswith(b"#tracelens 1\n")


@pytest.mark.night
def test_a_set_is_made_by_keyboard_alone(open_page: Open) -> None:
    page = open_page("classroom/?example=rm_two_tasks")
    expect(page.locator(".protocol")).to_have_count(1)
    page.locator("#add").focus()
    page.keyboard.press("Enter")
    name = page.get_by_label("task of task 3")
    expect(name).to_be_visible()
    name.focus()
    for text in ("c", "0", "10", "", "10", "run 1, lock Q, run 1, unlock Q"):
        page.keyboard.press("Control+A")
        page.keyboard.type(text) if text else page.keyboard.press("Delete")
        page.keyboard.press("Tab")
    expect(page.locator(".slowest").first).to_contain_text("c")
    page.get_by_label("round robin").focus()
    page.keyboard.press("Space")
    expect(page.get_by_label("turn, ms")).to_be_visible()
    page.locator(".editor button").last.focus()
    page.keyboard.press("Enter")
    expect(page.get_by_label("task of task 3")).to_have_count(0)


@pytest.mark.night
def test_an_absurd_set_is_refused_and_the_page_goes_on(open_page: Open) -> None:
    page = open_page("classroom/?example=rm_two_tasks")
    page.get_by_label("period, ms of task 1").fill("0.001")
    page.get_by_label("end, ms").fill("900000")
    page.keyboard.press("Enter")
    expect(page.get_by_role("alert").filter(has_text="too much happens")).to_be_visible()
    page.get_by_label("end, ms").fill("36")
    page.get_by_label("period, ms of task 1").fill("5")
    page.keyboard.press("Enter")
    expect(page.locator(".protocol .js-plotly-plot")).to_have_count(1)


@pytest.mark.night
@pytest.mark.parametrize("path", ROOMS)
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_rooms_follow_the_system_and_fit_a_small_screen(
    open_page: Open, path: str, scheme: str
) -> None:
    page = open_page(path, width=800, height=600, scheme=scheme)
    expect(page.locator("h1")).to_be_visible()
    if "open" not in path:
        page.wait_for_selector(".js-plotly-plot .xtick text")
        fill = page.locator(".xtick text").first.evaluate("e => getComputedStyle(e).fill")
        assert fill == ("rgb(232, 235, 238)" if scheme == "dark" else "rgb(27, 31, 36)")
    paper = page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert paper == ("rgb(20, 24, 29)" if scheme == "dark" else "rgb(255, 255, 255)")
    assert page.evaluate("document.documentElement.scrollWidth") <= 800


@pytest.mark.night
def test_a_log_that_grows_is_followed_at_its_end_and_left_alone_elsewhere(
    open_page: Open, serve: Serve, tmp_path: Path
) -> None:
    path = tmp_path / "growing.csv"
    lines = scene.log_text(600).splitlines(keepends=True)
    path.write_text("".join(lines[:3000]), encoding="utf-8")
    follower = Follower(path)
    at = serve(create_app(follower=follower).server)
    follower.start()
    done = threading.Event()

    def grow() -> None:
        with path.open("a", encoding="utf-8") as file:
            for start in range(3000, len(lines), 50):
                file.write("".join(lines[start : start + 50]))
                file.flush()
                if done.wait(0.1):
                    return

    writer = threading.Thread(target=grow)
    page = open_page(at=at)
    expect(page.locator("#live")).to_be_visible()
    says(page, "run=live.")
    writer.start()
    try:
        before = query(page)
        says_no_more(page, f"run={before['run']}&")
        says_no_more(page, f"to={before['to']}")
        expect(page.locator("#live-note")).to_contain_text("growing · read whole every")
        page.locator("h1").click()
        page.keyboard.press("Home")
        says(page, "from=0&")
        here = query(page)
        says_no_more(page, f"run={here['run']}&")
        assert query(page)["from"] == "0"
        assert query(page)["to"] == here["to"]
    finally:
        done.set()
        writer.join()
    path.write_text("".join(lines[:400]), encoding="utf-8")
    expect(page.locator("#live-note")).to_contain_text("the log was cut short at")


@pytest.mark.night
def test_a_history_is_looked_through_by_links_and_grows(
    open_page: Open, serve: Serve, tmp_path: Path
) -> None:
    folder = put(tmp_path / "nightly", runs=19)
    at = serve(create_app(history=folder).server)
    page = open_page(at=at)
    expect(page.locator("#said")).to_contain_text("before build k12")
    expect(page.locator(".annotation-text").last).to_contain_text("from build k12")
    page.get_by_role("link", name="Mean response time of link").focus()
    page.keyboard.press("Enter")
    expect(page.locator("#said")).to_contain_text("no change beyond noise")
    says(page, "measure=response&of=link")
    focused = "() => document.activeElement.textContent == 'Mean response time of link'"
    page.wait_for_function(focused)
    page.get_by_role("link", name="a.1 (10)").click()
    expect(page.locator("#verdict")).to_contain_text("over 10 runs")
    page.get_by_role("link", name="over time").click()
    says(page, "by=time")
    page.wait_for_function(
        "() => document.querySelector('#course .js-plotly-plot')._fullLayout.xaxis.type == 'date'"
    )
    with page.expect_download() as picture:
        page.get_by_role("button", name="SVG").click()
    assert picture.value.suggested_filename == "nightly-response-link.svg"
    with page.expect_download() as table:
        page.get_by_role("button", name="CSV").click()
    assert Path(table.value.path()).read_text("utf-8").startswith("run,place,at,value,level")
    page.go_back()
    page.go_back()
    expect(page.locator("#verdict")).to_contain_text("over 19 runs")
    put(folder, runs=20)
    expect(page.locator("#verdict")).to_contain_text("over 20 runs")
    small = open_page("history/", width=800, height=600, scheme="dark", at=at)
    small.wait_for_selector("#course .xtick text")
    assert small.evaluate("document.documentElement.scrollWidth") <= 800

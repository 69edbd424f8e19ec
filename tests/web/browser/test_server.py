"""The server as a browser meets it: the token, the policy in every room, no answer."""

import re
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.drawing import scene
from tests.history.past import put
from tests.web.browser.conftest import Open
from tests.web.browser.test_rooms import PAIR, REPAIR
from tests.web.real_server import running
from tracelens.web import create_app
from tracelens.web.app import make
from tracelens.web.following import Follower
from tracelens.web.guard import Guard
from tracelens.web.token import Door

pytestmark = pytest.mark.browser

PATIENCE_MS = 90_000
"""A busy machine takes half a minute for a page."""

DRAWN = ".js-plotly-plot .main-svg"


def test_the_token_opens_every_part_of_the_page_and_leaves_the_address(open_at: Open) -> None:
    door = Door()
    made = make(scene.analysis(20), guard=Guard(door=door))
    with running(made.app.server, made.rules) as server:
        at = f"http://127.0.0.1:{server.port}/"
        page = open_at(f"{at}?token={door.token}")
        expect(page.locator(DRAWN).first).to_be_attached(timeout=PATIENCE_MS)
        expect(page).to_have_url(re.compile(r"run=1&from="))
        assert "token" not in page.url
        assert "tracelens" not in page.evaluate("document.cookie"), "no script can read it"
        page.goto(f"{at}open/")
        expect(page.locator("h1")).to_have_text("open a log")


@pytest.mark.night
def test_no_room_breaks_the_policy(open_at: Open, tmp_path: Path) -> None:
    """Every breach is said on the console, which `open_at` finds empty afterwards."""
    made = make(scene.analysis(60), history=put(tmp_path / "nightly", 12))
    rooms = ("", "open/", "classroom/", PAIR, REPAIR, "history/")
    with running(made.app.server, made.rules) as server:
        for room in rooms:
            page = open_at(f"http://127.0.0.1:{server.port}/{room}")
            if room != "open/":
                expect(page.locator(DRAWN).first).to_be_attached(timeout=PATIENCE_MS)
            if not room:
                with page.expect_download():
                    page.get_by_role("button", name="PNG").first.click()


@pytest.mark.night
def test_where_no_answer_comes_a_line_says_so(browser: Browser, tmp_path: Path) -> None:
    log = tmp_path / "growing.csv"
    log.write_text(scene.log_text(60), encoding="utf-8")
    follower = Follower(log)
    app = create_app(follower=follower)
    page: Page = browser.new_page()
    with running(app.server) as server:
        page.goto(f"http://127.0.0.1:{server.port}/")
        expect(page.locator(DRAWN).first).to_be_attached(timeout=PATIENCE_MS)
        expect(page.locator(".unanswered")).to_have_count(0)
        log.unlink()
        follower.look()
        expect(page.locator("#live-note")).to_contain_text(
            "the log is not there any more", timeout=PATIENCE_MS
        )
    page.locator("#whole").click()
    expect(page.locator(".unanswered")).to_contain_text("The page is not answered: is tracelens")
    page.close()

"""A real browser, for every test of this folder."""

import contextlib
from collections.abc import Callable, Iterator
from typing import Literal

import flask
import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser import CHROMIUM, chromium
from tests.web.real_server import running

Serve = Callable[[flask.Flask], str]
Open = Callable[..., Page]

expect.set_options(timeout=20_000)  # a busy machine is slow, not wrong


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    if not CHROMIUM.exists():
        pytest.skip(f"no browser at {CHROMIUM}")
    with chromium() as begun:
        yield begun


@pytest.fixture(scope="module")
def serve() -> Iterator[Serve]:
    """`serve(application)` is its address."""

    def start(application: flask.Flask) -> str:
        server = servers.enter_context(running(application))
        return f"http://127.0.0.1:{server.port}/"

    with contextlib.ExitStack() as servers:
        yield start


@pytest.fixture
def open_at(browser: Browser) -> Iterator[Open]:
    """`open_at(url, width=…, height=…, scheme=…)`; afterwards every console must be empty."""
    said: list[str] = []
    pages: list[Page] = []

    def opened(
        url: str, width: int = 1440, height: int = 900, scheme: Literal["light", "dark"] = "light"
    ) -> Page:
        page = browser.new_page(viewport={"width": width, "height": height}, color_scheme=scheme)
        page.on("console", lambda message: said.append(message.text))
        page.on("pageerror", lambda error: said.append(str(error)))
        pages.append(page)
        page.goto(url)
        return page

    yield opened
    for page in pages:
        page.close()
    assert said == []

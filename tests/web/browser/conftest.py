"""A real browser, for every test of this folder."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect, sync_playwright

CHROMIUM = Path("/usr/bin/chromium")
QUIET = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip

expect.set_options(timeout=20_000)  # a busy machine is slow, not wrong


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    if not CHROMIUM.exists():
        pytest.skip(f"no browser at {CHROMIUM}")
    with sync_playwright() as driver:
        running = driver.chromium.launch(executable_path=str(CHROMIUM), args=list(QUIET))
        yield running
        running.close()

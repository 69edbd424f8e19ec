"""Debian's Chromium, for tests and for the pictures of the documents."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from playwright.sync_api import Browser, sync_playwright

CHROMIUM: Final = Path("/usr/bin/chromium")
QUIET: Final = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip


@contextmanager
def chromium() -> Iterator[Browser]:
    """A browser without a screen."""
    with sync_playwright() as driver:
        running = driver.chromium.launch(executable_path=str(CHROMIUM), args=list(QUIET))
        yield running
        running.close()

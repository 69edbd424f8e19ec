"""Takes the pictures of the documents, of the page and of a report on the samples. By hand:

    python -m tests.pictures [DIRECTORY, default sample_traces/pictures]

What a picture shows follows from its sample and its address alone. It is taken once everything that
it is to show is there, and not at all if the browser's console has something to say.
"""

import io
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from playwright.sync_api import Browser, Page, expect

from tests.browser import chromium
from tests.web.real_server import running
from tracelens.analysis import analyse
from tracelens.reading import read
from tracelens.report import html
from tracelens.web import create_app

SAMPLES: Final = Path(__file__).parents[1] / "sample_traces"
FOLDER: Final = SAMPLES / "pictures"
LARGEST: Final = 150_000  # bytes
COLOURS: Final = 256
TIMEOUT_MS: Final = 60_000
RUN: Final = SAMPLES / "knitting_inversion.csv"


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture of an address; `shows` are selectors, and what the first of each must contain."""

    name: str
    address: str
    width: int
    height: int
    shows: tuple[tuple[str, str], ...]

    @property
    def file(self) -> str:
        """Its file name."""
        return f"{self.name}.png"


PICTURES: Final = (
    Picture(
        "page", "page:", 1440, 900,
        (("h1", "knitting_inversion.csv"), ("button.finding", "4 of 4 late jobs"),
         ("#job-title", "needle_select, job 21: response 4.37 ms, 2.57 ms over its deadline"),
         ("#schedule .js-plotly-plot", "needle_select · 6"), ("#panel-table", "4366"),
         ("#job-figure .js-plotly-plot", "median: job 144")),
    ),
    Picture(
        "report", "file:report.html", 1080, 880,
        (("h1", "knitting_inversion.csv"), ("body", "4 of 400 jobs"), ("svg", "")),
    ),
    Picture(
        "repair", "page:repair/?run=sample:knitting_inversion&protocol=flash_bus%3Dinherit",
        1440, 930,
        (("#believed", "820 of 820 responses (100 %)"),
         ("#verdict", "4 deadline misses recorded, 0 predicted."),
         ("#schedule-a .js-plotly-plot", "needle_select"),
         ("#schedule-b .js-plotly-plot", "needle_select")),
    ),
    Picture(
        "classroom", "page:classroom/", 1440, 908,
        (("h1", "classroom"), (".slowest", "12.0 ms"), (".protocol .js-plotly-plot", "Q")),
    ),
)  # fmt: skip


@contextmanager
def places() -> Iterator[dict[str, str]]:
    """Where the page answers and the report lies: the begin of an address → what it stands for."""
    run = read(RUN)
    analysis = analyse(run)
    application = create_app(analysis).server
    with tempfile.TemporaryDirectory() as made, running(application) as server:
        Path(made, "report.html").write_text(html.render(analysis, run), encoding="utf-8")
        yield {"page": f"http://127.0.0.1:{server.port}/", "file": f"file://{made}/"}


def take(picture: Picture, browser: Browser, where: dict[str, str]) -> bytes:
    """The picture as PNG. Raises `AssertionError` if it does not show what it is to show."""
    kind, _, rest = picture.address.partition(":")
    size = {"width": picture.width, "height": picture.height}
    page = browser.new_page(viewport=size, color_scheme="light")
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.goto(where[kind] + rest)
    for selector, text in picture.shows:
        expect(page.locator(selector).first).to_contain_text(text, timeout=TIMEOUT_MS)
    _at_rest(page)
    taken = page.screenshot(animations="disabled", caret="hide")
    page.close()
    assert said == [], f"{picture.name}: the console says {said}"
    return taken


def _at_rest(page: Page) -> None:
    """Wait until nothing is on its way, and two pictures in a row are the same."""
    page.wait_for_load_state("networkidle")
    before = b""
    for _ in range(50):
        now = page.screenshot(animations="disabled", caret="hide")
        if now == before:
            return
        before = now
        page.wait_for_timeout(400)
    raise AssertionError(f"{page.url} does not come to rest")


def small(png: bytes) -> bytes:
    """The same picture in few colours: those that stand furthest apart, so that none is lost."""
    from PIL import Image

    whole = Image.open(io.BytesIO(png)).convert("RGB")
    few = whole.quantize(COLOURS, Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE)
    made = io.BytesIO()
    few.save(made, "PNG", optimize=True)
    return made.getvalue()


def main(folder: Path) -> None:
    """Take them all."""
    folder.mkdir(exist_ok=True)
    with places() as where, chromium() as browser:
        for picture in PICTURES:
            png = small(take(picture, browser, where))
            (folder / picture.file).write_bytes(png)
            sys.stdout.write(f"{picture.file}: {len(png):,} bytes\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if sys.argv[1:] else FOLDER)

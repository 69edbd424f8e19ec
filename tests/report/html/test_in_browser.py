"""The report in a real browser, from a file, with the network off."""

from pathlib import Path

import pytest
from playwright.sync_api import Browser

from tests.browser import CHROMIUM, chromium
from tracelens.analysis import analyse
from tracelens.reading import read
from tracelens.report import html

pytestmark = [pytest.mark.browser, pytest.mark.night]

# What has tried to leave attributes, titles, style sheets, comments and templates before: common
# practice in testing for injected markup.
HOSTILE = (
    "<script>document.title=1</script>",
    "<img/src=x/onerror=alert(1)>",
    "</title></style></svg><svg/onload=alert(1)>",
    "'onmouseover='alert(1)",
    "--><b>&lt;i&gt;",
    "{{7*7}}{%raw%}",
    "a\u202eb\u200bc",
)


def log_text() -> str:
    """Each hostile name is a task; the first holds a lock, by the name of the second, too long."""
    names = [f"#task id=t{i} name={name} priority={i + 1}" for i, name in enumerate(HOSTILE)]
    lines = ["#tracelens 1", "#clock hz=1000000", "#priority order=higher_first"]
    lines += [f"{name} deadline_us=900 period_us=10000" for name in names]
    lines += [f"#lock id=m1 name={HOSTILE[1]} protocol=none", "time,core,event,subject,value"]
    for at in range(0, 100_000, 10_000):
        lines += [f"{at},0,release,t0,", f"{at},0,start,t0,", f"{at + 10},0,lock,t0,m1"]
        lines += [f"{at + 100},0,release,t6,", f"{at + 100},0,start,t6,"]
        lines += [f"{at + 200},0,request,t6,m1", f"{at + 200},0,wait,t6,m1"]
        lines += [f"{at + 200},0,start,t0,", f"{at + 2000},0,unlock,t0,m1"]
        lines += [f"{at + 2000},0,release,t6,", f"{at + 2000},0,start,t6,"]
        lines += [f"{at + 2001},0,lock,t6,m1", f"{at + 2100},0,unlock,t6,m1"]
        lines += [f"{at + 2200},0,wait,t6,delay", f"{at + 2200},0,start,t0,"]
        for i in range(1, 6):
            lines += [f"{at + 2300 + i},0,release,t{i},", f"{at + 2300 + i},0,start,t{i},"]
            lines += [f"{at + 2310 + i},0,wait,t{i},delay", f"{at + 2310 + i},0,start,t0,"]
        lines += [f"{at + 3000},0,wait,t0,delay"]
    return "\n".join(lines) + "\n"


@pytest.fixture(scope="module")
def browser():
    if not CHROMIUM.exists():
        pytest.skip(f"no browser at {CHROMIUM}")
    with chromium() as running:
        yield running


@pytest.fixture(scope="module")
def file(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("report")
    (folder / "run.csv").write_text(log_text(), encoding="utf-8")
    run = read(folder / "run.csv")
    (folder / "run.html").write_text(html.render(analyse(run), run), encoding="utf-8")
    return folder / "run.html"


@pytest.mark.parametrize(("width", "scheme"), [(1440, "light"), (800, "dark")])
def test_hostile_names_do_nothing_and_nothing_is_loaded(
    browser: Browser, file: Path, width: int, scheme: str
) -> None:
    context = browser.new_context(
        viewport={"width": width, "height": 800},
        color_scheme=scheme,
        offline=True,
    )
    page = context.new_page()
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("dialog", lambda dialog: said.append(dialog.message))
    page.on("request", lambda request: said.append(request.url[:5]))
    page.goto(file.as_uri())
    for summary in page.locator("summary").all():
        summary.click()
    for block in page.locator("figure rect:has(title)").all()[:20]:
        block.hover(force=True)
    assert [url for url in said if url not in ("file:", "data:")] == []
    assert said.count("file:") == 1
    assert page.title() == "run.csv – tracelens report"
    shown = page.locator("body").inner_text()
    for name in (*HOSTILE[:6], r"a\u202eb\u200bc"):
        assert name in shown, name
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    colour = page.evaluate("getComputedStyle(document.documentElement).backgroundColor")
    assert colour == ("rgb(255, 255, 255)" if scheme == "light" else "rgb(20, 24, 29)")
    context.close()


def test_paper_is_light_and_whole(browser: Browser, file: Path) -> None:
    page = browser.new_page(viewport={"width": 690, "height": 900}, color_scheme="dark")
    page.emulate_media(media="print")
    page.goto(file.as_uri())
    colour = page.evaluate("getComputedStyle(document.documentElement).backgroundColor")
    assert colour == "rgb(255, 255, 255)"
    folded = page.locator("details:not([open]) p, details:not([open]) td").first
    assert folded.bounding_box()["height"] > 0
    assert page.evaluate("document.documentElement.scrollWidth") <= 690
    page.close()

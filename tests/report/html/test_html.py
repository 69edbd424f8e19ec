"""The report as HTML: the numbers of the JSON report, nothing from elsewhere, nothing that acts."""

import base64
import hashlib
import json
import re
from functools import cache
from html.parser import HTMLParser
from pathlib import Path

import pytest

from tests.drawing import scene
from tests.drawing.scene import TAG
from tests.report.example import empty_analysis
from tracelens.analysis import analyse
from tracelens.cli.main import main
from tracelens.errors import TraceLensError
from tracelens.reading import read
from tracelens.report import html, json_
from tracelens.report.document import document

SAMPLES = Path(__file__).parents[3] / "sample_traces"
INVERSION = SAMPLES / "knitting_inversion.csv"
BAD_LOGS = Path(__file__).parents[2] / "bad_logs"
LARGEST = 6_000_000
ACTIVE = {"script", "link", "iframe", "object", "embed", "base", "form", "img", "audio", "video"}


class Page(HTMLParser):
    """A page taken apart: elements with attributes, tables by the heading before them, text."""

    def __init__(self, page):
        super().__init__()
        self.elements, self.tables, self.texts = [], {}, {}
        self._heading, self._open, self._rows = "", [], []
        self.feed(page)
        assert self._open == [], "every element is closed"

    def handle_starttag(self, tag, attributes):
        attributes = dict(attributes)
        self.elements.append((tag, attributes))
        if tag == "tr":
            self._rows.append([])
        if tag in ("td", "th"):
            self._rows[-1].append([None, ""])
        if tag == "data":
            self._rows[-1][-1][0] = float(attributes["value"])
        if tag == "table":
            self._rows = []
        if tag in ("h2", "h3", "h4", "summary"):
            self._heading = ""
        if tag not in ("meta", "rect", "path", "line", "image"):
            self._open.append(tag)

    def handle_startendtag(self, tag, attributes):
        self.elements.append((tag, dict(attributes)))

    def handle_endtag(self, tag):
        if tag in ("rect", "path") and self._open[-1] != tag:
            return  # opened with a title inside
        assert self._open.pop() == tag
        if tag == "table":
            self.tables.setdefault(self._heading, []).append(self._rows)

    def handle_data(self, data):
        inside = self._open[-1] if self._open else ""
        self.texts.setdefault(inside, []).append(data)
        if inside in ("h2", "h3", "h4", "summary"):
            self._heading += data
        if {"td", "th"} & set(self._open):
            self._rows[-1][-1][1] += data


@cache
def rendered(log=INVERSION):
    run = read(log)
    analysis = analyse(run)
    return analysis, html.render(analysis, run)


@cache
def taken_apart(log=INVERSION):
    return Page(rendered(log)[1])


def by_first(table):
    """First cell → head → exact value, or the text where there is none."""
    heads = [re.split(r"\s+(ns|µs|ms|s|%|bytes)$", head.strip())[0] for _, head in table[0]]
    return {
        row[0][1]: {
            h: text if value is None else value for h, (value, text) in zip(heads, row, strict=True)
        }
        for row in table[1:]
    }


def test_the_numbers_are_those_of_the_json_report():
    analysis, _ = rendered()
    told = json.loads(b"".join(json_.chunks(analysis)))
    (table,) = taken_apart().tables["Response times"]
    rows = by_first(table)
    assert len(rows) == 7
    for task in told["tasks"]:
        if task["name"] not in rows:
            assert not task["jobs"]
            continue
        row = rows[task["name"]]
        for head, name in (("median", "p50"), ("p95", "p95"), ("largest", "max")):
            assert row[head] == pytest.approx(1000 * task["response_us"][name], abs=0.5)
        assert row["deadline"] == pytest.approx(1000 * task["deadline_us"])
        assert (row["jobs"], row["late"]) == (task["jobs"], task["deadline_misses"])
    late = taken_apart().tables["Late jobs, the worst first"][0][1:]
    worst = sorted(told["misses"], key=lambda miss: -miss["lateness_us"])
    assert [row[1][0] for row in late] == [miss["job"] for miss in worst]
    assert [row[5][0] for row in late] == [1000 * miss["lateness_us"] for miss in worst]
    ledger = taken_apart().tables["Where the time went"][0][1:]
    entries = [(row[0][1], row[1][1].replace("–", ""), row[3][0]) for row in ledger]
    assert entries == [(e["entry"], e["by"] or "", 1000 * e["us"]) for e in worst[0]["ledger"]]


def test_everything_of_the_text_report_is_there():
    analysis, _ = rendered()
    told = document(analysis)
    apart = taken_apart()
    for section in told.sections:
        assert section.title in apart.texts["h2"]
    words = " ".join(text for texts in apart.texts.values() for text in texts)
    words = words.replace("\N{NO-BREAK SPACE}", " ")
    for remark in told.remarks:
        assert remark.text in words
    cells = [cell for tables in apart.tables.values() for table in tables for cell in table]
    shown = {text.strip() for row in cells for _, text in row}
    for section in told.sections:
        for block in section.blocks:
            if hasattr(block, "shown"):
                assert {text for row in block.shown().rows for text in row} <= shown


def test_the_first_screen_says_what_is_late_before_anything_else():
    page = rendered()[1]
    headline = page.index("4 jobs came late, all of needle_select")
    assert headline < page.index("flash_bus, held longest by archive") < page.index("<figure>")


def test_the_worst_miss_is_drawn_and_the_finding_leads_to_it():
    apart = taken_apart()
    targets = {a["href"] for tag, a in apart.elements if tag == "a"}
    ids = {f"#{a['id']}" for tag, a in apart.elements if "id" in a}
    assert targets <= ids
    labels = [a["aria-label"] for tag, a in apart.elements if a.get("role") == "img"]
    assert "schedule around job 21 of needle_select" in labels
    assert "where the time of job 21 of needle_select went" in labels


def test_a_run_without_a_miss_shows_the_job_nearest_its_deadline():
    _, page = rendered(SAMPLES / "knitting_two_cores.csv")
    # link: 7.81 of 12 ms; needle_select, second by that: 49.8 % of its deadline
    assert (
        "link 102 took 7.81\N{NO-BREAK SPACE}ms. It met its deadline of 12.0\N{NO-BREAK SPACE}ms"
        in page
    )
    assert "No job was late: 806 jobs of 7 tasks with a deadline were judged." in page


@pytest.mark.parametrize(
    "log", sorted(SAMPLES.rglob("*.csv")), ids=lambda path: path.stem
)  # 31 of them
def test_every_sample_is_one_file_that_refers_to_nothing_outside(log):
    _, page = rendered(log)
    assert len(page.encode()) < LARGEST
    without_pictures = re.sub(r"data:image/png;base64,[A-Za-z0-9+/=]+", "", page)
    assert not re.search(r"(?i)https?:|//|@import|url\((?!#)", without_pictures)
    assert not ACTIVE & set(re.findall(r"<(\w+)", page))
    for name, value in set(re.findall(r' ([\w:-]+)="([^"]*)"', without_pictures)):
        assert not name.startswith("on") and name not in ("src", "style", "srcset"), name
        assert not name.endswith("href") or value.startswith("#") or value == "", value


def test_the_policy_allows_no_script_and_only_the_style_that_is_there():
    page = rendered()[1]
    (policy,) = [
        a["content"]
        for tag, a in taken_apart().elements
        if tag == "meta" and a.get("http-equiv") == "Content-Security-Policy"
    ]
    # CSP level 3, section 6.7.2.4: the hash is over the text of the element, in UTF-8.
    style = re.search(r"<style>(.*?)</style>", page, re.DOTALL)[1]
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    assert f"style-src 'sha256-{digest}'" in policy
    assert policy.startswith("default-src 'none'; ")
    assert "script-src" not in policy
    assert "unsafe" not in policy


def test_names_that_would_act_are_shown_as_written():
    analysis = scene.analysis()
    page = Page(html.render(analysis, analysis.timeline))
    assert "script" not in {tag for tag, _ in page.elements}
    assert TAG in page.texts["td"]


def test_a_control_character_in_a_name_is_written_out():
    analysis = empty_analysis()
    log = analysis.timeline.log
    object.__setattr__(log, "sources", ("a\x1b[31m\u202eb<i>.csv",))
    page = html.render(analysis, analysis.timeline)
    assert "<h1>a\\x1b[31m\\u202eb&lt;i&gt;.csv</h1>" in page


def test_a_run_in_which_nothing_happened_has_a_page():
    analysis = empty_analysis()
    page = html.render(analysis, analysis.timeline)
    Page(page)
    assert "No deadline is declared, so nothing in this log can be called late." in page
    assert "No job was complete in this log" in page


@pytest.mark.parametrize("log", sorted(BAD_LOGS.iterdir()), ids=lambda path: path.stem)
def test_whatever_can_be_read_has_a_page(log):
    try:
        run = read(log)
    except TraceLensError:
        return  # tests/log has these
    assert "What this report cannot say" in html.render(analyse(run), run)


def test_a_part_of_a_run_tells_its_own_late_jobs(tmp_path):
    out = tmp_path / "r.html"
    part = ["--from", "600ms", "--to", "700ms", "--html", str(out)]
    assert main(["report", str(INVERSION), *part]) == 0
    page = out.read_text("utf-8")
    assert "needle_select 318 took 4.27\N{NO-BREAK SPACE}ms" in page
    assert "needle_select 21 took" not in page


def test_of_very_many_lanes_the_jobs_own_and_the_cores_are_drawn(tmp_path):
    names = [f"t{i:02}" for i in range(40)]
    lines = ["#tracelens 1", "#clock hz=1000000", "#priority order=higher_first"]
    lines += [f"#task id={name} name={name} priority={99 - i}" for i, name in enumerate(names)]
    lines += ["#task id=last name=last priority=1 deadline_us=300"]
    lines += ["time,core,event,subject,value", "0,0,release,last,"]
    for i, name in enumerate(names):
        lines += [f"{10 * i},0,release,{name},", f"{10 * i},0,start,{name},"]
        lines += [f"{10 * i + 10},0,wait,{name},delay"]
    lines += ["400,0,start,last,", "450,0,wait,last,delay"]
    log = tmp_path / "many.csv"
    # All wait once before, so that each release ends a wait and begins a job.
    before = [f"0,0,wait,{name},delay" for name in [*names, "last"]]
    log.write_text("\n".join([*lines[:45], *before, *lines[45:]]) + "\n", encoding="utf-8")
    run = read(log)
    page = html.render(analyse(run), run)
    drawn = [text for text in Page(page).texts["text"] if re.fullmatch(r"(t\d\d|last) · \d+", text)]
    assert {"t00 · 99", "last · 1"} <= set(drawn)
    assert "core 0" in Page(page).texts["text"]
    assert "Not shown, since there are so many: t" in page
    assert "nothing happens in them" not in page


def test_the_same_run_gives_the_same_page():
    analysis, page = rendered()
    assert html.render(analysis, analysis.timeline) == page


def test_it_may_go_to_standard_output_alone(capsysbinary):
    assert main(["report", str(INVERSION), "--html", "-"]) == 0
    assert capsysbinary.readouterr().out.startswith(b"<!doctype html>")

"""The report on a terminal."""

import io
import re
from dataclasses import replace

import pytest
from rich.cells import cell_len

from tests.report.example import FINDINGS, empty_analysis, frame, knitting
from tracelens.model.budgets import MEASURES
from tracelens.model.measured import MEASURED
from tracelens.model.results import Finding
from tracelens.report import blocks, text
from tracelens.report.document import document


class Terminal(io.StringIO):
    """A terminal that shows colours."""

    def isatty(self):
        return True


class Ascii(io.StringIO):
    """A file of an encoding without our signs."""

    encoding = "ascii"


def shown(analysis, width=80, file=None):
    file = file or io.StringIO()
    text.show(document(analysis), file, width)
    return file.getvalue()


@pytest.mark.parametrize("width", [80, 120])
def test_the_whole_report(golden, width):
    golden(f"knitting_{width}.txt", shown(knitting(), width))


def test_a_run_in_which_nothing_is_known_still_has_a_verdict_and_the_cautions(golden):
    golden("nothing.txt", shown(empty_analysis()))


@pytest.mark.parametrize("width", [80, 100, 120])
def test_no_line_is_wider_than_the_page(width):
    lines = shown(knitting(), width).splitlines()
    assert [line for line in lines if cell_len(line) > width] == []


def test_what_is_wrong_stands_first_and_the_worst_of_it_at_the_top():
    lines = shown(knitting()).splitlines()
    signs = [line[0] for line in lines if line[:1] in text.SIGNS.values() and line[:1]]
    assert signs == ["■", "▲", "●"]
    assert lines.index("Late jobs, the worst first") > lines.index(
        next(line for line in lines if line.startswith("●"))
    )


def test_every_report_says_what_it_cannot_say():
    for analysis in (knitting(), empty_analysis()):
        words = " ".join(shown(analysis).split())
        assert "Observed is not worst." in words
        assert "supports but does not replace the worst-case analysis" in words


def test_unused_lines_are_listed_by_reason_with_the_first_line_numbers():
    assert "torn                             4  184318" in shown(knitting())


def test_a_pipe_gets_no_colour_and_a_terminal_does(monkeypatch):
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.delenv("NO_COLOR", raising=False)
    assert "\x1b" not in shown(knitting())
    assert "\x1b[" in shown(knitting(), file=Terminal())


HOSTILE = "[red]x[/red]\x1b[31m\u202eevil"


def hostile():
    """A name that is markup, moves the terminal's colour and turns the reading direction."""
    tasks = frame(
        MEASURED["tasks"],
        task=[HOSTILE],
        jobs=[1],
        jobs_open=[0],
        idle=[False],
        response_max_ns=[1],
        deadline_misses=[0],
    )
    finding = Finding("error", HOSTILE, f"{HOSTILE} was late", 0, "late", {})
    return empty_analysis(tasks=tasks, findings=(finding,))


def test_a_name_cannot_act_on_the_terminal():
    page = shown(hostile(), 120)
    assert "\x1b" not in page
    assert "\u202e" not in page
    assert r"[red]x[/red]\x1b[31m\u202eevil was late" in page


@pytest.mark.parametrize("width", range(30, 80))
def test_a_number_and_its_unit_stay_on_one_line(width):
    told = "It took 3.13 ms, 87.3 % of it in 409600 bytes, 0.25 s (12.0 µs each) and 7 ns."
    table = blocks.Table((blocks.Column("why"),), ((told,),))
    section = blocks.Section("Where", (blocks.Paragraph(told), table))
    page = io.StringIO()
    text.show(blocks.Document("run", (), "Verdict.", (), (section,)), page, width)
    lines = page.getvalue().splitlines()
    assert not [line for line in lines if re.match(r"\s*(ns|µs|ms|s|%|bytes)\b|\s*%", line)]
    assert page.getvalue().count("3.13 ms") == 2
    assert max(map(len, lines)) <= width


def test_names_longer_than_a_column_lose_no_character():
    name = "".join(f"segment{n:02}_" for n in range(8))
    tasks = knitting().tasks.with_columns(task=name + knitting().tasks["task"])
    page = shown(replace(knitting(), tasks=tasks))
    table = page[page.index("Response times") : page.index("Cores")].splitlines()
    first = [line.split("  ")[0] for line in table if not line.startswith(" ")]
    assert f"{name}needle_select" in "".join(first)
    assert "…" not in page


def test_numbers_that_fill_their_columns_are_never_cut():
    big = 987_654_321_987
    tasks = knitting().tasks.with_columns(
        jobs=big, deadline_misses=big, longest_miss_run=big, response_p50_ns=big * 1000 + 1
    )
    page = shown(replace(knitting(), tasks=tasks))
    assert page.count(str(big)) == 3 * 5 + 4  # three columns of five tasks, 'judged' of four
    assert "…" not in page


def test_of_many_tasks_the_late_and_the_judged_are_kept_and_the_rest_counted():
    names = tuple(f"task{n}" for n in range(100))
    tasks = frame(
        MEASURED["tasks"],
        names,
        task=list(names),
        idle=[False] * 100,
        load=[n / 1e4 for n in range(100)],
        jobs=[1] * 100,
        jobs_open=[0] * 100,
        deadline_ns=[None] * 7 + [5] + [None] * 92,
        deadline_misses=[0, 0, 0, 1] + [0] * 96,
    )
    page = shown(empty_analysis(tasks=tasks))
    assert "100 rows, of which the most telling 30 are shown" in page
    table = page[page.index("Response times") :].split()
    assert "task3" in table  # late
    assert "task7" in table  # judged
    assert "task99" in table  # busiest
    assert "task0" not in table


def test_where_the_encoding_lacks_a_sign_ascii_stands_for_it():
    page = shown(knitting(), file=Ascii())
    assert page.isascii()
    assert "by up to 612 us;" in page


def test_nothing_wrong_is_said_in_so_many_words():
    notes = tuple(finding for finding in FINDINGS if finding.severity == "note")
    assert "Nothing wrong was found in what this log shows." in shown(
        empty_analysis(findings=notes)
    )


def test_of_thousands_of_findings_the_first_are_printed_and_the_rest_counted():
    many = tuple(
        Finding("note", "log", f"Remark {n}.", None, "log_warning", {"count": 1})
        for n in range(1000)
    )
    remarks = document(replace(knitting(), findings=many)).remarks
    assert len(remarks) == 201
    assert remarks[-1].text == "800 more are in the JSON."


def test_decimal_points_stand_under_each_other() -> None:
    rows = tuple((ns,) for ns in (17_600, 9_730, 26, 441_000))
    section = blocks.Section("Where", (blocks.Table((blocks.Column("for", "time"),), rows),))
    page = io.StringIO()
    text.show(blocks.Document("r", (), ".", (), (section,)), page, 80)
    cells = [line for line in page.getvalue().splitlines() if re.fullmatch(r" *[0-9][0-9.]*", line)]
    assert {line.find(".") if "." in line else len(line) for line in cells} == {3}
    assert not [line for line in cells if line.endswith(" ")]
    assert len(cells) == 4


def test_the_longest_key_of_a_limit_is_not_folded_on_80_columns() -> None:
    keys = {key for measures in MEASURES.values() for key in measures}
    assert max(map(len, keys)) <= text.LONGEST


@pytest.mark.parametrize(
    ("page_width", "found"), [(80, 36), (36, 36), (33, 33), (19, 19), (18, 18), (17, 17), (10, 17)]
)
def test_a_table_is_as_narrow_as_its_words_allow(page_width: int, found: int) -> None:
    """The longest names fold first, then the columns stand closer together, by one each."""
    rows = (("archive in flash_bus", "step, worse", 1), ("needle", "step", 2))
    columns = (blocks.Column("of"), blocks.Column("how"), blocks.Column("n", "count"))
    section = blocks.Section("Where", (blocks.Table(columns, rows),))
    page = io.StringIO()
    text.show(blocks.Document("r", (), ".", (), (section,)), page, page_width)
    assert max(map(len, page.getvalue().splitlines())) == found

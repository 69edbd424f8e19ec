"""The report as Markdown."""

from tests.report.example import empty_analysis, knitting
from tracelens.model.results import Finding
from tracelens.report import markdown
from tracelens.report.document import document


def test_the_whole_report(golden):
    golden("knitting.md", markdown.render(document(knitting())))


def test_every_row_of_a_table_has_as_many_cells_as_its_head():
    lines = markdown.render(document(knitting())).splitlines()
    tables, rows = [], []
    for line in [*lines, ""]:
        if line.startswith("| "):
            rows.append(line.replace(r"\|", "").count("|"))
        elif rows:
            tables.append(rows)
            rows = []
    assert len(tables) > 8
    assert all(len(set(rows)) == 1 for rows in tables)


def test_a_name_cannot_act_as_markdown_or_html():
    name = "a|b*c*<img src=x>`d`[e](f)_g_ &amp; \x1b"
    finding = Finding("error", name, name, None, "late", {})
    page = markdown.render(document(empty_analysis(findings=(finding,))))
    assert (
        r"a\|b\*c\*\<img src=x\>\`d\`\[e\](f)\_g\_ \&amp; \\x1b" in page
    )  # a backslash before ASCII punctuation makes it literal: CommonMark 0.31, section 2.4


def test_underscores_inside_names_stay_as_they_are():
    assert "needle_select" in markdown.render(document(knitting()))

"""What a reader takes away: a figure as a picture, and what it shows as a table.

The picture is made in the browser, of what is on the screen (`assets/takeaway.js`); the table is
sent by the server. Both are named for the run and the window that they show.
"""

import re
from typing import Any, Final

import polars as pl
from dash import dcc, html
from dash.development.base_component import Component

from tracelens.drawing.runs import Run
from tracelens.plain import plain
from tracelens.web import ids
from tracelens.web.components import aria
from tracelens.web.moves import View

PICTURES: Final = ("svg", "png")

_FORMULA: Final = re.compile(r"[=+\-@\t\r]")
"""How a cell begins that a spreadsheet would compute (OWASP, 'CSV Injection')."""


def buttons(what: str, graph: str) -> Component:
    """Buttons that save the figure `graph` and its table; `what` names both in words and files.

    The table is sent by a callback of the part: Input `ids.csv(what)`, Output
    `ids.csv_file(what)`, whose data is what `table` gives; `ids.csv_note(what)` says why not.
    """
    pictures = [_picture(what, graph, kind) for kind in PICTURES]
    listed = html.Button(
        "CSV", id=ids.csv(what), title=f"Save what the {what} shows as a table (CSV)"
    )
    note = html.Span(id=ids.csv_note(what), className="wrong", role="alert")
    return html.Span(
        [*pictures, listed, dcc.Download(id=ids.csv_file(what)), note],
        className="takeaway",
        role="group",
        **aria(f"Take away: {what}"),
    )


def _picture(what: str, graph: str, kind: str) -> Component:
    told: dict[str, Any] = {"data-picture": kind, "data-graph": graph, "data-what": what}
    title = f"Save the {what} as a picture ({kind.upper()})"
    return html.Button(kind.upper(), title=title, **told)


def table_button(what: str, label: str) -> Component:
    """A button that sends a table alone, by the same callback as that of `buttons`."""
    note = html.Span(id=ids.csv_note(what), className="wrong", role="alert")
    send = html.Button(label, id=ids.csv(what), title="Save the table with every row (CSV)")
    return html.Span([send, dcc.Download(id=ids.csv_file(what)), note], className="takeaway table")


def table(rows: pl.DataFrame, run: Run, what: str, view: View) -> dict[str, Any]:
    """A table on its way to the reader's disk: data of `dcc.Download`."""
    return sent(rows, file_name(run.name, what, view.start, view.end, "csv"))


def sent(rows: pl.DataFrame, file: str) -> dict[str, Any]:
    """A table as the file of that name, likewise."""
    return {
        "content": csv(rows),
        "filename": file,
        "type": "text/csv",
        "base64": False,
    }


def csv(rows: pl.DataFrame) -> str:
    """A table as CSV that no spreadsheet computes: RFC 4180, with a heading.

    Text that a spreadsheet would take for a formula begins with an apostrophe instead, and
    characters that act are written out.
    """
    texts = [name for name, kind in rows.schema.items() if kind in (pl.String, pl.Enum)]
    return rows.with_columns(_harmless(rows[name].cast(pl.String)) for name in texts).write_csv()


def file_name(run: str, what: str, start_ns: int, end_ns: int, kind: str) -> str:
    """'knitting-schedule-39126.8us-45239.2us.svg': safe on any file system."""
    stem = re.sub(r"\.[A-Za-z0-9]{1,5}$", "", run) or "run"
    times = (f"{ns / 1000!r}".removesuffix(".0") + "us" for ns in (start_ns, end_ns))
    return f"{safe_name(stem, what, *times)}.{kind}"


def safe_name(*parts: str) -> str:
    """A name for a file, without its kind: nothing in it that a file system takes for more."""
    return re.sub(r"[^A-Za-z0-9._-]+", "_", "-".join(parts))


def _harmless(cells: pl.Series) -> pl.Series:
    # Each different text is looked at once: a table has many rows, and a log few names.
    different = cells.unique().drop_nulls().to_list()
    shown = {cell: "'" * bool(_FORMULA.match(cell)) + plain(cell) for cell in different}
    changed = {cell: text for cell, text in shown.items() if cell != text}
    return cells.replace(changed) if changed else cells

"""A table of a panel as components: its heads sort, its numbers lead to their place in the log.

Heads and cells that act are buttons with `data-` attributes; `assets/panels.js` hears them all,
so that a table of many cells needs no callback for each. Only the first of them is a stop of the
Tab key: the arrow keys go on from there. A component for grids would cost the reader two megabytes
of script more, and its cells cannot be pressed by a key.
"""

from typing import Any, Final

from dash import html
from dash.development.base_component import Component

from tracelens.numbers import aligned
from tracelens.plain import plain
from tracelens.web.components import aria, data, in_words
from tracelens.web.panels.grid import Page
from tracelens.web.panels.panel import short

MOST_SAID: Final = 300
"""Characters of a name that are told on a closer look."""


def component(page: Page, label: str = "Table") -> Component:
    """The table, called `label` by a screen reader, and what it leaves out."""
    shown = page.table.shown()
    columns = list(zip(*shown.rows, strict=True)) or [()] * len(shown.heads)
    texts = [
        aligned(column) if numeric else [short(cell) for cell in column]
        for column, numeric in zip(columns, shown.numeric, strict=True)
    ]
    heads = [
        _head(page, name, head, unit, numeric)
        for name, head, unit, numeric in zip(
            page.grid.columns, shown.heads, shown.units, shown.numeric, strict=True
        )
    ]
    rows = [
        html.Tr(
            [
                _cell(page, name, text, row, at, numeric)
                for at, (name, text, numeric) in enumerate(
                    zip(page.grid.columns, cells, shown.numeric, strict=True)
                )
            ]
        )
        for row, cells in enumerate(zip(*texts, strict=True))
    ]
    note = " ".join(filter(None, (page.left_out, page.grid.note)))
    return html.Div(
        [
            html.Table([html.Thead(html.Tr(heads)), html.Tbody(rows)], **aria(label)),
            html.P(in_words(note), className="quiet") if note else None,
        ],
        className="scroll",
    )


def _head(page: Page, name: str, head: str, unit: str, numeric: bool) -> Component:
    order = page.order if page.order and page.order.column == name else None
    sign = "" if order is None else " ▾" if order.down else " ▴"
    sorted_by = "none" if order is None else "descending" if order.down else "ascending"
    return html.Th(
        html.Button(
            [head or "…", html.Span(f" {unit}", className="quiet") if unit else None, sign],
            **data(sort=name, down=str(numeric if order is None else not order.down).lower()),
        )
        if head
        else None,
        className="number" if numeric else None,
        scope="col",
        **_sorted(sorted_by),
    )


def _cell(page: Page, name: str, text: str, row: int, at: int, numeric: bool) -> Component:
    head = page.grid.columns[name]
    place = page.places[row][at]
    raw = page.table.rows[row][at]
    said = page.exact[row][at] or (plain(str(raw)[:MOST_SAID]) if _cut(raw) else None)
    look: dict[str, Any] = {"title": said} if said else {}
    share = float(raw) if head.bar and isinstance(raw, int | float) else None
    content: Any = text
    if place is not None:
        # The spaces that align a number are not part of what is pressed.
        pressed = html.Button(text.strip(), tabIndex=-1, **look, **data(place=place))
        content = [pressed, text[len(text.rstrip()) :]] if numeric else pressed
        look = {}
    if share is not None:
        bar = html.Span(className="bar-of-share", style={"--share": f"{100 * min(share, 1):.4g}%"})
        content = [bar, html.Span(content, className="of-share")]
    return html.Td(content, className="number" if numeric else None, **look)


def _sorted(how: str) -> dict[str, Any]:
    return {"aria-sort": how}


def _cut(raw: Any) -> bool:
    return isinstance(raw, str) and short(raw) != raw

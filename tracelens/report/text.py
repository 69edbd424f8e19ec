"""A document for a terminal, a pipe or a file: 80 columns are enough."""

from typing import Final, TextIO

from rich.box import Box
from rich.cells import cell_len
from rich.console import Console, RenderableType
from rich.table import Column as GridColumn
from rich.table import Table as Grid
from rich.text import Text

from tracelens import numbers
from tracelens.plain import plain
from tracelens.report import blocks

WIDEST: Final = 100
"""Lines of running text longer than this are hard to read; tables are as wide as they need."""

SIGNS: Final = {"error": "■", "warning": "▲", "note": "●"}
"""A shape for each severity: colour is never the only sign."""

# Okabe & Ito, 'Color Universal Design' (2008): vermillion, orange, sky blue.
COLOURS: Final = {"error": "#D55E00", "warning": "#E69F00", "note": "#56B4E9"}

LONGEST: Final = 26
"""A word longer than this may be folded where the page is too narrow; the longest key of a limit is
just as long."""

_TIE: Final = "\ufdd0"
"""Stands for a blank at which no line ends, while lines are broken: a noncharacter, which Unicode
keeps for such use (chapter 23.7), since what is broken here takes every blank for a place to
break."""

_RULE_UNDER_HEAD: Final = Box("    \n    \n ── \n    \n    \n    \n    \n    \n")

_ASCII: Final = str.maketrans(
    {"µ": "u", "–": "-", "−": "-", "→": ">", "·": ",", "×": "x", "…": "...", "─": "-"}
    | {"↑": "^", "↓": "v", "■": "!", "▲": "?", "●": "-", "≥": ">=", "≤": "<="}
)


def show(document: blocks.Document, file: TextIO, width: int | None = None) -> None:
    """Print the report to `file`: in colour on a terminal, as plain text elsewhere.

    `width` is in columns; by default the terminal's, or 80 where there is none.
    """
    console = Console(file=file, width=width, highlight=False, markup=False, emoji=False)
    with console.capture() as captured:
        for part, widest in _parts(document, console.width):
            console.print(part, width=min(widest or console.width, console.width), crop=False)
    drawn = captured.get().replace(_TIE, " ")
    text = "".join(f"{line.rstrip(' ')}\n" for line in drawn.splitlines())
    try:
        text.encode(file.encoding or "utf-8")
    except UnicodeEncodeError:
        text = text.translate(_ASCII).encode("ascii", "replace").decode()
    file.write(text)


def _parts(document: blocks.Document, width: int) -> list[tuple[RenderableType, int | None]]:
    """Each part of the page from top to bottom, with its greatest width (None: no limit)."""
    parts: list[tuple[RenderableType, int | None]] = [(_safe(document.title, "bold"), WIDEST)]
    parts += [(_safe(fact, "dim"), WIDEST) for fact in document.facts]
    parts += [(Text(), None), (_safe(document.verdict, "bold"), WIDEST)]
    if document.remarks:
        parts += [(Text(), None), (_remarks(document.remarks), WIDEST)]
    for section in document.sections:
        parts += [(Text(), None), (Text(), None), (_safe(section.title, "bold"), WIDEST)]
        for block in section.blocks:
            parts += [(Text(), None), *_block(block, width)]
    return parts


def _block(block: blocks.Block, width: int) -> list[tuple[RenderableType, int | None]]:
    if isinstance(block, blocks.Paragraph):
        return [(_safe(block.text), WIDEST)]
    if isinstance(block, blocks.Drawing):
        drawn = [Text(plain(line), no_wrap=True) for line in block.lines]
        return [(line, None) for line in drawn]
    if isinstance(block, blocks.Listing):
        return [(_hanging([("·", item) for item in block.items]), WIDEST)]
    if not block.note:
        return [(_table(block, width), None)]
    return [(_table(block, width), None), (Text(), None), (_safe(block.note, "dim"), WIDEST)]


def _remarks(remarks: tuple[blocks.Remark, ...]) -> Grid:
    grid = Grid.grid(padding=(0, 2, 0, 0))
    grid.add_column(no_wrap=True)
    grid.add_column(overflow="fold", ratio=1)
    grid.add_column(no_wrap=True, justify="right")
    for remark in remarks:
        sign = Text(SIGNS[remark.severity], COLOURS[remark.severity])
        grid.add_row(sign, _safe(remark.text), _safe(remark.at))
    return grid


def _hanging(items: list[tuple[str, str]]) -> Grid:
    grid = Grid.grid(padding=(0, 1, 0, 0))
    grid.add_column(no_wrap=True)
    grid.add_column(overflow="fold")
    for sign, item in items:
        grid.add_row(sign, _safe(item))
    return grid


def _table(table: blocks.Table, width: int) -> Grid:
    """A number is never cut or folded; a name folds where the page is too narrow.

    Where that is not enough the columns stand closer together.
    """
    shown = table.shown()
    columns = list(zip(*shown.rows, strict=True)) or [()] * len(shown.heads)
    cells = [
        tuple(map(_held, numbers.aligned(texts))) if numeric else texts
        for texts, numeric in zip(columns, shown.numeric, strict=True)
    ]
    heads = list(zip(shown.heads, shown.units, strict=True))
    ranges = [_widths(*each) for each in zip(heads, cells, shown.numeric, strict=True)]
    gaps = len(cells) - 1
    gap = 2 if sum(least for least, _ in ranges) + 2 * gaps <= width else 1
    grid = Grid(
        *(
            GridColumn(
                Text.assemble(_safe(head), "\n", (unit, "dim")) if unit else _safe(head),
                justify="right" if numeric else "left",
                overflow="fold",
                min_width=width_of,
                max_width=width_of,
            )
            for (head, unit), numeric, width_of in zip(
                heads, shown.numeric, _narrowed(ranges, width - gap * gaps), strict=True
            )
        ),
        box=_RULE_UNDER_HEAD,
        pad_edge=False,
        show_edge=False,
        padding=(0, gap - 1, 0, 0),
        header_style="",
    )
    for row in zip(*cells, strict=True):
        grid.add_row(*map(_safe, row))
    return grid


def _held(cell: str) -> str:
    """A cell whose blanks at the end stay, which keep decimal points under each other."""
    text = cell.rstrip(" ")
    return text + _TIE * (len(cell) - len(text))


def _widths(head: tuple[str, str], cells: tuple[str, ...], numeric: bool) -> tuple[int, int]:
    """The least and the most width that a column has use for."""
    texts = [_safe(text).plain for text in (*head, *cells)]
    most = max(map(cell_len, texts))
    if numeric:
        return max(map(cell_len, (*head[0].split(), *texts[1:]))), most
    words = [word for text in texts for word in text.split()]
    return min(max(map(cell_len, words), default=0), LONGEST), most


def _narrowed(ranges: list[tuple[int, int]], room: int) -> list[int]:
    """Widths that fit into `room` in all, if any do: the widest are narrowed first."""
    widths = [max(least, min(most, room)) for least, most in ranges]
    while sum(widths) > room:
        spare = [k for k, (least, _) in enumerate(ranges) if widths[k] > least]
        if not spare:
            break
        widths[max(spare, key=widths.__getitem__)] -= 1
    return widths


def _safe(text: str, style: str = "") -> Text:
    """Every string of a document passes here: nothing in it acts on the terminal.

    A number and its unit stay on one line.
    """
    return Text(numbers.tied(plain(text), _TIE), style)

"""The parts of a document as a template wants them: cells with their exact value beside them."""

from dataclasses import dataclass
from typing import Any

from tracelens import numbers
from tracelens.numbers import exact
from tracelens.report import blocks


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell. `value` is the raw one, None for text; `said` is it in full, for the pointer.

    `pad` are blanks that put the decimal points of a column under each other.
    """

    text: str
    value: int | float | None
    said: str
    pad: str


@dataclass(frozen=True, slots=True)
class Grid:
    """A table: heads as (text, unit, whether of numbers), rows of cells, and a note."""

    heads: tuple[tuple[str, str, bool], ...]
    rows: tuple[tuple[Cell, ...], ...]
    note: str


def grid(table: blocks.Table) -> Grid:
    """The table as a grid; text and units are those of every other face."""
    shown = table.shown()
    columns = [
        _column(column.kind, [row[i] for row in table.rows], [row[i] for row in shown.rows])
        for i, column in enumerate(table.columns)
    ]
    return Grid(
        heads=tuple(zip(shown.heads, shown.units, shown.numeric, strict=True)),
        rows=tuple(zip(*columns, strict=True)),
        note=table.note,
    )


def _column(kind: blocks.Kind, values: Any, texts: Any) -> list[Cell]:
    if kind in ("text", "flag"):
        return [Cell(text, None, "", "") for text in texts]
    padded = numbers.aligned(texts)
    return [
        Cell(text, value, _said(kind, value), _pad(len(wide) - len(text)))
        for text, value, wide in zip(texts, values, padded, strict=True)
    ]


def _said(kind: blocks.Kind, value: Any) -> str:
    if value is None or kind in ("count", "bytes"):
        return ""
    return exact(value) if kind in ("time", "exact", "moment") else f"{100 * value:.6g} %"


def _pad(missing: int) -> str:
    """Blanks as wide as a point and digits are: PUNCTUATION SPACE, then FIGURE SPACE."""
    return "\u2008" + "\u2007" * (missing - 1) if missing else ""


def view(block: blocks.Block) -> dict[str, Any]:
    """A block as its kind and what it holds."""
    match block:
        case blocks.Table():
            return {"kind": "table", "grid": grid(block)}
        case blocks.Paragraph():
            return {"kind": "paragraph", "text": block.text}
        case blocks.Listing():
            return {"kind": "listing", "items": block.items}
        case blocks.Drawing():
            return {"kind": "drawing", "lines": block.lines}

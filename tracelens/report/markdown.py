"""A document as Markdown with tables, for a review or a job's summary."""

import re
from typing import Final

from tracelens.plain import plain
from tracelens.report import blocks

_BADGES: Final = {"error": "■ **error**", "warning": "▲ warning", "note": "● note"}

# What CommonMark 0.31 gives a meaning to. An underscore between letters or digits is no emphasis
# (section 6.2); a number is a list item only before '. ' or ') ' at the start (section 5.2).
_ACTS: Final = re.compile(r"[\\`*\[\]<>|&~]|(?<![^\W_])_|_(?![^\W_])|^[#+-]")
_ITEM_NUMBER: Final = re.compile(r"^(\d{1,9})([.)])(?=\s|$)")


def render(document: blocks.Document) -> str:
    """The document as Markdown text, ending in a line feed."""
    lines = [f"# {_safe(document.title)}", ""]
    lines += [f"{_safe(fact)}  " for fact in document.facts]
    lines += ["", f"**{_safe(document.verdict)}**", ""]
    lines += [_remark(remark) for remark in document.remarks]
    for section in document.sections:
        lines += ["", f"## {_safe(section.title)}"]
        for block in section.blocks:
            lines += ["", *_block(block)]
    return "\n".join(lines) + "\n"


def _remark(remark: blocks.Remark) -> str:
    at = f" (at {_safe(remark.at)})" if remark.at else ""
    return f"- {_BADGES[remark.severity]}: {_safe(remark.text)}{at}"


def _block(block: blocks.Block) -> list[str]:
    if isinstance(block, blocks.Paragraph):
        return [_safe(block.text)]
    if isinstance(block, blocks.Drawing):
        return ["```text", *map(plain, block.lines), "```"]
    if isinstance(block, blocks.Listing):
        return [f"- {_safe(item)}" for item in block.items]
    shown = block.shown()
    heads = [
        _safe(f"{head}, {unit}" if unit else head)
        for head, unit in zip(shown.heads, shown.units, strict=True)
    ]
    rule = ["--:" if numeric else ":--" for numeric in shown.numeric]
    rows = [_row(heads), _row(rule), *(_row([_safe(cell) for cell in row]) for row in shown.rows)]
    return [*rows, "", _safe(block.note)] if block.note else rows


def _row(cells: list[str]) -> str:
    return f"| {' | '.join(cells)} |"


def _safe(text: str) -> str:
    """Every string of a document passes here: nothing in it acts as Markdown or HTML."""
    return _ITEM_NUMBER.sub(r"\1\\\2", _ACTS.sub(r"\\\g<0>", plain(text)))

"""Elements of SVG as text: attributes and words escaped, numbers as short as the eye needs."""

import html
import math
import re
from collections.abc import Mapping
from typing import Final

from tracelens.plain import plain

_TAG: Final = re.compile(r"</?b>")


def element(name: str, attributes: Mapping[str, object], *content: str) -> str:
    """An element; an attribute that is None is left out. `content` is markup already."""
    told = "".join(
        f' {key}="{_value(value)}"' for key, value in attributes.items() if value is not None
    )
    inside = "".join(content)
    return f"<{name}{told}>{inside}</{name}>" if inside else f"<{name}{told}/>"


def number(value: float) -> str:
    """A coordinate to a tenth of a pixel: '12.5', '12'."""
    text = f"{value:.1f}"
    return text[:-2] if text.endswith(".0") else text


def words(text: str) -> str:
    """The words of a figure, which are inert HTML with <b> and <br>, as markup of plain text."""
    lines = _TAG.sub("", text).split("<br>")
    return escaped("\n".join(plain(html.unescape(line)) for line in lines))


def title(said: str) -> list[str]:
    """What the pointer is told, as content of an element; nothing for nothing."""
    return [f"<title>{words(said)}</title>"] if said else []


def escaped(text: str) -> str:
    """Text with no character that has a meaning in markup."""
    return html.escape(text, quote=True)


def _value(value: object) -> str:
    if isinstance(value, float):
        assert math.isfinite(value)
        return number(value)
    return escaped(str(value))

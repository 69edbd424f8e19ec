"""Small components that several parts of the page share."""

from collections.abc import Iterable
from typing import Any, Final

from dash import html
from dash.development.base_component import Component

from tracelens.drawing.key import SIGNS, STATES
from tracelens.drawing.palette import LIGHT
from tracelens.numbers import tied
from tracelens.plain import plain

FIGURE: Final[Any] = {"displayModeBar": False, "scrollZoom": False, "doubleClick": False}
"""Configuration of a figure that stands still."""

MOVABLE: Final[Any] = {**FIGURE, "scrollZoom": True}
"""Configuration of a figure that the wheel zooms."""

UNSPOKEN: Final[dict[str, Any]] = {"aria-hidden": "true"}
"""For what only repeats in a picture what words say elsewhere."""

BLANK: Final[dict[str, Any]] = {
    "data": [],
    "layout": {
        "xaxis": {"visible": False},
        "yaxis": {"visible": False},
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
    },
}
"""What stands behind the sentence of an empty panel."""


def aria(label: str) -> dict[str, Any]:
    """What a screen reader calls a part of the page."""
    return {"aria-label": label}


def data(**entries: str) -> dict[str, Any]:
    """Attributes `data-…` of an element, for a script of the page to read."""
    return {f"data-{name}": value for name, value in entries.items()}


def sentence(text: str) -> str:
    """Running text, whatever is in it: harmless, and with each number beside its unit."""
    return tied(plain(text))


def in_words(text: str) -> list[Any]:
    """A sentence whose `quoted` words are of the log's format, commands or values."""
    parts = tied(text).split("`")
    return [html.Code(part) if i % 2 else part for i, part in enumerate(parts) if part]


def swatch(state: str) -> Component:
    """The colour and hatch of a state."""
    hatched = " hatched" if LIGHT.states[state].hatch else ""
    return html.Span(
        className=f"swatch{hatched}",
        style={"--fill": f"var(--{state}-fill)", "--edge": f"var(--{state}-edge)"},
        **UNSPOKEN,
    )


def key(states: Iterable[tuple[str, str]] = STATES) -> list[Component]:
    """What the blocks of a schedule mean, `states` as `drawing.key` has them, and its signs."""
    return [
        *(html.Span([swatch(state), label], className="item") for state, label in states),
        *(html.Span([html.B(sign), f" {label}"], className="item") for sign, label in SIGNS),
    ]

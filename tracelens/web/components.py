"""Small components that several parts of the page share."""

from typing import Any, Final

from dash import html
from dash.development.base_component import Component

from tracelens.drawing.palette import LIGHT

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


def swatch(state: str) -> Component:
    """The colour and hatch of a state."""
    hatched = " hatched" if LIGHT.states[state].hatch else ""
    return html.Span(
        className=f"swatch{hatched}",
        style={"--fill": f"var(--{state}-fill)", "--edge": f"var(--{state}-edge)"},
        **UNSPOKEN,
    )

"""The size of each figure as the browser measured it, and the colours that the reader prefers."""

from typing import Any

from tracelens.drawing.sheet import Sheet

Screen = dict[str, Any] | None
"""As the page stores it: `sizes`, graph id → [width, height] in pixels; `scheme`."""


def sheet_of(screen: Screen, graph: str) -> Sheet | None:
    """The size of one graph as the browser measured it; None before it has."""
    if not screen or graph not in screen["sizes"]:
        return None
    width, height = screen["sizes"][graph]
    # A page that reports an absurd size must not make the server paint it.
    return Sheet(
        min(max(int(width), 100), 8000),
        min(max(int(height), 40), 4000),
        "dark" if screen["scheme"] == "dark" else "light",
    )

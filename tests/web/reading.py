"""Reading components as a person would: their text, and what their buttons lead to."""

from collections.abc import Iterator
from typing import Any

from dash.development.base_component import Component


def text(part: Any) -> str:
    """All words of a component and its children."""
    if isinstance(part, Component):
        return text(getattr(part, "children", None))
    if isinstance(part, list | tuple):
        return " ".join(filter(None, map(text, part)))
    return "" if part is None else str(part)


def every(part: Any, kind: str) -> Iterator[Component]:
    """The components of one type, such as 'Button', in order."""
    if isinstance(part, list | tuple):
        for child in part:
            yield from every(child, kind)
    elif isinstance(part, Component):
        if type(part).__name__ == kind:
            yield part
        yield from every(getattr(part, "children", None), kind)


def places(part: Any) -> list[str]:
    """Where the buttons lead, in order."""
    found = (button.to_plotly_json()["props"] for button in every(part, "Button"))
    return [props["data-place"] for props in found if "data-place" in props]

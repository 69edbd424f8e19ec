"""A figure of this package, a plotly figure as a dict, as one SVG element.

Only what the package's figures are made of is understood, and anything else is refused: a picture
that lacks a part would say something else than the page does.
"""

from typing import Any, Final

from tracelens.drawing.svg.axes import MIDDLE, Frame, grid, labels, stroke, text
from tracelens.drawing.svg.elements import element, number
from tracelens.drawing.svg.traces import drawn
from tracelens.plain import plain

ASCENT: Final = 0.95
DESCENT: Final = 0.3
"""How far letters reach above and below the baseline, in font sizes."""

_ANCHORS: Final = {"left": "start", "center": "middle", "right": "end"}


def svg(figure: dict[str, Any], width: int, height: int, label: str) -> str:
    """The figure `width` × `height` pixels large, as an element to stand in an HTML page.

    `label` is what a screen reader says. Colours are taken as they are: of the palette `CSS` they
    are custom properties, which the page's stylesheet gives (see `palette.stylesheet`).
    Raises `ValueError` for a trace, a symbol or a shape that it does not know.
    """
    layout = figure["layout"]
    frame = Frame.of(layout, width, height)
    inside: list[str] = []
    outside: list[str] = []
    for trace in figure["data"]:
        where = outside if trace.get("cliponaxis") is False else inside
        where += drawn(trace, frame)
    shapes = layout.get("shapes", ())
    # A nested element clips what sticks out; its own coordinates are those of the whole.
    area = (frame.left, frame.top, frame.width, frame.height)
    clip: dict[str, object] = dict(zip(("x", "y", "width", "height"), area, strict=True))
    plot = element(
        "svg",
        clip | {"viewBox": " ".join(map(number, area))},
        *(_shape(shape, frame) for shape in shapes if shape.get("layer") == "below"),
        *(part for image in layout.get("images", ()) for part in _image(image, frame)),
        *inside,
        *(_shape(shape, frame) for shape in shapes if shape.get("layer") != "below"),
    )
    sheet = {
        "viewBox": f"0 0 {width} {height}",
        "role": "img",
        "aria-label": plain(label),
        "font-size": frame.font_px,
    }
    return element(
        "svg",
        sheet,
        *grid(frame),
        plot,
        *outside,
        *labels(frame),
        *(_annotation(note, frame) for note in layout.get("annotations", ())),
    )


def _image(image: dict[str, Any], frame: Frame) -> list[str]:
    """A picture; of one that differs by colour scheme both, for the stylesheet to choose from."""
    x, y = frame.axes["x"], frame.axes["y"]
    place: dict[str, object] = {
        "x": x.at(image["x"]),
        "y": y.at(image["y"]),
        "width": x.length(image["sizex"]),
        "height": y.length(image["sizey"]),
        "preserveAspectRatio": "none",
    }
    if "dark" not in image:
        return [element("image", place | {"href": image["source"]})]
    return [
        element("image", place | {"href": image["source"], "class": "when-light"}),
        element("image", place | {"href": image["dark"], "class": "when-dark"}),
    ]


def _shape(shape: dict[str, Any], frame: Frame) -> str:
    x0, x1 = (frame.x(shape[at], shape.get("xref", "x")) for at in ("x0", "x1"))
    y0, y1 = (frame.y(shape[at], shape.get("yref", "y")) for at in ("y0", "y1"))
    if shape["type"] == "line":
        return element("line", {"x1": x0, "x2": x1, "y1": y0, "y2": y1} | stroke(shape["line"]))
    if shape["type"] == "rect":
        place = {"x": min(x0, x1), "y": min(y0, y1), "width": abs(x1 - x0), "height": abs(y1 - y0)}
        fill = {"fill": shape.get("fillcolor", "none"), "opacity": str(shape.get("opacity", 1))}
        return element("rect", place | fill | stroke(shape["line"]))
    raise ValueError(f"unknown shape: {shape['type']}")


def _annotation(note: dict[str, Any], frame: Frame) -> str:
    size = float(note["font"]["size"])
    x = frame.x(note["x"], note["xref"]) + note.get("xshift", 0)
    y = frame.y(note["y"], note["yref"]) - note.get("yshift", 0)
    anchor = note.get("yanchor") or ("middle" if note["yref"] == "y" else _by_place(note["y"]))
    baseline = {"top": ASCENT, "middle": MIDDLE, "bottom": -DESCENT}[anchor]
    colour = note["font"]["color"]
    return text(note["text"], x, y + baseline * size, _ANCHORS[note["xanchor"]], colour, size)


def _by_place(fraction: float) -> str:
    """Plotly's rule for words that are not anchored: by the third of the area that they are in."""
    return "bottom" if fraction < 1 / 3 else "top" if fraction > 2 / 3 else "middle"

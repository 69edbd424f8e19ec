"""The traces of a figure as SVG: bars, lines, points and words."""

from collections import defaultdict
from typing import Any, Final

import numpy as np

from tracelens.drawing.svg.axes import MIDDLE, Axis, Frame, stroke, text
from tracelens.drawing.svg.elements import element, number, title
from tracelens.drawing.svg.marks import FILLED, STROKED, THICK_PX
from tracelens.drawing.svg.values import Numbers, each, filled, numbers

Trace = dict[str, Any]

CLEAR: Final = "rgba(0,0,0,0)"

MOST_TOLD: Final = 300
"""Points of one trace beyond which the pointer is told nothing about each."""

OUTLINED_PX: Final = 3
"""A filled bar narrower than this has no outline, which would be all of it; and it is as narrow as
it is. Only a bar that is all fill, or all outline, is never too narrow to be seen."""


def drawn(trace: Trace, frame: Frame) -> list[str]:
    """One trace. What only a pointer could find (a line of no width) is left out.

    Raises `ValueError` for a kind of trace that no figure of this package has.
    """
    axis = frame.axes[trace.get("xaxis", "x")]
    if trace.get("fill", "none") == "toself":
        return _area(trace, axis, frame)
    if trace.get("fill", "none") != "none":
        raise ValueError(f"unknown kind of fill: {trace['fill']}")
    kind = (trace["type"], trace.get("mode"))
    if kind == ("bar", None) and trace["orientation"] == "h":
        return _bars(trace, axis, frame)
    if kind == ("scatter", "lines"):
        return _line(trace, axis, frame) if trace["line"]["width"] else []
    if kind == ("scatter", "markers"):
        return _points(trace, axis, frame)
    if kind == ("scatter", "text"):
        return _texts(trace, axis, frame)
    raise ValueError(f"unknown kind of trace: {kind}")


# ------------------------------------------------------------------------------------------ bars


def _bars(trace: Trace, axis: Axis, frame: Frame) -> list[str]:
    length, middle = numbers(trace["x"]), numbers(trace["y"])
    base, thick = (np.broadcast_to(numbers(trace[of]), len(length)) for of in ("base", "width"))
    begin, end = axis.all_at(base), axis.all_at(base + length)
    # What lies far outside the window is cut: a renderer's numbers are short.
    begin, end = (np.clip(at, axis.first - 4, axis.last + 4) for at in (begin, end))
    marker, line = trace["marker"], trace["marker"]["line"]
    pattern, clear = marker.get("pattern", {}), marker["color"] == CLEAR
    filled_and_outlined = bool(line["width"]) and not clear
    made = []
    for i, said in enumerate(each(trace.get("hovertext", ""), len(base))):
        width, height = float(end[i] - begin[i]), frame.axes["y"].length(thick[i])
        edge = "none" if filled_and_outlined and width < OUTLINED_PX else None
        place = {
            "x": float(begin[i]),
            "y": frame.axes["y"].at(middle[i]) - height / 2,
            "width": width if filled_and_outlined else max(width, 1.0),
            "height": height,
        }
        if pattern.get("shape"):
            # A hatch is clear between its strokes: the fill lies under it.
            made.append(element("rect", place | {"fill": marker["color"], "stroke": "none"}))
        made.append(element("rect", place | {"stroke": edge}, *title(said)))
    fill = f"url(#{_hatch_id(pattern)})" if pattern.get("shape") else marker["color"]
    look = {
        "fill": "none" if clear else fill,
        "pointer-events": "all" if clear else None,
        "stroke": line["color"] if line["width"] else None,
        "stroke-width": line["width"] or None,
    }
    return [*_hatch(pattern), element("g", look, *made)]


def _hatch_id(pattern: dict[str, Any]) -> str:
    """Made of what the hatch looks like: the same name always means the same hatch."""
    shape = "-".join(str(ord(character)) for character in pattern["shape"])
    colour = "".join(filter(str.isalnum, pattern["fgcolor"]))
    return f"hatch-{shape}-{colour}-{pattern['size']}-{round(100 * pattern['solidity'])}"


def _hatch(pattern: dict[str, Any]) -> list[str]:
    """A fill pattern by plotly's name of its shape; nothing for no hatch."""
    if not pattern.get("shape"):
        return []
    size = pattern["size"]
    thick = max(1.0, size * pattern["solidity"])
    half = size / 2
    shapes = {
        "/": [f"M-1 {size + 1}L{size + 1} -1", f"M-1 1L1 -1M{size - 1} {size + 1}l2 -2"],
        "\\": [f"M-1 -1L{size + 1} {size + 1}", f"M{size - 1} -1l2 2M-1 {size - 1}l2 2"],
        "x": [f"M0 0L{size} {size}", f"M0 {size}L{size} 0"],
        "|": [f"M{half} 0V{size}"],
        "-": [f"M0 {half}H{size}"],
        "+": [f"M{half} 0V{size}", f"M0 {half}H{size}"],
        ".": [f"M{half} {half}h0"],
    }
    if pattern["shape"] not in shapes:
        raise ValueError(f"unknown hatch: {pattern['shape']}")
    look = {
        "d": "".join(shapes[pattern["shape"]]),
        "stroke": pattern["fgcolor"],
        "stroke-opacity": str(pattern["fgopacity"]),
        "stroke-width": thick,
        "stroke-linecap": "round" if pattern["shape"] == "." else None,
        "fill": "none",
    }
    tile = {
        "id": _hatch_id(pattern),
        "width": size,
        "height": size,
        "patternUnits": "userSpaceOnUse",
    }
    return [element("pattern", tile, element("path", look))]


# ------------------------------------------------------------------------------------------ lines


def _line(trace: Trace, axis: Axis, frame: Frame) -> list[str]:
    up = frame.axes[trace.get("yaxis", "y")]
    x, y = axis.all_at(numbers(trace["x"])), up.all_at(numbers(trace["y"]))
    line = trace["line"]
    joined = {"linear": "L", "hv": "hv", "vh": "vh"}[line.get("shape", "linear")]
    return [element("path", {"d": _path(x, y, joined), "fill": "none"} | stroke(line))]


def _area(trace: Trace, axis: Axis, frame: Frame) -> list[str]:
    """What a closed line without width encloses."""
    up = frame.axes[trace.get("yaxis", "y")]
    x, y = axis.all_at(numbers(trace["x"])), up.all_at(numbers(trace["y"]))
    return [element("path", {"d": f"{_path(x, y, 'L')}Z", "fill": trace["fillcolor"]})]


def _path(x: Numbers, y: Numbers, joined: str) -> str:
    """Points joined straight, or in steps; a gap where one is not a number."""
    steps = []
    pen_down = False
    for right, down in zip(x, y, strict=True):
        if not (np.isfinite(right) and np.isfinite(down)):
            pen_down = False
            continue
        if not pen_down or joined == "L":
            steps.append(f"{'L' if pen_down else 'M'}{number(right)} {number(down)}")
        elif joined == "hv":
            steps.append(f"H{number(right)}V{number(down)}")
        else:
            steps.append(f"V{number(down)}H{number(right)}")
        pen_down = True
    return "".join(steps)


# ------------------------------------------------------------------------------------------ points


def _points(trace: Trace, axis: Axis, frame: Frame) -> list[str]:
    raw_x, raw_y = numbers(trace["x"]), numbers(trace["y"])
    count = len(raw_x)
    marker = trace["marker"]
    line = marker.get("line", {})
    looks = zip(
        each(marker["symbol"], count),
        each(marker["color"] if "color" in marker else line["color"], count),
        each(line.get("color", marker.get("color")), count),
        each(line.get("width", 0), count),
        each(marker["size"], count),
        strict=True,
    )
    said = _told(trace, raw_x, raw_y)
    alike: dict[tuple[str, Any, Any, float], list[tuple[str, str]]] = defaultdict(list)
    at = zip(axis.all_at(raw_x), frame.axes["y"].all_at(raw_y), strict=True)
    for (symbol, fill, edge, width, size), (x, y), words in zip(looks, at, said, strict=True):
        signs = FILLED if symbol in FILLED else STROKED
        if symbol not in signs:
            raise ValueError(f"unknown symbol: {symbol}")
        alike[symbol, fill, edge, width].append((signs[symbol](x, y, size), words))
    opacity = marker.get("opacity", 1)
    return [
        element(
            "g",
            _look(*look) | {"opacity": None if opacity == 1 else str(opacity)},
            *_paths(paths),
        )
        for look, paths in alike.items()
    ]


def _look(symbol: str, fill: Any, edge: Any, width: float) -> dict[str, Any]:
    if symbol in FILLED:
        return {"fill": fill, "stroke": edge if width else None}
    thick = THICK_PX if symbol == "x" else width or 1
    return {"fill": "none", "stroke": edge, "stroke-width": thick}


def _paths(paths: list[tuple[str, str]]) -> list[str]:
    """Signs that say something each for itself, the others as one."""
    silent = "".join(path for path, words in paths if not words)
    made = [element("path", {"d": path}, *title(words)) for path, words in paths if words]
    return [*made, element("path", {"d": silent})] if silent else made


def _told(trace: Trace, x: Numbers, y: Numbers) -> list[str]:
    if "hovertext" in trace:
        return list(each(trace["hovertext"], len(x)))
    template = trace.get("hovertemplate", "")
    if not template or len(x) > MOST_TOLD:
        return [""] * len(x)
    texts = each(trace.get("text", ""), len(x))
    return [
        filled(template, {"x": float(x[i]), "y": float(y[i]), "text": texts[i]})
        for i in range(len(x))
    ]


def _texts(trace: Trace, axis: Axis, frame: Frame) -> list[str]:
    font = trace["textfont"]
    x, y = axis.all_at(numbers(trace["x"])), frame.axes["y"].all_at(numbers(trace["y"]))
    colours = each(font["color"], len(x))
    size = float(font["size"])
    return [
        text(said, float(x[i]), float(y[i]) + MIDDLE * size, "middle", colours[i], size)
        for i, said in enumerate(trace["text"])
    ]

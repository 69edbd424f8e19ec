"""Reading figures as a browser would: typed arrays back into numbers, blocks by their words."""

import base64
import json
from typing import Any

import numpy as np

_DTYPES = {"f8": np.float64, "f4": np.float32, "i4": np.int32, "u1": np.uint8}


def numbers(value: Any) -> np.ndarray:
    """A data array of a figure, packed or plain."""
    if not isinstance(value, dict):
        return np.array(value, np.float64)
    flat = np.frombuffer(base64.b64decode(value["bdata"]), _DTYPES[value["dtype"]])
    shape = value.get("shape")
    return flat.reshape([int(part) for part in shape.split(",")]) if shape else flat


def blocks(figure: dict[str, Any]) -> list[tuple[float, float, str]]:
    """(start ns, length ns, words) of every bar."""
    return [
        block
        for trace in figure["data"]
        if trace["type"] == "bar"
        for block in zip(
            numbers(trace["base"]), numbers(trace["x"]), trace["hovertext"], strict=True
        )
    ]


def said(figure: dict[str, Any], *parts: str) -> list[tuple[float, float]]:
    """(start, length) in ns of the bars whose words contain all `parts`."""
    return [
        (float(start), float(length))
        for start, length, words in blocks(figure)
        if all(part in words for part in parts)
    ]


def size(figure: dict[str, Any]) -> int:
    """Bytes of the figure on the wire."""
    return len(json.dumps(figure))

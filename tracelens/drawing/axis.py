"""Round ticks for an axis of time: one unit, steps of 1, 2 or 5, few digits.

Deep in a long run the full time of each tick would be all digits and no difference; the labels
then count from a round instant that the axis title names: '120, 121, 122' in 'ms after 8 s'.
"""

from dataclasses import dataclass
from typing import Final

from tracelens.units import NS_PER_MS, NS_PER_S, NS_PER_US

_UNITS: Final = ((NS_PER_S, "s"), (NS_PER_MS, "ms"), (NS_PER_US, "µs"), (1, "ns"))


@dataclass(frozen=True, slots=True)
class Ticks:
    """Where the ticks are (ns), what they say, and the axis title, which is the unit."""

    at: tuple[int, ...]
    labels: tuple[str, ...]
    title: str

    def layout(self) -> dict[str, object]:
        """As properties of a plotly axis."""
        return {"tickmode": "array", "tickvals": self.at, "ticktext": self.labels}


def round_step(least: float) -> int:
    """The smallest of 1, 2, 5, 10, 20, 50, … that is at least `least`."""
    power = 1
    while power * 10 <= least:
        power *= 10
    return next(power * lead for lead in (1, 2, 5, 10) if power * lead >= least)


def ticks(start_ns: int, end_ns: int, length_px: int, spacing_px: int = 90) -> Ticks:
    """Ticks for the window [start_ns, end_ns) drawn `length_px` long, about `spacing_px` apart.

    There are ticks for one window more on each side: a picture that is dragged keeps its scale
    until it is drawn anew.
    """
    width = end_ns - start_ns
    step = round_step(width / max(1, length_px // spacing_px))
    scale, unit = next((u for u in _UNITS if width >= u[0]), _UNITS[-1])
    at = tuple(range(max(0, start_ns - width) // step * step, end_ns + width + 1, step))
    origin = 0
    if scale != NS_PER_S and start_ns >= 1000 * scale:
        origin = start_ns // (1000 * scale) * (1000 * scale)
        unit = f"{unit} after {f'{origin / NS_PER_S:.6f}'.rstrip('0').rstrip('.')} s"
    decimals = max(0, len(str(scale)) - len(str(step)))
    labels = tuple(f"{(t - origin) / scale:.{decimals}f}".replace("-", "−") for t in at)
    return Ticks(at, labels, unit)

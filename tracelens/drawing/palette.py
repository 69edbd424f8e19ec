"""Colour by meaning, for both colour schemes.

The hues are those of Okabe and Ito, 'Color Universal Design' (2008), which stay apart under the
common forms of colour blindness. A `Paint` has a fill and an edge: the fill keeps the hue, the
edge (and a fill that is drawn without one) is darkened or lightened until it stands 3:1 against
the paper, which WCAG 2.2 (success criterion 1.4.11) asks of graphical objects. Text stands 4.5:1
(1.4.3). No meaning rests on colour alone: each state also has a height or a hatch.
"""

from dataclasses import dataclass
from typing import Final, Literal

Scheme = Literal["light", "dark", "css"]
"""'css' is neither: its colours are custom properties, and the reader's browser chooses."""


@dataclass(frozen=True, slots=True)
class Paint:
    """How one meaning is painted. `hatch` is plotly's name of a fill pattern, '' for none."""

    fill: str
    edge: str
    hatch: str = ""


@dataclass(frozen=True, slots=True)
class Palette:
    """Every colour of one scheme."""

    paper: str
    text: str
    quiet_text: str
    rule: str
    states: dict[str, Paint]

    def ink_on(self, state: str) -> str:
        """The colour of text on the fill of a state: black or white; one of them stands 4.5:1."""
        if self is CSS:
            return f"var(--{state}-ink)"
        fill = self.states[state].fill
        return max(("#000000", "#FFFFFF"), key=lambda ink: contrast(ink, fill))


LIGHT: Final = Palette(
    paper="#FFFFFF",
    text="#1B1F24",
    quiet_text="#5B6168",
    rule="#C8CDD3",
    states={
        "execution": Paint("#0072B2", "#0072B2"),
        "idle": Paint("#D3D9DF", "#767B82"),
        "ready": Paint("#D5EAF7", "#1F7FB8", "/"),
        "interference": Paint("#56B4E9", "#1F7FB8", "/"),
        "blocked": Paint("#E69F00", "#A87400"),
        "wanted": Paint("#FBEBC8", "#A87400"),
        "held": Paint("#DADFE4", "#5B6168"),
        "items": Paint("#A9B4BF", "#5B6168"),
        "most": Paint("#DADFE4", "#767B82"),
        "inversion": Paint("#D55E00", "#B04E00", "x"),
        "isr": Paint("#4D4D4D", "#4D4D4D"),
        "deferred": Paint("#F0E442", "#857C00", "\\"),
        "backlog": Paint("#CC79A7", "#B0588A", "|"),
        "suspended": Paint("#FFFFFF", "#767B82", "."),
        "asleep": Paint("#FFFFFF", "#767B82", "-"),
        "switching": Paint("#999999", "#767676"),
        "unranked": Paint("#FFFFFF", "#1F7FB8", "+"),
        "unknown": Paint("#ECEEF0", "#8A8A8A", "\\"),
        "met": Paint("#009E73", "#009E73"),
        "late": Paint("#D55E00", "#B04E00"),
    },
)

DARK: Final = Palette(
    paper="#14181D",
    text="#E8EBEE",
    quiet_text="#9AA3AD",
    rule="#3B434C",
    states={
        "execution": Paint("#3FA0E0", "#3FA0E0"),
        "idle": Paint("#3A424B", "#767B82"),
        "ready": Paint("#1C3A50", "#56B4E9", "/"),
        "interference": Paint("#2E7CAE", "#56B4E9", "/"),
        "blocked": Paint("#C98A00", "#E69F00"),
        "wanted": Paint("#43330C", "#E69F00"),
        "held": Paint("#39414A", "#9AA3AD"),
        "items": Paint("#6B7885", "#9AA3AD"),
        "most": Paint("#39414A", "#9AA3AD"),
        "inversion": Paint("#D55E00", "#F07C22", "x"),
        "isr": Paint("#C8CDD3", "#C8CDD3"),
        "deferred": Paint("#B3A91E", "#F0E442", "\\"),
        "backlog": Paint("#B0588A", "#CC79A7", "|"),
        "suspended": Paint("#14181D", "#9AA3AD", "."),
        "asleep": Paint("#14181D", "#9AA3AD", "-"),
        "switching": Paint("#767676", "#999999"),
        "unranked": Paint("#14181D", "#56B4E9", "+"),
        "unknown": Paint("#262C33", "#8A8A8A", "\\"),
        "met": Paint("#2DBE93", "#2DBE93"),
        "late": Paint("#F07C22", "#F07C22"),
    },
)

CSS: Final = Palette(
    paper="var(--paper)",
    text="var(--text)",
    quiet_text="var(--quiet)",
    rule="var(--rule)",
    states={
        state: Paint(f"var(--{state}-fill)", f"var(--{state}-edge)", paint.hatch)
        for state, paint in LIGHT.states.items()
    },
)
"""The properties that `stylesheet` defines, for a drawing that follows the reader's scheme."""

PALETTES: Final[dict[Scheme, Palette]] = {"light": LIGHT, "dark": DARK, "css": CSS}


def rgb(colour: str) -> tuple[int, int, int]:
    """'#RRGGBB' as three numbers from 0 to 255."""
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours, 1 to 21, as WCAG 2.2 defines it."""
    lighter, darker = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def _luminance(colour: str) -> float:
    """Relative luminance (WCAG 2.2, glossary; sRGB of IEC 61966-2-1)."""
    linear = [
        c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4
        for c in (part / 255 for part in rgb(colour))
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def stylesheet() -> str:
    """The palettes as custom properties of CSS, so that no page has a second list of colours.

    Dark if the reader prefers it; paper is always light.
    """
    return (
        f":root{{color-scheme:light dark;{_properties(LIGHT)}--dark-paper:{DARK.paper};}}"
        f"@media screen and (prefers-color-scheme:dark){{:root{{{_properties(DARK)}}}}}"
    )


def _properties(palette: Palette) -> str:
    whole = {
        "paper": palette.paper,
        "text": palette.text,
        "quiet": palette.quiet_text,
        "rule": palette.rule,
    }
    for state, paint in palette.states.items():
        whole[f"{state}-fill"], whole[f"{state}-edge"] = paint.fill, paint.edge
        whole[f"{state}-ink"] = palette.ink_on(state)
    return "".join(f"--{name}:{colour};" for name, colour in whole.items())

"""Colours that can be told from the paper: WCAG 2.2, success criteria 1.4.3 and 1.4.11."""

import pytest

from tracelens.drawing.palette import DARK, LIGHT, Palette, contrast, stylesheet

# Okabe and Ito, 'Color Universal Design' (2008), as hexadecimal: from memory
OKABE_ITO = {
    "execution": "#0072B2",
    "interference": "#56B4E9",
    "blocked": "#E69F00",
    "inversion": "#D55E00",
    "deferred": "#F0E442",
    "backlog": "#CC79A7",
    "met": "#009E73",
}


def test_contrast_is_that_of_the_standard() -> None:
    """WCAG 2.2, glossary: black on white is 21:1, a colour on itself 1:1."""
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21)
    assert contrast("#777777", "#777777") == 1
    assert contrast("#767676", "#FFFFFF") == pytest.approx(4.54, abs=0.005)  # common practice


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
def test_everything_stands_out_from_the_paper(palette: Palette) -> None:
    assert contrast(palette.text, palette.paper) >= 7
    assert contrast(palette.quiet_text, palette.paper) >= 4.5
    for state, paint in palette.states.items():
        assert contrast(paint.edge, palette.paper) >= 3, state
    for state in ("execution", "isr", "switching"):
        assert contrast(palette.states[state].fill, palette.paper) >= 2.8, state


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
def test_labels_can_be_read_on_what_they_stand_on(palette: Palette) -> None:
    assert contrast(palette.paper, palette.states["execution"].fill) >= 4.5
    assert contrast(palette.paper, palette.states["isr"].fill) >= 4.5
    for pale in ("wanted", "held", "idle", "ready"):
        assert contrast(palette.text, palette.states[pale].fill) >= 4.5, pale


def test_the_light_scheme_keeps_the_published_hues() -> None:
    assert {state: LIGHT.states[state].fill for state in OKABE_ITO} == OKABE_ITO


def test_both_schemes_know_the_same_states_and_hatches() -> None:
    assert LIGHT.states.keys() == DARK.states.keys()
    assert [p.hatch for p in LIGHT.states.values()] == [p.hatch for p in DARK.states.values()]


def test_the_style_sheet_has_every_colour_of_both() -> None:
    light, dark = stylesheet().split("@media screen and (prefers-color-scheme:dark)")
    assert "--late-edge:#B04E00;" in light
    assert "--late-edge:#F07C22;" in dark

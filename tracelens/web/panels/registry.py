"""Every panel, in the order of the tabs."""

from typing import Final

from tracelens.web.panels import (
    chains,
    inversions,
    load,
    locks,
    quality,
    queues,
    responses,
    sleep,
    stacks,
    values,
)
from tracelens.web.panels.panel import Panel

PANELS: Final[tuple[Panel, ...]] = (
    responses.PANEL,
    load.PANEL,
    inversions.PANEL,
    locks.PANEL,
    queues.PANEL,
    chains.PANEL,
    stacks.PANEL,
    sleep.PANEL,
    values.PANEL,
    quality.PANEL,
)

_BY_VALUE: Final = {panel.value: panel for panel in PANELS}


def panel_of(value: str | None) -> Panel:
    """The panel of that name; for a name that none has, the first."""
    return _BY_VALUE.get(value or "", PANELS[0])

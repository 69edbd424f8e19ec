"""Every component id of the room of a history."""

from typing import Final

ADDRESS: Final = "address"
STAMP: Final = "stamp"
CLOCK: Final = "clock"
SCREEN: Final = "screen"

MISSING: Final = "missing"
ROOM: Final = "looked-at"
VERDICT: Final = "verdict"
FILTERS: Final = "filters"
MEASURES: Final = "measures"
SAID: Final = "said"
OVER: Final = "over"
RESULTS: Final = "results"
FIGURE: Final = "course"
RUNS: Final = "runs"

"""Every component id of the classroom."""

from typing import Any, Final

ADDRESS: Final = "address"
SET: Final = "set"
SCREEN: Final = "screen"

ABOUT: Final = "about"
NOTE: Final = "note"
TABLE: Final = "table"
ADD: Final = "add"
TOML: Final = "toml"

POLICY: Final = "policy"
ORDER: Final = "order"
PREEMPTIVE: Final = "preemptive"
SLICE: Final = "slice"
CORES: Final = "cores"
UNTIL: Final = "until"
PROTOCOLS: Final = "protocols"
SETTINGS: Final = (POLICY, ORDER, PREEMPTIVE, SLICE, CORES, UNTIL, PROTOCOLS)
SETTINGS_WRONG: Final = "settings-wrong"
SLICE_BOX: Final = "slice-box"

RESULTS: Final = "results"


def cell(row: Any, column: Any) -> dict[str, Any]:
    """Id of one cell of the table."""
    return {"type": "cell", "row": row, "column": column}


def wrong(row: Any) -> dict[str, Any]:
    """Id of the line under a row that says what is wrong in it."""
    return {"type": "wrong", "row": row}


def remove(row: Any) -> dict[str, Any]:
    """Id of the button that takes a row away."""
    return {"type": "remove", "row": row}

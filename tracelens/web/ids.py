"""Every component id of the page."""

from typing import Any, Final

ADDRESS: Final = "address"
RUN: Final = "run"
VIEW: Final = "view"
CHOSEN: Final = "chosen"
MARKED: Final = "marked"
SCREEN: Final = "screen"
DRAWING: Final = "drawing"

HEADER: Final = "header"
ROOMS: Final = "rooms"
GONE: Final = "gone"
LIVE_BOX: Final = "live"
LIVE_CLOCK: Final = "live-clock"
LIVE_STAY: Final = "live-stay"
LIVE_NOTE: Final = "live-note"
FINDINGS: Final = "findings"
STRIP: Final = "strip"
SCHEDULE: Final = "schedule"
LANES_NOTE: Final = "lanes-note"

STEP_KIND: Final = "step-kind"
PREVIOUS: Final = "previous-place"
NEXT: Final = "next-place"
WHICH: Final = "which-place"
JUMP: Final = "jump"
JUMP_NOTE: Final = "jump-note"
WHOLE: Final = "whole"
MEASURE: Final = "measure"
MEASURED: Final = "measured"

LANES_SUMMARY: Final = "lanes-summary"
LANES_FIND: Final = "lanes-find"
LANES_KINDS: Final = "lanes-kinds"
LANES_FIRST: Final = "lanes-first"
LANES_ORDER: Final = "lanes-order"
LANES_FOLD: Final = "lanes-fold"

JOB_TITLE: Final = "job-title"
JOB_FIGURE: Final = "job-figure"
JOB_EMPTY: Final = "job-empty"
JOB_WORDS: Final = "job-words"

PANELS: Final = "panels"
PANEL_OF: Final = "panel-of"
OF_CHOOSER: Final = "of-chooser"
PANEL_WINDOWS: Final = "panel-windows"
WINDOWS_CHOOSER: Final = "windows-chooser"
PANEL_BODY: Final = "panel-body"
PANEL_FIGURE: Final = "panel-figure"
PANEL_EMPTY: Final = "panel-empty"
PANEL_TABLE: Final = "panel-table"
PANEL_PLACE: Final = "panel-place"
PANEL_ORDER: Final = "panel-order"
ENLARGE: Final = "enlarge"

REPORT: Final = "report"
REPORT_FILE: Final = "report-file"

FINDING: Final = "finding"


def finding(index: int) -> dict[str, str | int]:
    """Id of the finding numbered `index`, as the report ranks them."""
    return {"type": FINDING, "index": index}


def csv(what: Any) -> dict[str, Any]:
    """Id of the button that asks for a part's table."""
    return {"type": "csv", "what": what}


def csv_file(what: str) -> dict[str, str]:
    """Id of the download that brings a part's table."""
    return {"type": "csv-file", "what": what}


def csv_note(what: str) -> dict[str, str]:
    """Id of the words that say why a table is not sent."""
    return {"type": "csv-note", "what": what}

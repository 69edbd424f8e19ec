"""What the schedule's blocks and signs mean, for the key beneath it."""

from typing import Final

STATES: Final = (
    ("execution", "executes"),
    ("ready", "ready"),
    ("wanted", "waits for a lock"),
    ("held", "lock held"),
    ("isr", "interrupt"),
    ("switching", "switching"),
    ("idle", "idles"),
    ("items", "queued"),
    ("unknown", "not known"),
)
"""State of the palette, what it means."""

SIGNS: Final = (
    ("▲", "release"),
    ("▼", "deadline"),
    ("○", "complete"),
    ("✕", "late"),
    ("◆", "holder"),
)

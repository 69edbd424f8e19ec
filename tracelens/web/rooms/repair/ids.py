"""The component ids of the room 'try a repair' that 'two runs' does not have."""

from typing import Any, Final

ASKED: Final = "asked"
TICKET: Final = "ticket"
TICK: Final = "tick"
STEP: Final = "step"
PROBLEM: Final = "problem"

KIND: Final = "kind"
SUBJECT: Final = "subject"
SUBJECT_BOX: Final = "subject-box"
PROTOCOL: Final = "protocol"
PROTOCOL_BOX: Final = "protocol-box"
VALUE: Final = "value"
VALUE_BOX: Final = "value-box"
ADD: Final = "add"
CHANGES: Final = "changes"

ANSWER: Final = "answer"
BELIEVED: Final = "believed"
NUMBERS: Final = "numbers"


def remove(number: Any) -> dict[str, Any]:
    """The button that takes a change out."""
    return {"remove": number}

"""An answer that is a refusal: a status and a line."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Refused:
    """`problem` says what is wrong, without a full stop; `hint` what to do about it."""

    status: int
    problem: str
    hint: str = ""

"""An exercise in the address of the page: packed small, so that a link shows the same."""

import base64
import binascii
import zlib
from typing import Final

import msgspec

from tracelens.errors import UsageError
from tracelens.web.rooms.classroom.exercise import MOST_TASKS, Exercise

_LONGEST: Final = 30_000
_LONGEST_UNPACKED: Final = 60_000


def pack(exercise: Exercise) -> str:
    """The exercise as a word of letters, digits, - and _."""
    octets = zlib.compress(msgspec.json.encode(exercise), 9)
    return base64.urlsafe_b64encode(octets).decode().rstrip("=")


def unpack(word: str) -> Exercise:
    """The exercise that `pack` made the word from. Raises `UsageError` for any other word."""
    try:
        if len(word) > _LONGEST:
            raise ValueError
        octets = base64.b64decode(word + "=" * (-len(word) % 4), altchars=b"-_", validate=True)
        unpacker = zlib.decompressobj()
        text = unpacker.decompress(octets, _LONGEST_UNPACKED)
        if not unpacker.eof:
            raise ValueError
        exercise = msgspec.json.decode(text, type=Exercise)
    except (ValueError, binascii.Error, zlib.error, msgspec.DecodeError):
        raise UsageError(
            "the link to a task set is cut or damaged: found no set in it, expected one",
            hint="ask for the link again, or begin with an example",
        ) from None
    if len(exercise.rows) > MOST_TASKS:
        raise UsageError(
            f"too many tasks: found {len(exercise.rows)}, expected at most {MOST_TASKS}"
        )
    return exercise

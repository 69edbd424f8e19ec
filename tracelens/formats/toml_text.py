"""From a TOML file to plain tables, or one line that says why it is none.

The library reads any TOML, but takes a time that grows with the square of a key's dots, and calls
itself for each level of nesting; no file that a person writes has many of either.
"""

import re
import tomllib
from pathlib import Path
from typing import Any, Final

from tracelens.errors import SystemFileError
from tracelens.files import TooLongError, read_whole
from tracelens.formats.toml_lines import line_of_error

MOST: Final = 16 << 20
"""Bytes of a TOML file: a hundred thousand limits are a third of it."""

_MOST_DOTS: Final = 100
_LONG_KEY: Final = re.compile(rf"(?:[\w\"'-]++[ \t]*+\.[ \t]*+){{{_MOST_DOTS},}}")


def text_of(path: str | Path) -> str:
    """The text of a TOML file. Raises `SystemFileError`."""
    place = str(path)
    try:
        return read_whole(path, MOST).decode("utf-8")
    except FileNotFoundError:
        raise SystemFileError("no such file", place=place, hint="check the path") from None
    except IsADirectoryError:
        raise SystemFileError(
            "cannot be read: found a directory, expected a file", place=place
        ) from None
    except TooLongError:
        raise SystemFileError(
            f"the file is too long: found more than {MOST >> 20} MB, expected TOML of at most that",
            place=place,
        ) from None
    except UnicodeDecodeError:
        raise SystemFileError(
            "cannot be read: found no UTF-8 text, expected TOML", place=place
        ) from None
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise SystemFileError(f"cannot be read: {why}", place=place) from None


def tables_of(text: str, place: str) -> dict[str, Any]:
    """A TOML text as plain tables. Raises `SystemFileError` with the line of the mistake."""
    long_key = _LONG_KEY.search(text)
    if long_key:
        line = text.count("\n", 0, long_key.start()) + 1
        raise SystemFileError(
            f"a key of too many parts: found more than {_MOST_DOTS} dots, expected a few",
            place=f"{place}:{line}",
        )
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        what, found = line_of_error(error)
        where = place if found is None else f"{place}:{found}"
        raise SystemFileError(f"not TOML: {what}", place=where, hint=_mended(text, what)) from error
    except RecursionError:
        raise SystemFileError(
            "nested too deep: found arrays or tables in hundreds of others, expected a few",
            place=place,
        ) from None
    except ValueError as error:  # a number of thousands of digits
        raise SystemFileError(f"not TOML that can be read: {error}", place=place) from None


def _mended(text: str, what: str) -> str:
    """What to do about the usual mistakes."""
    if text.startswith("#tracelens "):
        return "this is an event log; here a TOML file is read"
    if what.startswith("Invalid value"):
        return 'a value is a number, true, false, or text in quotes: name = "text"'
    return "a line is key = value, or a [table]"

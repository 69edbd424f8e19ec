"""On which line of a TOML text each key stands, for messages that point at it."""

import re
import tomllib
from collections.abc import Iterator
from typing import Any, Final

Path = tuple[str, ...]

_PIECE: Final = re.compile(
    r'"""(?:\\.|[^\\])*?"""+' + r"|'''.*?'''+"  # strings of several lines
    r'|"(?:\\.|[^"\\\n])*"' + r"|'[^'\n]*'|#[^\n]*|[\[\]{}\n]",
    re.DOTALL,
)
"""What decides where a statement ends: strings and remarks, brackets, ends of lines."""


def lines_of(text: str) -> dict[Path, int]:
    """Path of keys → the 1-based line of the statement in which it first appears.

    `text` is valid TOML. A statement is a table's head, or a key with its value; it goes on over
    a line's end within a string of several lines or an array (TOML 1.0, sections 'String',
    'Array').

    >>> lines_of("[a]\\nb.c = [\\n1]\\n")
    {('a',): 1, ('a', 'b'): 2, ('a', 'b', 'c'): 2}
    """
    found: dict[Path, int] = {}
    table: Path = ()
    for first, text_of_it in _statements(text.replace("\r\n", "\n")):
        statement = tomllib.loads(text_of_it)
        if text_of_it.lstrip().startswith("["):
            table = _head(statement)
            for length in range(1, len(table) + 1):
                found.setdefault(table[:length], first)
        else:
            for path in _paths(statement):
                found.setdefault((*table, *path), first)
    return found


def _statements(text: str) -> Iterator[tuple[int, str]]:
    """Each statement with the number of its first line."""
    line, first, start, depth = 1, 1, 0, 0
    for piece in _PIECE.finditer(text):
        what = piece[0]
        if what in "[{":
            depth += 1
        elif what in "]}":
            depth -= 1
        line += what.count("\n")
        if what == "\n" and depth == 0:
            yield first, text[start : piece.start()]
            first, start = line, piece.end()
    yield first, text[start:]


def line_of_error(error: tomllib.TOMLDecodeError) -> tuple[str, int | None]:
    """What is wrong, and the line that the library's message ends with, if it tells one."""
    what, _, where = str(error).rpartition(" (at line ")
    line = where.partition(",")[0]
    return (what, int(line)) if what and line.isdigit() else (str(error), None)


def _head(statement: dict[str, Any]) -> Path:
    path: list[str] = []
    inner: Any = statement
    while inner:
        if isinstance(inner, list):  # [[an.array.of.tables]]
            inner = inner[-1]
            continue
        ((key, inner),) = inner.items()
        path.append(key)
    return tuple(path)


def _paths(statement: dict[str, Any]) -> list[Path]:
    found: list[Path] = []
    for key, value in statement.items():
        found.append((key,))
        if isinstance(value, dict):
            found += [(key, *path) for path in _paths(value)]
    return found

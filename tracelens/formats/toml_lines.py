"""On which line of a TOML text each key stands, for messages that point at it."""

import tomllib
from typing import Any

Path = tuple[str, ...]


def lines_of(text: str) -> dict[Path, int]:
    """Path of keys → the 1-based line of the statement in which it first appears.

    `text` is valid TOML. A statement is the least number of lines that parse by themselves: a
    table's head, or a key with its value, for every construct that goes over several lines is not
    valid before its end (TOML 1.0, sections 'String', 'Array').

    >>> lines_of("[a]\\nb.c = [\\n1]\\n")
    {('a',): 1, ('a', 'b'): 2, ('a', 'b', 'c'): 2}
    """
    found: dict[Path, int] = {}
    table: Path = ()
    held: list[str] = []
    for number, line in enumerate(text.replace("\r\n", "\n").split("\n"), 1):
        held.append(line)
        try:
            statement = tomllib.loads("\n".join(held))
        except tomllib.TOMLDecodeError:
            continue
        first = number - len(held) + 1
        if held[0].lstrip().startswith("["):
            table = _head(statement)
            for length in range(1, len(table) + 1):
                found.setdefault(table[:length], first)
        else:
            for path in _paths(statement):
                found.setdefault((*table, *path), first)
        held = []
    return found


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

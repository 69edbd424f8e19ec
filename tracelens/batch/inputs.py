"""Which logs are meant: files, directories and patterns, each log once, in order of name."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from os.path import commonpath
from pathlib import Path
from typing import Final

from tracelens.errors import InputError, UsageError
from tracelens.plain import file_name

SUFFIXES: Final = (".csv", ".csv.gz", ".csv.zst")
"""What a directory is searched for; a pattern or a file may have any name."""

_WILD: Final = frozenset("*?[")


@dataclass(frozen=True, slots=True)
class Input:
    """A log, and what it is called: its path below the directory that all logs have in common.

    `path` is as it was given, so that an error names it as the user does.
    """

    run: str
    path: Path


def find(patterns: Sequence[str], results: Path | None = None) -> list[Input]:
    """The logs that files, directories and patterns such as 'runs/**/*.csv' name.

    What lies in the directory `results`, where the tables of an earlier batch may be, is no log.
    Raises `InputError` for a file that is not there, `UsageError` for a directory or a pattern that
    names none, and for standard input.
    """
    given = [path for pattern in patterns for path in _named(pattern, results)]
    logs = {_place(path): path for path in reversed(given)}
    above = Path(commonpath([path.parent for path in logs]))
    return [
        Input(file_name(path.relative_to(above).as_posix()), logs[path]) for path in sorted(logs)
    ]


def _named(pattern: str, results: Path | None) -> list[Path]:
    if pattern == "-":
        raise UsageError(
            "many runs: found '-', expected files, directories or patterns",
            hint="`tracelens report -` reads one log from standard input",
        )
    found = list(_matches(pattern))
    if not found and not _WILD.intersection(pattern) and not Path(pattern).is_dir():
        raise InputError("no such file", place=file_name(pattern), hint="check the path")
    if results is not None:
        made = _place(results)
        found = [path for path in found if not _place(path).is_relative_to(made)]
    if not found:
        raise UsageError(
            f"no log is named by {pattern}: found no file, expected at least one",
            hint=f"a directory is searched for {', '.join(SUFFIXES)}"
            if Path(pattern).is_dir()
            else "put a pattern into quotes, with ** for directories below: 'runs/**/*.csv'",
        )
    return found


def _place(path: Path) -> Path:
    """The absolute path without '..', so that it says what lies in what.

    A link stays as it is called, unless the way back out of it has to be known.
    """
    return path.resolve() if ".." in path.parts else path.absolute()


def _matches(pattern: str) -> Iterator[Path]:
    path = Path(pattern)
    if path.is_dir():
        yield from (p for p in path.rglob("*") if p.name.endswith(SUFFIXES) and p.is_file())
    elif path.exists():
        yield path
    else:
        below = Path(path.anchor).glob(str(path.relative_to(path.anchor)))
        yield from (p for p in below if p.is_file())

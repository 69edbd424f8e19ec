"""Arguments that stand for runs: a log each, or a directory of logs."""

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Final

from tracelens.cli.output import STDOUT
from tracelens.errors import InputError, UsageError

SUFFIXES: Final = (".csv", ".csv.gz", ".csv.zst")
"""Of the files in a directory, those that end so are logs."""


def runs_of(paths: Iterable[str]) -> list[str]:
    """The logs that the paths stand for: of a directory those in it, in order of their names.

    Raises `InputError` for a directory without logs, `UsageError` for a log that is named twice.
    """
    found: list[str] = []
    for path in paths:
        found += _in_directory(Path(path)) if path != STDOUT and Path(path).is_dir() else [path]
    seen: set[str] = set()
    for path in found:
        real = path if path == STDOUT else str(Path(path).resolve())
        if real in seen:
            raise UsageError(
                "named twice: found the same log again, expected each run once", place=path
            )
        seen.add(real)
    return found


def short_names(paths: Sequence[str]) -> list[str]:
    """The names without their directories, if that tells them apart; else as they are."""
    names = [Path(path).name for path in paths]
    return names if len(set(names)) == len(names) else list(paths)


def _in_directory(folder: Path) -> list[str]:
    try:
        logs = sorted(
            str(file)
            for file in folder.iterdir()
            if file.name.endswith(SUFFIXES) and not file.name.startswith(".")
        )
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror}", place=str(folder)) from error
    if not logs:
        raise InputError(
            f"no logs in this directory: found no file that ends in {', '.join(SUFFIXES)}",
            place=str(folder),
        )
    return logs

"""Where results go: a file, or standard output for `-`."""

import gzip
import sys
from collections.abc import Iterable
from io import BytesIO
from pathlib import Path

import click

from tracelens.errors import UsageError, unwritable
from tracelens.plain import plain

STDOUT = "-"


def write(target: str, chunks: Iterable[bytes]) -> None:
    """Write `chunks` to the file `target`, or to standard output if it is `-`.

    Raises `UsageError` if the file cannot be written, or is what the command reads.
    """
    spare_inputs(target)
    if target == STDOUT:
        sys.stdout.flush()
        for chunk in chunks:
            sys.stdout.buffer.write(chunk)
        sys.stdout.buffer.flush()
        return
    try:
        with Path(target).open("wb") as file:
            file.writelines(chunks)
    except OSError as error:
        raise unwritable(target, error) from error


def spare_inputs(target: str) -> None:
    """Raises `UsageError` if `target` is a file that the running command was given to read.

    A log may be all that is left of a run, so a slip of the hand must not cost it. One option
    names the target itself, unless the target lies in a directory that was named; any further
    argument or option that names the same file is an input.
    """
    context = click.get_current_context(silent=True)
    if context is None or not _is_file(target):
        return
    given = context.params.values()
    names = [one for value in given for one in (value if isinstance(value, tuple) else (value,))]
    same = [name for name in names if _is_file(name) and Path(name).samefile(target)]
    if len(same) > (target in same):
        raise UsageError(
            "would be written over: found the name of an input, expected another",
            place=target,
            hint="name another file",
        )


def _is_file(name: object) -> bool:
    try:
        return isinstance(name, str) and Path(name).is_file()
    except OSError:  # a pattern, say, that is too long for a name
        return False


def complain(problem: str, hint: str | None) -> None:
    """One line on standard error, safe for a terminal whatever the input held, then the hint."""
    click.echo(f"tracelens: {plain(problem)}", err=True)
    if hint:
        click.echo(f"Hint: {plain(hint)}", err=True)


def packed(target: str, data: bytes) -> bytes:
    """Compressed as the name says, without a time stamp: the same run gives the same file."""
    if target.endswith(".gz"):
        made = BytesIO()
        # Not `gzip.compress`: what it writes of the system depends on the release of Python.
        with gzip.GzipFile(filename="", mode="wb", fileobj=made, mtime=0) as file:
            file.write(data)
        return made.getvalue()
    if target.endswith(".zst"):
        import zstandard

        return zstandard.compress(data)
    return data


def only_one_on_stdout(*targets: str | None) -> bool:
    """Whether any target is standard output; two of them would be mixed up.

    Raises `UsageError` for two.
    """
    count = sum(target == STDOUT for target in targets)
    if count > 1:
        raise UsageError(
            f"standard output takes one document: found {count} options with '-', expected one",
            hint="give a file name to the others",
        )
    return count == 1

"""What is under way, on a terminal; nothing in a pipe."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

Say = Callable[[str], None]
"""Told what begins now, in a few words: 'reading the log'."""


@contextmanager
def progress() -> Iterator[Say]:
    """A spinner on standard error with what is under way; it leaves no trace when done."""
    if not sys.stderr.isatty():
        yield lambda _what: None
        return
    from rich.console import Console

    with Console(stderr=True).status("") as status:
        yield lambda what: status.update(f"{what} …")


@contextmanager
def counted(what: str, total: int) -> Iterator[Say]:
    """A bar on standard error that counts to `total`; told what is done, it counts one more."""
    if not sys.stderr.isatty():
        yield lambda _what: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn
    from rich.progress import TimeRemainingColumn as Remaining

    console = Console(stderr=True, markup=False)
    columns = (TextColumn(what), BarColumn(), MofNCompleteColumn(), Remaining())
    with Progress(*columns, console=console, transient=True) as bar:
        task = bar.add_task(what, total=total)
        yield lambda _what: bar.advance(task)

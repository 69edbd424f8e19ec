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

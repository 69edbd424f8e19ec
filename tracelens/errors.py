"""Everything that can go wrong, as one tree.

TraceLensError            anything the user can do something about; has an exit status
├── UsageError            the request makes no sense                         (2)
├── InputError            the input cannot be read at all                    (3)
│   ├── LogError          a log, or one line of it under --strict
│   └── SystemFileError   a system, budget or task-set file
└── DamageError           read, but too damaged for a verdict                (4)

A message is one line, `file:line: what is wrong: found …, expected …`; the hint stands apart.
"""

from typing import ClassVar


class TraceLensError(Exception):
    """Base of all errors meant for the user. `place` is 'file' or 'file:line'."""

    status: ClassVar[int] = 3

    def __init__(self, problem: str, *, place: str | None = None, hint: str | None = None) -> None:
        self.problem = problem
        self.place = place
        self.hint = hint
        super().__init__(f"{place}: {problem}" if place else problem)


class UsageError(TraceLensError):
    """The request makes no sense: an unknown task, a window outside the run."""

    status = 2


def unwritable(place: str, error: OSError) -> UsageError:
    """What to say of a file or directory that cannot be written."""
    missing = isinstance(error, FileNotFoundError)
    return UsageError(
        f"cannot be written: {error.strerror}",
        place=place,
        hint="make its directory first" if missing else "name another place",
    )


class InputError(TraceLensError):
    """The input cannot be read: no such file, not a log, a mistake in a system file."""

    status = 3


class LogError(InputError):
    """A log cannot be read, or under --strict a line of it."""


class SystemFileError(InputError):
    """A system, budget or task-set file has a mistake."""


class DamageError(TraceLensError):
    """The log was read, but is too damaged to say anything about."""

    status = 4

"""What nobody foresaw: one line for whoever asked, one for whoever started the page.

No traceback: what a client sends can cause it. The line says where it happened.
"""

import threading
import traceback
from collections.abc import Callable
from pathlib import Path
from typing import Final

import flask
from dash.exceptions import DependencyException
from werkzeug.exceptions import HTTPException

from tracelens.plain import plain
from tracelens.web.guard import line
from tracelens.web.refused import Refused

MOST_SAID: Final = 100
"""The same line is said once, and no more lines than these: a client cannot fill the terminal."""

_PACKAGE: Final = Path(__file__).parents[1]
_LONGEST: Final = 200

Say = Callable[[str], None]


class Faults:
    """Says each fault once."""

    def __init__(self, say: Say) -> None:
        self._say = say
        self._lock = threading.Lock()
        self._said: set[str] = set()

    def tell(self, error: BaseException, doing: str) -> None:
        """A line on an error that should not have been."""
        told = f"a fault of tracelens while {doing}: {in_a_line(error)}"
        with self._lock:
            if told in self._said or len(self._said) >= MOST_SAID:
                return
            self._said.add(told)
        self._say(told)


def in_a_line(error: BaseException) -> str:
    """'KeyError: 'x' (web/parts/job.py:77)': the error, and where the package's own code was."""
    own = [
        frame
        for frame in traceback.extract_tb(error.__traceback__)
        if Path(frame.filename).is_relative_to(_PACKAGE)
    ]
    where = ""
    if own:
        where = f" ({Path(own[-1].filename).relative_to(_PACKAGE).as_posix()}:{own[-1].lineno})"
    return f"{type(error).__name__}: {plain(str(error))[:_LONGEST]}{where}"


def told_in_a_line(server: flask.Flask, faults: Faults) -> None:
    """Every error of the application is answered by its status and one plain line."""

    @server.errorhandler(Exception)
    def told(error: Exception) -> flask.Response:
        if isinstance(error, HTTPException) and error.code is not None:
            if error.code < 400:
                return flask.make_response(error.get_response())
            return line(Refused(error.code, error.name))
        if isinstance(error, DependencyException):  # what Dash says of a file that it has not
            return line(Refused(404, "Not Found"))
        request = flask.request
        faults.tell(error, f"answering {request.method} {plain(request.path)[:_LONGEST]}")
        return line(Refused(500, "This cannot be answered, by a fault of tracelens"))

"""Open a log: a file from the reader's disk, or a sample.

The file comes as the plain body of a POST and goes to disk as it arrives, so that its length
costs no memory; the page then asks how far the reading is. No name from outside becomes a path.
"""

import contextlib
import tempfile
from pathlib import Path
from typing import IO, Final
from urllib.parse import unquote

import flask
from werkzeug.exceptions import ClientDisconnected

from tracelens.plain import plain
from tracelens.samples import samples
from tracelens.web.guard import ASKED
from tracelens.web.loading import MOST_LOG, Loader
from tracelens.web.rooms.nav import OPEN, ROOMS, TWO, Rooms
from tracelens.web.shelf import SAMPLE

_BLOCK: Final = 1 << 20
_LONGEST_NAME: Final = 120

NAMED: Final = "X-Log-Name"
"""Header with the file's name, percent-encoded UTF-8."""


def room(loader: Loader, rooms: Rooms = ROOMS) -> flask.Blueprint:
    """The room under `OPEN`."""
    here = Path(__file__).parent
    blueprint = flask.Blueprint(
        "open", __name__, url_prefix=OPEN, template_folder=str(here / "templates")
    )

    @blueprint.get("/")
    def page() -> str:
        asked = flask.request.args
        return flask.render_template(
            "open.html",
            rooms=rooms,
            here=OPEN,
            two=TWO,
            sample=SAMPLE,
            # From 'two runs': which side the log is for, and the run on the other side.
            side=asked["side"] if asked.get("side") in ("a", "b") else "",
            other=asked.get("other", "")[:_LONGEST_NAME],
            gone="gone" in asked,
            most=MOST_LOG,
            groups=(
                ("The knitting machine", [s for s in samples() if not s.classroom]),
                ("The classroom", [s for s in samples() if s.classroom]),
            ),
        )

    @blueprint.post("/upload")
    def upload() -> tuple[dict[str, str], int]:
        request = flask.request
        if ASKED not in request.headers:
            return _refused("not asked by the page: no log is taken", f"open {OPEN}", 403)
        name = _name(request.headers.get(NAMED, ""))
        length = request.content_length
        if length is None:
            return _refused(f"{name}: its length is not said", "send Content-Length", 411)
        if length > MOST_LOG:
            return _refused(
                f"{name}: the file is too long: found {length >> 20} MB, expected at most "
                f"{MOST_LOG >> 20} MB",
                f"open it from the command line: tracelens serve {name}",
                413,
            )
        if not loader.has_room():
            return _refused(f"{name}: too many logs wait to be read", "try again in a while", 503)
        try:
            file = _keep(request, length)
        except OSError as error:
            return _refused(f"{name}: cannot be kept: {error.strerror}", "make room on disk", 507)
        if file is None:
            return _refused(f"{name}: it broke off on the way", "send it again", 400)
        return {"ticket": loader.begin(file, length, name)}, 202

    @blueprint.get("/upload/<ticket>")
    def progress(ticket: str) -> tuple[dict[str, str], int]:
        found = loader.progress(ticket)
        if found is None:
            return _refused("this upload is not known here any more", "send it again", 404)
        step = None if found.done else found.step
        told = {"step": step, "run": found.run, "problem": found.problem, "hint": found.hint}
        return {key: text for key, text in told.items() if text is not None}, 200

    return blueprint


def _refused(problem: str, hint: str, status: int) -> tuple[dict[str, str], int]:
    return {"problem": problem, "hint": hint}, status


def _name(header: str) -> str:
    """What messages call an upload: one line, not long, and no directories."""
    name = plain(unquote(header[: 4 * _LONGEST_NAME])).replace("\\", "/").rsplit("/", 1)[-1]
    return name[:_LONGEST_NAME] or "log"


def _keep(request: flask.Request, length: int) -> IO[bytes] | None:
    """The body in a file, block by block; None if it ends before `length` bytes.

    Raises `OSError` if it cannot be kept. The file has no name, so that nothing of a log stays on
    the disk however the server ends.
    """
    came = 0
    with contextlib.ExitStack() as kept:
        file = kept.enter_context(tempfile.TemporaryFile())
        while block := _next(request):
            came += len(block)
            file.write(block)
        if came == length:
            file.seek(0)
            kept.pop_all()  # from here on whoever reads it closes it
            return file
    return None


def _next(request: flask.Request) -> bytes:
    """The next block of the body; none if there is no more, or the client is gone."""
    try:
        return request.stream.read(_BLOCK)
    except (ClientDisconnected, OSError):
        return b""

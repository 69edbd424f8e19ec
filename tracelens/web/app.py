"""The page as an application, for this machine only.

A log may hold what a company does not publish, and the page has no accounts: it answers on the
loopback interface alone, to requests that name it as such, and loads nothing from elsewhere.

One server, and on it the page on a run and the rooms beside it, each an application of its own:
no room knows the parts of another. What they share is the shelf of runs.
"""

import threading
import webbrowser
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import flask
from dash import Dash
from werkzeug.serving import WSGIRequestHandler, make_server
from werkzeug.wrappers import Response

from tracelens.drawing.palette import stylesheet
from tracelens.drawing.runs import load
from tracelens.errors import UsageError
from tracelens.model.results import Analysis
from tracelens.web import loading, moves, page
from tracelens.web.following import Follower
from tracelens.web.guard import forbid_foreign_content, is_loopback, refuse_others
from tracelens.web.rooms import open_log
from tracelens.web.rooms.classroom import page as classroom
from tracelens.web.rooms.nav import CLASSROOM, HISTORY, OPEN, REPAIR, ROOMS, TWO, WITH_HISTORY
from tracelens.web.rooms.past import page as past
from tracelens.web.rooms.past.folder import Folder
from tracelens.web.rooms.repair import layout as repair_layout
from tracelens.web.rooms.repair import page as repair
from tracelens.web.rooms.repair.replaying import Replays
from tracelens.web.rooms.two import layout
from tracelens.web.rooms.two import page as two
from tracelens.web.shelf import Shelf

LOOPBACK: Final = "127.0.0.1"

_ASSETS: Final = Path(__file__).parent / "assets"
_OF_ROOMS: Final = r"^rooms"
_NOT_OF_THE_CLASSROOM: Final = r"^(?!nav\.|page\.css|rooms\.css|rooms-measure|rooms-classroom)"
_NOT_OF_TWO_RUNS: Final = r"^(?!nav\.|page\.css|rooms\.css|rooms-measure|rooms-two)"
_NOT_OF_THE_HISTORY: Final = (
    r"^(?!nav\.|page\.css|rooms\.css|rooms-measure|rooms-history|takeaway\.)"
)

_INDEX: Final = """<!DOCTYPE html>
<html lang="en">
<head>{%metas%}<title>{%title%}</title>{%favicon%}<style>{%colours%}</style>{%css%}</head>
<body>{%app_entry%}<footer>{%config%}{%scripts%}{%renderer%}</footer></body>
</html>"""


def create_app(
    *analyses: Analysis, follower: Follower | None = None, history: Path | None = None
) -> Dash:
    """The page on analysed runs, the first of them open; `.server` is the WSGI application.

    Without a run it opens on the room 'open a log', or on the room of the `history` in that
    directory; without a history there is no such room. A `follower` brings the readings of a log
    that grows; the first is read here, and raises what reading raises.
    """
    shelf = Shelf()
    if follower is not None:
        follower.begin(shelf)
    for number, analysis in enumerate(analyses, 1):
        shelf.put(load(analysis), str(number))
    server = flask.Flask("tracelens", static_folder=None)
    refuse_others(server)
    server.jinja_env.globals["colours"] = stylesheet
    rooms = WITH_HISTORY if history else ROOMS
    _on_a_run_that_is_here(server, shelf, HISTORY if history else OPEN)
    app = _dash(server, "/", "tracelens", _OF_ROOMS)
    app.layout = page.component(rooms)
    page.register(app, shelf, follower, rooms)
    loader = loading.Loader(shelf)
    server.register_blueprint(open_log.room(loader, rooms))
    classroom.routes(server)
    lessons = _dash(server, CLASSROOM, "classroom – tracelens", _NOT_OF_THE_CLASSROOM)
    lessons.layout = classroom.component(rooms)
    classroom.register(lessons)
    pairs = _dash(server, TWO, "two runs – tracelens", _NOT_OF_TWO_RUNS)
    pairs.layout = layout.component(rooms)
    two.register(pairs, shelf)
    repairs = _dash(server, REPAIR, "try a repair – tracelens", _NOT_OF_TWO_RUNS)
    repairs.layout = repair_layout.component(rooms)
    repair.register(repairs, shelf, Replays(shelf, loader))
    all_apps = [app, lessons, pairs, repairs]
    if history:
        runs = _dash(server, HISTORY, "history – tracelens", _NOT_OF_THE_HISTORY)
        past.register(runs, Folder(history), rooms)
        all_apps.append(runs)
    scripts = [hash_ for made in all_apps for hash_ in made.csp_hashes()]
    forbid_foreign_content(server, scripts)
    return app


def _dash(server: flask.Flask, path: str, title: str, ignored: str) -> Dash:
    made: Any = server  # Dash takes a Flask application, and does not say so
    return Dash(
        "tracelens",
        server=made,
        url_base_pathname=path,
        assets_folder=str(_ASSETS),
        assets_ignore=ignored,
        title=title,
        update_title="",
        serve_locally=True,
        index_string=_INDEX.replace("{%colours%}", stylesheet()),
    )


def _on_a_run_that_is_here(server: flask.Flask, shelf: Shelf, without: str) -> None:
    """An address that names a run that is gone leads to the room where one is opened.

    One that names none, where none is open, leads to the room `without`.
    """

    @server.before_request
    def lead() -> Response | None:
        if flask.request.path != "/":
            return None
        run_id = moves.run_of(flask.request.query_string.decode("ascii", "replace"))
        if run_id is None:
            return None if shelf.first() else flask.redirect(without)
        return None if loading.find(shelf, run_id) else flask.redirect(f"{OPEN}?gone=1")


def serve(
    *analyses: Analysis,
    follower: Follower | None = None,
    history: Path | None = None,
    host: str = LOOPBACK,
    port: int = 8050,
    open_browser: bool = False,
    say: Callable[[str], None] = print,
) -> None:
    """Serve the page until interrupted; port 0 takes a free one. `say` is told the address.

    Raises `UsageError` if `host` is not a loopback address, or the port is taken.
    """
    if not is_loopback(host):
        raise UsageError(
            f"the page is served to this machine only: found {host}, expected {LOOPBACK}"
        )
    app = create_app(*analyses, follower=follower, history=history)
    try:
        server = make_server(host, port, app.server, threaded=True, request_handler=_Quiet)
    except (OSError, SystemExit) as error:
        raise UsageError(
            f"port {port} cannot be opened: {error}", hint="give another one, or 0 for a free one"
        ) from None
    address = f"http://{f'[{host}]' if ':' in host else host}:{server.server_port}/"
    say(address)
    if follower is not None:
        follower.start()
    if open_browser:
        threading.Timer(0.2, webbrowser.open, [address]).start()
    try:
        server.serve_forever()
    except KeyboardInterrupt:
        pass
    finally:
        server.server_close()


class _Quiet(WSGIRequestHandler):
    """Writes no line a request: whoever started the page waits for nothing but errors."""

    def log_request(self, code: int | str = "-", size: int | str = "-") -> None:
        pass

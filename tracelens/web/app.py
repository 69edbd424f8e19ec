"""The page as an application.

One server, and on it the page on a run and the rooms beside it, each an application of its own:
no room knows the parts of another. What they share is the shelf of runs.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import flask
from dash import Dash
from werkzeug.wrappers import Response

from tracelens.drawing.palette import stylesheet
from tracelens.drawing.runs import load
from tracelens.model.results import Analysis
from tracelens.web import loading, moves, page
from tracelens.web.faults import Faults, told_in_a_line
from tracelens.web.following import Follower
from tracelens.web.guard import Guard, refuse_others
from tracelens.web.headers import ANY_STYLE, COMMON, KEPT_NOWHERE, hash_of, policy
from tracelens.web.listening import Rules
from tracelens.web.rooms import open_log
from tracelens.web.rooms.classroom import page as classroom
from tracelens.web.rooms.nav import CLASSROOM, HISTORY, OPEN, REPAIR, ROOMS, TWO, WITH_HISTORY
from tracelens.web.rooms.past import page as past
from tracelens.web.rooms.past.folder import Folder
from tracelens.web.rooms.repair import layout as repair_layout
from tracelens.web.rooms.repair import page as repair
from tracelens.web.rooms.repair.replaying import REPLAYED_AT_ONCE, Replays
from tracelens.web.rooms.two import layout
from tracelens.web.rooms.two import page as two
from tracelens.web.rules import rules
from tracelens.web.shelf import Shelf

_ASSETS: Final = Path(__file__).parent / "assets"
_OF_ROOMS: Final = r"^rooms"
_NOT_OF_THE_CLASSROOM: Final = (
    r"^(?!nav\.|unanswered\.|page\.css|rooms\.css|rooms-measure|rooms-classroom)"
)
_NOT_OF_TWO_RUNS: Final = (
    r"^(?!nav\.|unanswered\.|chooser\.|page\.css|rooms\.css|rooms-measure|rooms-two)"
)
_NOT_OF_THE_HISTORY: Final = (
    r"^(?!nav\.|unanswered\.|page\.css|rooms\.css|rooms-measure|rooms-history|takeaway\.)"
)

_FILES: Final = tuple(
    f"{room}{folder}/"
    for room in ("/", *(path for path, _ in WITH_HISTORY))
    for folder in ("assets", "_dash-component-suites")
)
"""What is of the page itself, the same for every log."""

_INDEX: Final = """<!DOCTYPE html>
<html lang="en">
<head>{%metas%}<title>{%title%}</title>{%favicon%}<style>{%colours%}</style>{%css%}</head>
<body>{%app_entry%}<footer>{%config%}{%scripts%}{%renderer%}</footer></body>
</html>"""


@dataclass(frozen=True, slots=True)
class Made:
    """The application, and what a server is to know of its requests."""

    app: Dash
    rules: Rules


def create_app(
    *analyses: Analysis, follower: Follower | None = None, history: Path | None = None
) -> Dash:
    """The page on analysed runs, the first of them open; `.server` is the WSGI application.

    Without a run it opens on the room 'open a log', or on the room of the `history` in that
    directory; without a history there is no such room. A `follower` brings the readings of a log
    that grows; the first is read here, and raises what reading raises.
    """
    return make(*analyses, follower=follower, history=history).app


def make(
    *analyses: Analysis,
    follower: Follower | None = None,
    history: Path | None = None,
    guard: Guard | None = None,
    faults: Faults | None = None,
) -> Made:
    """The same, for a server: `guard` says who may ask, `faults` tells what nobody foresaw."""
    guard = guard or Guard()
    faults = faults or Faults(lambda _told: None)
    shelf = Shelf()
    if follower is not None:
        follower.begin(shelf)
    for number, analysis in enumerate(analyses, 1):
        shelf.put(load(analysis), str(number))
    server = flask.Flask("tracelens", static_folder=None)
    refuse_others(server, guard)
    told_in_a_line(server, faults)
    server.jinja_env.globals["colours"] = stylesheet
    rooms = WITH_HISTORY if history else ROOMS
    _on_a_run_that_is_here(server, shelf, HISTORY if history else OPEN)
    app = _dash(server, "/", "tracelens", _OF_ROOMS)
    app.layout = page.component(rooms)
    page.register(app, shelf, follower, rooms)
    loader = loading.Loader(shelf, faults.tell)
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
    repair.register(
        repairs, shelf, Replays(shelf, loading.Loader(shelf, faults.tell, REPLAYED_AT_ONCE))
    )
    all_apps = [app, lessons, pairs, repairs]
    if history:
        runs = _dash(server, HISTORY, "history – tracelens", _NOT_OF_THE_HISTORY)
        past.register(runs, Folder(history), rooms)
        all_apps.append(runs)
    _say_what_may_be(server, [hash_ for made in all_apps for hash_ in made.csp_hashes()])
    return Made(app, rules(shelf, loader, guard))


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


def _say_what_may_be(server: flask.Flask, script_hashes: list[str]) -> None:
    """The headers of every answer; what is of a run is kept nowhere."""
    drawn = policy(script_hashes, [ANY_STYLE])
    plain = policy(styles=[hash_of(stylesheet())])

    @server.after_request
    def headers(response: flask.Response) -> flask.Response:
        is_plain = flask.request.path.startswith(OPEN)
        response.headers.update(COMMON)
        response.headers["Content-Security-Policy"] = plain if is_plain else drawn
        if not flask.request.path.startswith(_FILES):
            response.headers["Cache-Control"] = KEPT_NOWHERE
        return response

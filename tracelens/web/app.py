"""The page as an application, for this machine only.

A log may hold what a company does not publish, and the page has no accounts: it answers on the
loopback interface alone, to requests that name it as such, and loads nothing from elsewhere.
"""

import threading
import webbrowser
from collections.abc import Callable
from pathlib import Path
from typing import Final

from dash import Dash
from werkzeug.serving import WSGIRequestHandler, make_server

from tracelens.drawing.palette import stylesheet
from tracelens.drawing.runs import load
from tracelens.errors import UsageError
from tracelens.model.results import Analysis
from tracelens.web import page
from tracelens.web.guard import guard, is_loopback
from tracelens.web.shelf import Shelf

LOOPBACK: Final = "127.0.0.1"

_INDEX: Final = """<!DOCTYPE html>
<html lang="en">
<head>{%metas%}<title>{%title%}</title>{%favicon%}<style>{%colours%}</style>{%css%}</head>
<body>{%app_entry%}<footer>{%config%}{%scripts%}{%renderer%}</footer></body>
</html>"""


def create_app(*analyses: Analysis) -> Dash:
    """The page on analysed runs, the first of them open; `.server` is the WSGI application."""
    shelf = Shelf()
    for number, analysis in enumerate(analyses, 1):
        shelf.put(load(analysis), str(number))
    app = Dash(
        "tracelens",
        assets_folder=str(Path(__file__).parent / "assets"),
        title="tracelens",
        update_title="",
        serve_locally=True,
        index_string=_INDEX.replace("{%colours%}", stylesheet()),
    )
    app.layout = page.component()
    page.register(app, shelf)
    guard(app)
    return app


def serve(
    *analyses: Analysis,
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
    app = create_app(*analyses)
    try:
        server = make_server(host, port, app.server, threaded=True, request_handler=_Quiet)
    except (OSError, SystemExit) as error:
        raise UsageError(
            f"port {port} cannot be opened: {error}", hint="give another one, or 0 for a free one"
        ) from None
    address = f"http://{f'[{host}]' if ':' in host else host}:{server.server_port}/"
    say(address)
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

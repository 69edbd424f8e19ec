"""The page as an application, for this machine only.

A log may hold what a company does not publish, and the page has no accounts: it answers on the
loopback interface alone, to requests that name it as such, and loads nothing from elsewhere.
"""

import ipaddress
import threading
import webbrowser
from collections.abc import Callable
from pathlib import Path
from typing import Final
from urllib.parse import urlsplit

import flask
from dash import Dash
from werkzeug.serving import WSGIRequestHandler, make_server

from tracelens.errors import UsageError
from tracelens.model.results import Analysis
from tracelens.report.plain import plain
from tracelens.web import callbacks
from tracelens.web.layout import page
from tracelens.web.palette import stylesheet
from tracelens.web.runs import load

LOOPBACK: Final = "127.0.0.1"

_INDEX: Final = """<!DOCTYPE html>
<html lang="en">
<head>{%metas%}<title>{%title%}</title>{%favicon%}<style>{%colours%}</style>{%css%}</head>
<body>{%app_entry%}<footer>{%config%}{%scripts%}{%renderer%}</footer></body>
</html>"""


def create_app(analysis: Analysis) -> Dash:
    """The page on one analysed run; `.server` of what is returned is the WSGI application."""
    runs = {"1": load(analysis)}
    run = runs["1"]
    app = Dash(
        "tracelens",
        assets_folder=str(Path(__file__).parent / "assets"),
        title=f"{plain(run.name)} – tracelens",
        update_title="",
        serve_locally=True,
        index_string=_INDEX.replace("{%colours%}", stylesheet()),
    )
    app.layout = page("1", run)
    callbacks.register(app, runs)
    _guard(app)
    return app


def serve(
    analysis: Analysis,
    *,
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
    app = create_app(analysis)
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


def is_loopback(host: str | None) -> bool:
    """Whether a host name or address is this machine's own."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address((host or "").strip("[]")).is_loopback
    except ValueError:
        return False


def _guard(app: Dash) -> None:
    """Refuse requests that another site sends through the browser, and forbid foreign content."""
    server: flask.Flask = app.server

    @server.before_request
    def only_this_machine() -> flask.Response | None:
        # A foreign name that resolves to 127.0.0.1 would pass the browser's same-origin rule.
        origin = flask.request.headers.get("Origin")
        hosts = [urlsplit(f"//{flask.request.host}").hostname]
        hosts += [urlsplit(origin).hostname] if origin else []
        if all(is_loopback(host) for host in hosts):
            return None
        return flask.Response("This page is served to this machine only.\n", status=403)

    scripts = " ".join(["'self'", *app.csp_hashes()])

    @server.after_request
    def headers(response: flask.Response) -> flask.Response:
        response.headers["Content-Security-Policy"] = (
            f"default-src 'self'; script-src {scripts}; style-src 'self' 'unsafe-inline'; "
            "img-src 'self' data: blob:; object-src 'none'; base-uri 'none'; "
            "form-action 'none'; frame-ancestors 'none'"
        )
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["X-Frame-Options"] = "DENY"
        response.headers["Referrer-Policy"] = "no-referrer"
        response.headers["Cross-Origin-Resource-Policy"] = "same-origin"
        response.headers["Cross-Origin-Opener-Policy"] = "same-origin"
        return response

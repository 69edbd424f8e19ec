"""Refuses what another site sends through the reader's browser, and forbids foreign content."""

import ipaddress
from urllib.parse import urlsplit

import flask
from dash import Dash


def is_loopback(host: str | None) -> bool:
    """Whether a host name or address is this machine's own."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address((host or "").strip("[]")).is_loopback
    except ValueError:
        return False


def guard(app: Dash) -> None:
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

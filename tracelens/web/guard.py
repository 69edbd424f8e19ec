"""Refuses what another site sends through the reader's browser, and forbids foreign content."""

import ipaddress
from collections.abc import Iterable
from typing import Final
from urllib.parse import urlsplit

import flask

ASKED: Final = "X-Tracelens"
"""Header that only the page's own scripts send: another site may not, without asking first."""


def is_loopback(host: str | None) -> bool:
    """Whether a host name or address is this machine's own."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address((host or "").strip("[]")).is_loopback
    except ValueError:
        return False


def refuse_others(server: flask.Flask) -> None:
    """Refuse requests that another site sends through the browser, before anything else looks."""

    @server.before_request
    def only_this_machine() -> flask.Response | None:
        # A foreign name that resolves to 127.0.0.1 would pass the browser's same-origin rule.
        request = flask.request
        origin = request.headers.get("Origin")
        # Another page of this machine, on a port of its own, is another site too.
        own = origin is None or urlsplit(origin).netloc.lower() == request.host.lower()
        if own and is_loopback(urlsplit(f"//{request.host}").hostname):
            return None
        return flask.Response("This page is served to this machine only.\n", status=403)


def forbid_foreign_content(server: flask.Flask, script_hashes: Iterable[str]) -> None:
    """Tell the browser to load and run what is the page's own, and nothing else.

    `script_hashes` are those of the inline scripts that may run, as a policy writes them.
    """
    scripts = " ".join(["'self'", *sorted(set(script_hashes))])

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

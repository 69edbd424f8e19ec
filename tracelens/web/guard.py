"""Who may ask: this machine, or those with the token; never another site through the browser.

Sources: WHATWG, Fetch (Origin); W3C, Fetch Metadata Request Headers, whose policy of resource
isolation this is: from elsewhere a page may be opened, and nothing else.
"""

import ipaddress
import socket
from typing import Final, Protocol
from urllib.parse import SplitResult, quote, urlencode, urlsplit

import flask

from tracelens.web.headers import KEPT_NOWHERE
from tracelens.web.refused import Refused
from tracelens.web.token import Door

ASKED: Final = "X-Tracelens"
"""Header that only the page's own scripts send: another site may not, without asking first."""

_HERE: Final = ("same-origin", "none")
_EMBEDDED: Final = ("object", "embed", "iframe", "frame")


def is_loopback(host: str | None) -> bool:
    """Whether a host name or address is this machine's own."""
    if host == "localhost":
        return True
    address = _address(host)
    return address is not None and address.is_loopback


class Headers(Protocol):
    """What a client sent, by the name of the header."""

    def get(self, name: str, /) -> str | None:
        """None where it was not sent."""
        ...


class Guard:
    """Refuses before anything else looks.

    On loopback the page is asked for by a name of this machine: a foreign name that resolves to
    127.0.0.1 would pass the browser's same-origin rule. Beyond it by an address, which nobody can
    make resolve to something else, by the machine's name, or by the name `host` that was given.
    `door` is there if a token is asked for.
    """

    def __init__(self, host: str = "127.0.0.1", door: Door | None = None) -> None:
        self.door = door
        self._beyond = not is_loopback(host)
        self._names = {host.lower(), socket.gethostname().lower()}

    def refusal(self, method: str, sent: Headers) -> Refused | None:
        """Why a request with these headers is not answered at all; None if it may be."""
        host = (sent.get("Host") or "").lower()
        named = _split(f"//{host}")
        if not self._is_named(named and named.hostname):
            known = "a token" if self._beyond else "this machine only"
            return Refused(403, f"This page is served to {known}, under its own address")
        origin = sent.get("Origin")
        # Another page of this machine, on a port of its own, is another site too.
        from_ = _split(origin or "")
        if origin is not None and (from_ is None or from_.netloc.lower() != host):
            return Refused(403, "This page is not served to other pages")
        site = sent.get("Sec-Fetch-Site")
        if site is None or site in _HERE or _is_a_visit(method, sent):
            return None
        return Refused(403, "This page is not served to other pages")

    def _is_named(self, name: str | None) -> bool:
        if name is None or not self._beyond:
            return is_loopback(name)
        return is_loopback(name) or _address(name) is not None or name in self._names


def _is_a_visit(method: str, sent: Headers) -> bool:
    """A link on another site was followed."""
    return (
        method in ("GET", "HEAD")
        and sent.get("Sec-Fetch-Mode") == "navigate"
        and sent.get("Sec-Fetch-Dest") not in _EMBEDDED
    )


def _address(host: str | None) -> ipaddress.IPv4Address | ipaddress.IPv6Address | None:
    try:
        return ipaddress.ip_address((host or "").strip("[]"))
    except ValueError:
        return None


def _split(address: str) -> SplitResult | None:
    """The parts of an address; None if it is none."""
    try:
        return urlsplit(address)
    except ValueError:
        return None


def line(refused: Refused) -> flask.Response:
    """A refusal as an answer: one plain line."""
    answer = flask.Response(f"{refused.problem}.\n", status=refused.status, mimetype="text/plain")
    answer.headers["Cache-Control"] = KEPT_NOWHERE
    return answer


def refuse_others(server: flask.Flask, guard: Guard) -> None:
    """Let the guard, and the door if there is one, look at every request first."""

    @server.before_request
    def only_who_may() -> flask.Response | None:
        request = flask.request
        refused = guard.refusal(request.method, request.headers)
        if refused is not None:
            return line(refused)
        if not request.query_string.isascii():
            return line(
                Refused(400, "This is no address: in one, letters beyond ASCII are written with %")
            )
        if guard.door is None:
            return None
        told = guard.door.look(
            request.remote_addr or "", request.cookies.get(guard.door.cookie),
            request.args.get("token") if request.method == "GET" else None,
        )  # fmt: skip
        if isinstance(told, Refused):
            return line(told)
        return _without_the_token(guard.door) if told else None


def _without_the_token(door: Door) -> flask.Response:
    """To the same address without the token, which a cookie holds from here on."""
    kept = [(key, value) for key, value in flask.request.args.items(multi=True) if key != "token"]
    path = "/" + flask.request.path.lstrip("/\\")  # never another host
    answer = flask.Response(status=303)
    answer.headers["Location"] = quote(path) + (f"?{urlencode(kept)}" if kept else "")
    answer.set_cookie(door.cookie, door.pass_, httponly=True, samesite="Strict", path="/")
    return answer

"""The page served: on this machine, or beyond it to those who have the token.

A log may hold what a company does not publish. Without a token the page answers on the loopback
interface alone.
"""

import contextlib
import os
import socket
import sys
import threading
import webbrowser
from collections.abc import Callable
from pathlib import Path
from typing import Final

from tracelens.compiled import WORTH_COMPILING
from tracelens.errors import UsageError
from tracelens.model.results import Analysis
from tracelens.web.app import make
from tracelens.web.faults import Faults
from tracelens.web.following import Follower
from tracelens.web.guard import Guard, is_loopback
from tracelens.web.listening import Listener, listening
from tracelens.web.token import Door

LOOPBACK: Final = "127.0.0.1"

_ANY: Final = ("", "0.0.0.0", "::")
_SWITCH_S: Final = 0.001
"""Whoever computes for long lets go this often: at Python's 5 ms each short answer waits many
times as long as it takes."""


def serve(
    *analyses: Analysis,
    follower: Follower | None = None,
    history: Path | None = None,
    host: str = LOOPBACK,
    port: int = 8050,
    door: Door | None = None,
    open_browser: bool = False,
    say: Callable[[str], None] = print,
    complain: Callable[[str], None] = print,
) -> None:
    """Serve the page until interrupted; port 0 takes a free one. `say` is told the address.

    With a `door`, only who has its token comes in; the address holds it. `complain` is told in a
    line what nobody foresaw. Raises `UsageError` if `host` is not a loopback address and there is
    no door, or if the address cannot be had.
    """
    if door is None:
        _only_here(host)
    if any(one.timeline.log.events.height > WORTH_COMPILING for one in analyses):
        os.environ.setdefault("TRACELENS_COMPILED", "1")  # what is at hand is used for small logs
    faults = Faults(complain)
    made = make(
        *analyses, follower=follower, history=history, guard=Guard(host, door), faults=faults
    )
    with listening(host, port) as place:
        if door is None:
            _only_here(place.getsockname()[0])  # whatever the name stands for
        server = Listener(made.app.server, place, made.rules)
        address = f"http://{_named(host)}:{server.port}/"
        if door is not None:
            address += f"?token={door.token}"
        say(address)
        if follower is not None:
            follower.start(faults.tell)
        if open_browser:
            threading.Timer(0.2, webbrowser.open, [address]).start()
        sys.setswitchinterval(_SWITCH_S)
        with contextlib.suppress(KeyboardInterrupt):
            server.run()


def _only_here(host: str) -> None:
    if not is_loopback(host):
        raise UsageError(
            f"without a token the page is served to this machine only: found {host}, expected "
            f"{LOOPBACK}"
        )


def _named(host: str) -> str:
    """The host as an address has it; where the page is served to any, the machine's name."""
    if host in _ANY:
        return socket.gethostname()
    return f"[{host}]" if ":" in host else host

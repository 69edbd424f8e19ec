"""The server itself, in a thread of the tests: a free port of 127.0.0.1, ended with the test."""

import contextlib
import http.client
import os
import socket
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from tracelens.web.listening import UPLOAD, Listener, Rules, listening
from tracelens.web.loading import MOST_LOG

LOOPBACK = "127.0.0.1"
PATIENCE_S = 60.0
"""A busy machine is slow, not wrong."""

OPEN_TO_ALL = Rules(
    most=MOST_LOG,
    is_upload=lambda head: head.path == UPLOAD,
    refusal=lambda head: None,
    is_long=lambda head, begin: False,
)


@contextlib.contextmanager
def running(application: Any, rules: Rules = OPEN_TO_ALL) -> Iterator[Listener]:
    """The server, answering."""
    server = Listener(application, listening(LOOPBACK, 0), rules)
    thread = threading.Thread(target=server.run)
    thread.start()
    try:
        yield server
    finally:
        server.end()
        thread.join(PATIENCE_S)
        assert not thread.is_alive()


def connected(server: Listener) -> socket.socket:
    """A connection to it."""
    line = socket.create_connection((LOOPBACK, server.port), timeout=PATIENCE_S)
    line.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    return line


def asked(
    server: Listener, method: str, path: str, body: Any = None, **headers: str
) -> tuple[int, http.client.HTTPMessage, bytes]:
    """Status, headers and body of a reply."""
    line = http.client.HTTPConnection(LOOPBACK, server.port, timeout=PATIENCE_S)
    with contextlib.closing(line):
        named = {name.replace("_", "-"): text for name, text in headers.items()}
        line.request(method, path, body, named)
        reply = line.getresponse()
        return reply.status, reply.headers, reply.read()


def until(holds: Callable[[], object]) -> None:
    """Wait for something that must come."""
    end = time.monotonic() + PATIENCE_S
    while not holds():
        assert time.monotonic() < end, "it did not come"
        time.sleep(0.02)


def unnamed_files(folder: Path) -> set[str]:
    """The files without a name that this process holds open there."""
    found = set()
    for handle in Path("/proc/self/fd").iterdir():
        with contextlib.suppress(OSError):
            found.add(str(handle.readlink()))
    return {name for name in found if name.startswith(f"{folder}{os.sep}")}

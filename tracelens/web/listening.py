"""The server under the page: bounded in connections, threads, time, and what it takes in.

waitress receives requests and sends replies in one thread, whatever the pace of a client; a request
is given to a thread for answering only once it has come whole. So whoever sends slowly, or nothing,
or vanishes, costs a socket until a deadline, and no thread. What takes long is answered by threads
of its own, so that it keeps nobody waiting who only moves about.

waitress is told here what it leaves open: how long a request may take to come, what is refused
before its body is taken in, and in what words.
"""

import json
import logging
import socket
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

from waitress.channel import HTTPChannel
from waitress.parser import HTTPRequestParser
from waitress.server import TcpWSGIServer
from waitress.task import ErrorTask, ThreadedTaskDispatcher
from waitress.utilities import Error

from tracelens.errors import UsageError
from tracelens.plain import plain
from tracelens.web import headers
from tracelens.web.refused import Refused

UPLOAD: Final = "/open/upload"

MOST_CONNECTIONS: Final = 400
"""A browser opens up to six; more than these wait until one of them is closed."""

QUICK_THREADS: Final = 4
LONG_THREADS: Final = 2
"""Python computes in one thread at a time: more of them would only slow each other down."""

MOST_ASKED: Final = 4 << 20
"""Bytes of a request that is no upload."""

MOST_COMING: Final = 4
"""Uploads on their way in at once; each may lie on the disk twice while it is taken over."""

HEAD_S: Final = 15.0
IDLE_S: Final = 60.0
CROWDED_S: Final = 5.0
BODY_S: Final = 30.0
LEAST_RATE: Final = 200_000
"""A request comes whole within `BODY_S` and at this many bytes a second, or is dropped."""

ANSWER_S: Final = 300.0
"""A reply is taken by then, or the connection is closed."""

_HEAD_BYTES: Final = 65_536
_SWALLOWED: Final = 1 << 30
_PEEKED: Final = 400


@dataclass(frozen=True, slots=True)
class Head:
    """What is known of a request before its body comes; `headers` are named as in WSGI."""

    method: str
    path: str
    query: str
    headers: dict[str, str]
    length: int
    address: str


@dataclass(frozen=True, slots=True)
class Rules:
    """What the page says of requests before it answers them.

    `is_upload` tells those with a body that may be long, of up to `most` bytes; `refusal` why one
    of them is not taken in; `is_long` which take long to answer, given the begin of the body.
    """

    most: int
    is_upload: Callable[[Head], bool]
    refusal: Callable[[Head], Refused | None]
    is_long: Callable[[Head, bytes], bool]


class _RefusalError(Error):
    def __init__(self, refused: Refused) -> None:
        super().__init__(refused.problem)
        self.refused = refused


class _Swallow:
    """A body that is refused, read to its end: a browser hears no answer before it has sent all."""

    completed = False
    error = None

    def __init__(self, length: int, answer: Error) -> None:
        self._left = length
        self._answer = answer

    def __len__(self) -> int:
        return 0

    def received(self, data: bytes) -> int:
        taken = min(len(data), self._left)
        self._left -= taken
        if not self._left:
            self.completed, self.error = True, self._answer
        return taken

    def getbuf(self) -> "_Swallow":
        return self

    def close(self) -> None:
        pass


class _Request(HTTPRequestParser):
    """A request on its way in."""

    body_rcv: Any

    def __init__(self, adj: Any, server: "Listener", address: str) -> None:
        super().__init__(adj)
        self.begun = time.monotonic()
        self._server = server
        self._address = address

    @property
    def head(self) -> Head:
        return Head(
            self.command, self.path, self.query, self.headers, self.content_length, self._address
        )

    @property
    def is_overdue(self) -> bool:
        allowed = BODY_S + self.content_length / LEAST_RATE if self.headers_finished else HEAD_S
        return time.monotonic() - self.begun > allowed

    def parse_header(self, header_plus: bytes) -> None:
        super().parse_header(header_plus)
        if self.chunked:
            self._end(Refused(411, "the length of the request is not said", "send Content-Length"))
        elif self.content_length:
            refused = self._server.refusal(self.head)
            if refused is not None:
                self._refuse(refused, self.content_length)
            elif self._server.rules.is_upload(self.head):
                self._server.coming.add(self)
        else:  # nothing to go on with: else waitress would wait for what does not come
            self.expect_continue = False

    def received(self, data: bytes) -> int:
        try:
            return int(super().received(data))
        except OSError as error:  # the disk is full, or not to be written
            left: int = self.body_rcv.remain
            self.close()
            why = f"the log cannot be kept: {error.strerror}"
            self._refuse(Refused(507, why, "make room on the disk"), left)
            return int(super().received(data)) if self.error is None else len(data)

    def close(self) -> None:
        super().close()
        self._server.coming.discard(self)

    def _refuse(self, refused: Refused, left: int) -> None:
        if left > _SWALLOWED or self.headers.get("EXPECT"):
            self._end(refused)
        else:
            self.body_rcv = _Swallow(left, _RefusalError(refused))

    def _end(self, refused: Refused) -> None:
        self.error, self.completed, self.expect_continue = _RefusalError(refused), True, False


class _Answer(ErrorTask):
    """What is refused without the application, in a line, with the headers of every answer."""

    def execute(self) -> None:
        error = self.request.error
        refused = getattr(error, "refused", None) or Refused(error.code, _WORDS[error.code])
        path = getattr(self.request, "path", "")
        if path == UPLOAD:  # its script reads JSON
            kind = "application/json"
            body = json.dumps({"problem": refused.problem, "hint": refused.hint})
        else:
            kind = "text/plain; charset=utf-8"
            body = f"{refused.problem}; {refused.hint}" if refused.hint else refused.problem
        self.status = f"{refused.status} {_REASONS.get(refused.status, 'Refused')}"
        said = {**headers.bare(), "Content-Type": kind}
        self.response_headers.extend(said.items())
        self.set_close_on_finish()
        data = f"{body}\n".encode()
        self.content_length = len(data)
        self.write(data)


_REASONS: Final = {
    400: "Bad Request", 401: "Unauthorized", 403: "Forbidden", 411: "Length Required",
    413: "Content Too Large", 429: "Too Many Requests", 431: "Request Header Fields Too Large",
    500: "Internal Server Error", 501: "Not Implemented", 503: "Service Unavailable",
    507: "Insufficient Storage",
}  # fmt: skip
_WORDS: Final = {
    400: "this is no request of HTTP that the page understands",
    413: "the request is too long",
    431: "the address or the headers of the request are too long",
    500: "cannot be answered, by a fault of tracelens",
    501: "the page does not understand this form of a request",
}


class _Channel(HTTPChannel):
    """A connection."""

    request: _Request | None
    error_task_class = _Answer

    def __init__(self, server: "Listener", sock: Any, addr: Any, adj: Any, map: Any = None) -> None:
        self._owing_since: float | None = None
        super().__init__(server, sock, addr, adj, map=map)

    def parser_class(self, adj: Any) -> _Request:
        return _Request(adj, self.server, str(self.addr[0]))

    def handle_close(self) -> None:
        coming, self.request = self.request, None
        if coming is not None:
            coming.close()
        super().handle_close()

    def keep_time(self, now: float, idle_s: float) -> None:
        """Close what has taken too long, and what is idle."""
        self._owing_since = (self._owing_since or now) if self.total_outbufs_len else None
        if self._owing_since is not None:
            is_over = now - self._owing_since > ANSWER_S
        elif self.request is not None:
            is_over = self.request.is_overdue
        else:
            is_over = not self.requests and time.time() - self.last_activity > idle_s
        if is_over:
            self.handle_close()  # at once: who takes nothing is never ready to be written to


class Listener(TcpWSGIServer):
    """Listens at one address until `end`."""

    channel_class = _Channel

    def __init__(self, application: Any, listening: socket.socket, rules: Rules) -> None:
        # waitress tells its log what is no news: that requests wait, or that a client is gone.
        for name in ("waitress", "waitress.queue"):
            logging.getLogger(name).setLevel(logging.CRITICAL)
        self.rules = rules
        self.coming: set[_Request] = set()
        self._ended = False
        self._open = True
        self._closing = threading.RLock()
        self._long = ThreadedTaskDispatcher()
        self._long.set_thread_count(LONG_THREADS)
        place = (listening.family, listening.type, listening.proto, listening.getsockname())
        super().__init__(
            application,
            _sock=listening,
            bind_socket=False,
            sockinfo=place,
            threads=QUICK_THREADS,
            connection_limit=MOST_CONNECTIONS,
            channel_request_lookahead=1,  # else nobody is seen to vanish while they wait
            cleanup_interval=1,
            channel_timeout=10**9,  # `keep_time` does that
            max_request_header_size=_HEAD_BYTES,
            max_request_body_size=1 << 62,  # `refusal` does that
            log_socket_errors=False,
            asyncore_use_poll=True,
            ident="",
        )

    @property
    def port(self) -> int:
        """The port."""
        return int(self.effective_port)

    def refusal(self, head: Head) -> Refused | None:
        """Why a request with a body is not taken in."""
        upload = self.rules.is_upload(head)
        most = self.rules.most if upload else MOST_ASKED
        if head.length > most:
            return Refused(
                413,
                f"too long: found {head.length >> 20} MB, expected at most {most >> 20} MB",
                "open it from the command line: tracelens serve LOG" if upload else "",
            )
        if not upload:
            return None
        if len(self.coming) >= MOST_COMING:
            return Refused(503, "too many logs are being sent at once", "try again in a while")
        return self.rules.refusal(head)

    def add_task(self, task: _Channel) -> None:
        """Give a request that has come whole to a thread."""
        request = task.requests[0]
        is_long = False
        if request.error is None:
            body = request.get_body_stream()
            is_long = self.rules.is_long(request.head, body.read(_PEEKED))
            body.seek(0)
        (self._long if is_long else self.task_dispatcher).add_task(task)

    def maintenance(self, now: float) -> None:
        """Keep the time of every connection; called every second."""
        crowded = len(self.active_channels) > 0.75 * MOST_CONNECTIONS
        for channel in list(self.active_channels.values()):
            channel.keep_time(time.monotonic(), CROWDED_S if crowded else IDLE_S)

    def pull_trigger(self) -> None:
        """Wake `run`, unless it has ended: then that file's number may be another's."""
        with self._closing:
            if self._open:
                super().pull_trigger()

    def close(self) -> None:
        """Listen no longer."""
        with self._closing:
            self._open = False
            super().close()

    def run(self) -> None:
        """Answer until `end` is called, or Ctrl-C comes."""
        try:
            while not self._ended:
                self.asyncore.loop(timeout=1, map=self._map, use_poll=True, count=1)
        finally:
            for threads in (self._long, self.task_dispatcher):
                threads.shutdown(timeout=1)
            for channel in list(self.active_channels.values()):
                channel.handle_close()
            self.close()

    def end(self) -> None:
        """End `run`; from any thread."""
        self._ended = True
        self.pull_trigger()


def listening(host: str, port: int) -> socket.socket:
    """A socket that listens there. Raises `UsageError`."""
    try:
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE)
        family, _, _, _, address = found[0]
        return socket.create_server(address[:2], family=family)
    except (OSError, UnicodeError) as error:
        problem = getattr(error, "strerror", None) or str(error)
        raise UsageError(
            f"port {port} of {plain(host)} cannot be opened: {problem}",
            hint="give another one with --port, or --port 0 for a free one; the address of --host "
            "must be one of this machine's",
        ) from error

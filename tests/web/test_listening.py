"""Clients that send slowly, nothing, or too much, or vanish: the server goes on, and keeps nothing.

HTTP as RFC 9112 and RFC 9110 have it; the statuses 431 and 507 are those of RFC 6585 and RFC 4918.
"""

import dataclasses
import json
import socket
import tempfile
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.drawing import scene
from tests.web.real_server import OPEN_TO_ALL, asked, connected, running, unnamed_files, until
from tracelens.web import listening
from tracelens.web.app import make
from tracelens.web.guard import ASKED
from tracelens.web.listening import Listener
from tracelens.web.refused import Refused

HEAD = b"GET /open/ HTTP/1.1\r\nHost: 127.0.0.1\r\n"
UPLOAD = (
    "POST /open/upload HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Tracelens: open\r\nContent-Length: {}\r\n"
)


@pytest.fixture
def server(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Listener]:
    """A page on a run; what is uploaded lies in `tmp_path`."""
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    made = make(scene.analysis())
    with running(made.app.server, made.rules) as server:
        yield server


@pytest.fixture
def impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    """Deadlines that have passed when they are looked at first."""
    for name in ("HEAD_S", "BODY_S", "IDLE_S", "ANSWER_S"):
        monkeypatch.setattr(listening, name, 0)
    monkeypatch.setattr(listening, "LEAST_RATE", 10**12)


def answers(server: Listener) -> bool:
    """Whether the page still answers."""
    return asked(server, "GET", "/_dash-layout")[0] == 200


def closed(line: socket.socket) -> None:
    """Wait until the server has closed a connection, whatever it says first."""
    try:
        while line.recv(1 << 16):
            pass
    except ConnectionResetError:
        pass
    line.close()


def test_who_sends_nothing_or_too_slowly_is_not_waited_for(
    server: Listener, impatient: None, capfd: Any
) -> None:
    begun = (b"", b"G", HEAD, UPLOAD.format(10**6).encode() + b"\r\n#trace")
    lines = [connected(server) for _ in range(3) for _ in begun]
    for line, sent in zip(lines, begun * 3, strict=True):
        line.sendall(sent)
    for line in lines:
        closed(line)
    until(lambda: not server.active_channels)
    assert not server.coming
    assert capfd.readouterr().err == ""


def test_a_byte_at_a_time_keeps_no_thread_and_nobody_else_waiting(server: Listener) -> None:
    lines = [connected(server) for _ in range(4 * listening.QUICK_THREADS)]
    for byte in HEAD:
        for line in lines:
            line.sendall(bytes([byte]))
        assert byte % 20 or answers(server)
    assert threading.active_count() < 30
    for line in lines:
        line.sendall(b"\r\n")
        assert line.recv(12) == b"HTTP/1.1 200"
        line.close()


@pytest.mark.parametrize("sent", [0, 10, 2_000_000], ids=["none", "a little", "onto the disk"])
def test_an_upload_whose_client_vanishes_leaves_nothing(
    server: Listener, tmp_path: Path, capfd: Any, sent: int
) -> None:
    before = unnamed_files(tmp_path)  # those of pytest, which captures what is printed
    line = connected(server)
    line.sendall(UPLOAD.format(5_000_000).encode() + b"\r\n" + b"x" * sent)
    until(lambda: len(server.coming) == 1)
    until(lambda: sent < 10**6 or unnamed_files(tmp_path) > before)
    line.close()
    until(lambda: not server.coming and unnamed_files(tmp_path) == before)
    assert answers(server)
    assert list(tmp_path.iterdir()) == []
    assert capfd.readouterr().err == ""


class Waiting:
    """An application whose every answer to `/wait` waits for `go`."""

    def __init__(self) -> None:
        self.go = threading.Event()
        self.waiting: set[int] = set()
        self.done = 0

    def __call__(self, environ: dict[str, Any], start: Any) -> list[bytes]:
        if environ["PATH_INFO"] == "/wait":
            self.waiting.add(threading.get_ident())
            assert self.go.wait(60)
            self.done += 1
        start("200 OK", [("Content-Type", "text/plain"), ("Content-Length", "2")])
        return [b"ok"]


def test_a_reply_that_nobody_takes_is_given_up(monkeypatch: pytest.MonkeyPatch, capfd: Any) -> None:
    """More than is held for a slow reader: the thread that writes it waits, and is freed."""

    def endless(environ: dict[str, Any], start: Any) -> Iterator[bytes]:
        start("200 OK", [("Content-Type", "text/plain")])
        return (b"x" * (1 << 20) for _ in range(64))

    with running(endless) as server:
        lines = [connected(server) for _ in range(listening.QUICK_THREADS)]
        for line in lines:
            line.sendall(b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
        waiting = server.active_channels
        until(
            lambda: (
                sum(one.total_outbufs_len > 16 << 20 for one in list(waiting.values()))
                == listening.QUICK_THREADS
            )
        )
        monkeypatch.setattr(listening, "ANSWER_S", 0)
        until(lambda: not server.active_channels)
        monkeypatch.undo()
        for line in lines:
            line.close()
        assert asked(server, "GET", "/")[0] == 200
    assert capfd.readouterr().err == ""


def test_what_takes_long_keeps_nobody_waiting_and_who_vanishes_meanwhile_is_not_answered() -> None:
    waits = Waiting()
    rules = dataclasses.replace(OPEN_TO_ALL, is_long=lambda head, begin: head.path == "/wait")
    with running(waits, rules) as server:
        lines = [connected(server) for _ in range(10)]
        for line in lines:
            line.sendall(b"GET /wait HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
        until(lambda: len(waits.waiting) == listening.LONG_THREADS)
        assert asked(server, "GET", "/")[0] == 200
        for line in lines:
            line.close()
        until(lambda: not server.active_channels)
        waits.go.set()
        assert asked(server, "GET", "/wait")[0] == 200
    assert waits.done == listening.LONG_THREADS + 1, "who vanished while they waited"


def test_requests_at_once_share_a_bounded_number_of_threads() -> None:
    waits = Waiting()
    with running(waits) as server:
        lines = [connected(server) for _ in range(40)]
        for line in lines:
            line.sendall(b"GET /wait HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
        until(lambda: len(waits.waiting) == listening.QUICK_THREADS)
        waits.go.set()
        for line in lines:
            assert line.recv(12) == b"HTTP/1.1 200"
            line.close()
        assert len(waits.waiting) == listening.QUICK_THREADS


def test_more_connections_than_there_are_places_wait_for_one(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(listening, "MOST_CONNECTIONS", 12)
    monkeypatch.setattr(listening, "CROWDED_S", 0)
    with running(Waiting()) as server:
        idle = [connected(server) for _ in range(30)]
        assert asked(server, "GET", "/")[0] == 200, "those that are idle make room"
        for line in idle:
            line.close()


def sent(server: Listener, length: int, **headers: str) -> tuple[int, dict[str, str]]:
    """Status and words of an upload of so many bytes, which are all sent before it is answered."""
    status, told, body = asked(
        server, "POST", "/open/upload", b"x" * length, **{ASKED: "open", **headers}
    )
    assert told["Cache-Control"] == "no-store"
    assert told["X-Content-Type-Options"] == "nosniff"
    assert "Content-Security-Policy" in told
    return status, json.loads(body)


def test_an_upload_that_is_too_long_is_told_so_when_it_was_sent(server: Listener) -> None:
    server.rules = dataclasses.replace(server.rules, most=1 << 20)
    status, told = sent(server, 8 << 20)
    assert status == 413
    assert told["problem"] == "too long: found 8 MB, expected at most 1 MB"
    line = connected(server)
    line.sendall(UPLOAD.format(10**13).encode() + b"\r\n")
    assert line.recv(12) == b"HTTP/1.1 413", "what would never end is not waited for"
    closed(line)
    line = connected(server)
    line.sendall(UPLOAD.format(8 << 20).encode() + b"Expect: 100-continue\r\n\r\n")
    assert line.recv(12) == b"HTTP/1.1 413", "and is not asked for"
    closed(line)


def test_a_full_disk_is_told_as_one(
    server: Listener, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "none"))
    status, told = sent(server, 3 << 20)
    assert status == 507
    assert told == {
        "problem": "the log cannot be kept: No such file or directory",
        "hint": "make room on the disk",
    }
    assert not server.coming


def test_uploads_at_once_are_bounded(server: Listener, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(listening, "MOST_COMING", 1)
    line = connected(server)
    line.sendall(UPLOAD.format(10**6).encode() + b"\r\n")
    until(lambda: server.coming)
    assert sent(server, 2_000_000)[0] == 503
    line.close()
    until(lambda: not server.coming)
    assert sent(server, 100)[0] == 202


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"Host": "elsewhere.example"}, 403),
        ({"Origin": "http://elsewhere.example"}, 403),
        ({"Origin": "http://["}, 403),
        ({"Sec_Fetch_Site": "cross-site"}, 403),
        ({ASKED: ""}, 202),
    ],
)
def test_who_may_not_send_a_log_is_refused_before_it_is_kept(
    server: Listener, tmp_path: Path, headers: dict[str, str], status: int
) -> None:
    assert sent(server, 2_000_000, **headers)[0] == status


def test_a_request_that_is_no_upload_is_bounded_too(server: Listener) -> None:
    status, _, body = asked(
        server, "POST", "/_dash-update-component", b"x" * (listening.MOST_ASKED + 1)
    )
    assert (status, body) == (413, b"too long: found 4 MB, expected at most 4 MB\n")


@pytest.mark.parametrize(
    ("sent", "status"),
    [
        (b"nonsense\r\n\r\n", 400),
        (b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03\r\n\r\n", 400),
        (HEAD + b"Content-Length: many\r\n\r\n", 400),
        (HEAD + b"Content-Length: -1\r\n\r\n", 400),
        (HEAD + b" folded\r\nX: \x00\r\n\r\n", 400),
        (HEAD + b"X: " + b"x" * 70_000 + b"\r\n\r\n", 431),
        (HEAD + b"Transfer-Encoding: gzip\r\n\r\n", 501),
        (HEAD + b"Transfer-Encoding: chunked\r\n\r\n", 411),
        (b"GET / HTTP/1.1\r\n\r\n", 403),
        (b"GET / HTTP/1.1\r\nHost: [\r\n\r\n", 403),
        (b"GET http://elsewhere.example/ HTTP/1.1\r\nHost: elsewhere.example\r\n\r\n", 403),
        (b"DELETE /open/ HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n", 405),
        (b"DELETE /open/ HTTP/1.1\r\nHost: 127.0.0.1\r\nExpect: 100-continue\r\n\r\n", 405),
        (b"BREW /open/ HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n", 405),
    ],
)
def test_what_is_no_request_is_answered_in_a_plain_line(
    server: Listener, capfd: Any, sent: bytes, status: int
) -> None:
    line = connected(server)
    line.sendall(sent.removesuffix(b"\r\n") + b"Connection: close\r\n\r\n")
    reply = b""
    while part := line.recv(1 << 16):
        reply += part
    line.close()
    head, _, body = reply.decode().partition("\r\n\r\n")
    assert head.startswith((f"HTTP/1.1 {status} ", f"HTTP/1.0 {status} "))
    assert "nosniff" in head
    assert "Content-Security-Policy" in head
    assert "waitress" not in reply.decode().lower()
    assert body.count("\n") == 1
    assert capfd.readouterr().err == ""


def test_a_refusal_without_the_application_has_the_headers_of_any(server: Listener) -> None:
    server.rules = dataclasses.replace(
        server.rules, refusal=lambda head: Refused(403, "no", "not at all")
    )
    assert sent(server, 10) == (403, {"problem": "no", "hint": "not at all"})


def test_a_server_that_has_ended_may_be_ended_again(tmp_path: Path) -> None:
    """Its pipe has the number of another file by then."""
    made = make()
    with running(made.app.server, made.rules) as server:
        pass
    others = [(tmp_path / f"{n}").open("wb") for n in range(20)]
    server.end()
    for other in others:
        other.close()
    assert [file.read_bytes() for file in tmp_path.iterdir()] == [b""] * 20


def test_the_end_of_the_server_frees_what_was_on_its_way(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    before = unnamed_files(tmp_path)
    made = make()
    with running(made.app.server, made.rules) as server:
        line = connected(server)
        line.sendall(UPLOAD.format(5_000_000).encode() + b"\r\n" + b"x" * 2_000_000)
        until(lambda: unnamed_files(tmp_path) > before)
    assert unnamed_files(tmp_path) == before
    line.close()

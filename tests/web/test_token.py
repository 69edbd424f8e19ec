"""The token: who has it comes in, who has not learns nothing, and guessing is slow."""

from typing import Any

import flask
import pytest
from flask.testing import FlaskClient

from tests.drawing import scene
from tests.web.real_server import asked, connected, running
from tracelens.web.app import Made, make
from tracelens.web.faults import Faults
from tracelens.web.guard import ASKED, Guard
from tracelens.web.refused import Refused
from tracelens.web.token import MOST_WRONG, WITHIN_S, Door

BEYOND = "http://192.0.2.7:8050"
"""An address of RFC 5737, which is no machine's; nothing is sent to it."""


@pytest.fixture
def door() -> Door:
    return Door()


@pytest.fixture
def made(door: Door) -> Made:
    return make(scene.analysis(), guard=Guard("192.0.2.7", door))


@pytest.fixture
def server(made: Made) -> flask.Flask:
    return made.app.server


@pytest.fixture
def client(server: flask.Flask) -> FlaskClient:
    return server.test_client()


def every_path(server: flask.Flask) -> list[str]:
    """A path of every rule of the application."""
    return [rule.rule.replace("<", "").replace(">", "") for rule in server.url_map.iter_rules()]


def test_without_the_token_no_path_says_anything(server: flask.Flask, client: FlaskClient) -> None:
    paths = [*every_path(server), "/nothing", "/?run=sample:knitting_healthy", "/assets/page.css"]
    assert len(paths) > 30
    for path in paths:
        for ask in (client.get, client.post, client.delete):
            reply = ask(path, base_url=BEYOND)
            assert reply.status_code == 401, path
            assert reply.text == (
                "This page asks for a token: open the address that `tracelens serve` printed.\n"
            )
            assert reply.headers["Cache-Control"] == "no-store"
            assert "Set-Cookie" not in reply.headers


def test_the_token_is_given_once_and_then_held_by_a_cookie(client: FlaskClient, door: Door) -> None:
    query = {"token": door.token, "run": "1", "lanes": "a&b"}
    reply = client.get("/", query_string=query, base_url=BEYOND)
    assert reply.status_code == 303
    assert reply.headers["Location"] == "/?run=1&lanes=a%26b"
    cookie = reply.headers["Set-Cookie"]
    assert cookie.startswith(f"{door.cookie}=")
    assert door.token not in cookie
    assert {"HttpOnly", "SameSite=Strict", "Path=/"} <= set(cookie.split("; "))
    page = client.get(reply.headers["Location"], base_url=BEYOND)
    assert page.status_code == 200
    assert door.token not in page.text
    again = client.get("/open/", query_string={"token": door.token}, base_url=BEYOND)
    assert (again.status_code, again.headers["Location"]) == (303, "/open/")


def test_a_token_leads_nowhere_else(made: Made, door: Door) -> None:
    with running(made.app.server, made.rules) as server:
        for path in ("//e.example/", "/\\e.example", "///e.example/x", "/%2f%2fe.example", "/%5ce"):
            status, headers, _ = asked(server, "GET", f"{path}?token={door.token}")
            assert status == 303
            assert headers["Location"].startswith("/e"), path


@pytest.mark.parametrize("token", ["", "x", "\udcff", "é" * 40, "a" * 10_000])
def test_a_wrong_token_is_refused(client: FlaskClient, token: str) -> None:
    reply = client.get("/", query_string={"token": token.encode("utf-8", "replace")},
                       base_url=BEYOND)  # fmt: skip
    assert (reply.status_code, reply.text) == (403, "This is not the token of this page.\n")


def test_a_wrong_cookie_is_refused_and_one_of_another_server_is_none(
    client: FlaskClient, door: Door
) -> None:
    client.set_cookie(door.cookie, "x" * 43, domain="192.0.2.7")
    assert client.get("/", base_url=BEYOND).status_code == 403
    client.delete_cookie(door.cookie, domain="192.0.2.7")
    client.set_cookie(Door().cookie, Door().pass_, domain="192.0.2.7")
    assert client.get("/", base_url=BEYOND).status_code == 401


def test_guesses_are_bounded_and_lock_out_nobody_who_is_in() -> None:
    now = [0.0]
    door = Door(lambda: now[0])
    for _ in range(MOST_WRONG):
        assert door.look("a", None, "guess").status == 403
    shut = door.look("a", None, door.token)
    assert isinstance(shut, Refused), "not even the right one is listened to"
    assert shut.status == 429
    assert door.look("a", "guess", None) == shut
    assert door.look("a", door.pass_, None) is False
    assert door.look("b", None, door.token) is True
    assert door.look("a", None, None) == door.look("c", None, None), "asking without is no guess"
    now[0] = WITHIN_S + 1
    assert door.look("a", None, door.token) is True


def test_of_addresses_that_guess_a_bounded_number_is_remembered() -> None:
    door = Door()
    for number in range(3000):
        door.look(str(number), None, "guess")
    assert len(door._wrong) <= 1000


def test_tokens_are_long_random_and_never_the_same() -> None:
    """RFC 6750 leaves the length open; 128 bits is what OWASP asks of a session's identifier."""
    doors = [Door() for _ in range(100)]
    words = [word for door in doors for word in (door.token, door.pass_)]
    assert len(set(words)) == 200
    assert min(map(len, words)) * 6 >= 128


@pytest.mark.parametrize(
    ("host", "status"),
    [
        ("192.0.2.7:8050", 401),
        ("[2001:db8::7]:8050", 401),
        ("127.0.0.1:8050", 401),
        ("localhost:8050", 401),
        ("elsewhere.example:8050", 403),
        ("192.0.2.7.elsewhere.example", 403),
        ("", 403),
    ],
)
def test_beyond_this_machine_a_foreign_name_is_refused_too(
    client: FlaskClient, host: str, status: int
) -> None:
    reply = client.get("/", base_url=BEYOND, headers={"Host": host})
    assert reply.status_code == status


def test_the_name_that_was_given_and_the_machine_s_own_are_known() -> None:
    import socket

    guard = Guard("bench3.example", Door())
    for host in ("bench3.example", "BENCH3.example:80", socket.gethostname()):
        assert guard.refusal("GET", {"Host": host}) is None


@pytest.mark.parametrize(
    ("sent", "status"),
    [
        (b"GET //x?token=\xe9 HTTP/1.1\r\n", b"400"),
        (b"GET /?token=%e9 HTTP/1.1\r\n", b"403"),
        (b"GET / HTTP/1.1\r\nCookie: a=\xff\r\n", b"401"),
        (b"POST /open/upload HTTP/1.1\r\nContent-Length: 1\r\nCookie: a=\xff\r\n", b"401"),
    ],
)
def test_what_is_no_text_is_refused_in_a_line_and_no_fault(
    door: Door, sent: bytes, status: bytes
) -> None:
    said: list[str] = []
    made = make(scene.analysis(), guard=Guard("192.0.2.7", door), faults=Faults(said.append))
    with running(made.app.server, made.rules) as server, connected(server) as line:
        body = b"x" * sent.count(b"Content-Length: 1")
        line.sendall(sent + b"Host: 192.0.2.7\r\nConnection: close\r\n\r\n" + body)
        reply = b"".join(iter(lambda: line.recv(1 << 16), b""))
    assert reply.split(b" ")[1] == status
    assert said == []


def test_an_upload_without_the_token_is_refused_before_it_is_kept(made: Made, door: Door) -> None:
    with running(made.app.server, made.rules) as server:
        for cookie, status in (("", 401), (f"{door.cookie}=guess", 403),
                               (f"{door.cookie}={door.pass_}", 202)):  # fmt: skip
            told: Any = asked(
                server,
                "POST",
                "/open/upload",
                b"x" * 1_000_000,
                **{ASKED: "open", "Cookie": cookie},
            )
            assert told[0] == status

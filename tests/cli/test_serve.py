"""`tracelens serve`: the page answers on this machine, and Ctrl-C ends it."""

import contextlib
import http.client
import re
import signal
import socket
import subprocess
import sys
from pathlib import Path
from urllib.request import urlopen

import pytest

from tracelens.cli.main import main

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize(
    "command",
    [
        ["-m", "tracelens", "serve", "--port", "0", "LOG"],
        pytest.param(["-m", "tracelens", "serve", "--port", "0"], marks=pytest.mark.night),
        pytest.param(
            ["-m", "tracelens", "serve", "--port", "0", "--follow", "LOG"], marks=pytest.mark.night
        ),
        ["app.py", "--port", "0", "LOG"],
    ],
)
def test_the_page_answers_on_loopback_until_ctrl_c(log, command):
    with subprocess.Popen(
        [sys.executable, *(str(log) if word == "LOG" else word for word in command)],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    ) as process:
        try:
            said = process.stdout.readline()
            address = re.match(r"http://127\.0\.0\.1:\d+/", said)
            assert address, said
            with urlopen(address[0], timeout=30) as reply:
                assert b"tracelens" in reply.read()
            process.send_signal(signal.SIGINT)
            assert process.wait(timeout=30) in (0, 128 + signal.SIGINT)
        finally:
            process.kill()


@pytest.mark.parametrize(
    ("options", "warns"),
    [
        (["--host", "0.0.0.0"], True),
        pytest.param(["--token"], False, marks=pytest.mark.night),
        pytest.param(["--host", "127.0.0.2", "--token"], False, marks=pytest.mark.night),
    ],
)
def test_with_a_token_only_who_has_the_printed_address_comes_in(log, options, warns):
    """Bound to any address, asked over loopback: nothing leaves this machine."""
    with subprocess.Popen(
        [sys.executable, "-m", "tracelens", "serve", "--port", "0", *options, str(log)],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        try:
            said = process.stdout.readline()
            address = re.match(r"http://[^:]+:(\d+)/\?token=(\S{32}) shows the page", said)
            assert address, said
            port, token = int(address[1]), address[2]
            host = "127.0.0.2" if "127.0.0.2" in options else "127.0.0.1"
            line = http.client.HTTPConnection(host, port, timeout=30)
            with contextlib.closing(line):
                for path, status in (("/", 401), ("/?token=x", 403), (f"/?token={token}", 303)):
                    line.request("GET", path)
                    reply = line.getresponse()
                    assert reply.status == status
                    assert len(reply.read()) < 100
                line.request("GET", "/", headers={"Cookie": reply.headers["Set-Cookie"]})
                page = line.getresponse()
                assert page.status == 200
                assert b"tracelens" in page.read()
            process.send_signal(signal.SIGINT)
            assert process.wait(timeout=30) in (0, 128 + signal.SIGINT)
            told = process.stderr.read()
            assert ("not encrypted" in told) is warns
            assert max(map(len, told.splitlines()), default=0) <= 80
        finally:
            process.kill()


def test_a_token_is_not_put_where_other_users_can_read_it(log, capsys):
    assert main(["serve", str(log), "--port", "0", "--token", "--open"]) == 2
    assert capsys.readouterr().err.startswith("tracelens: --open does not go with a token")


def test_an_address_that_is_not_this_machine_s_is_said_in_one_line(log, capsys):
    """192.0.2.7 is for documents (RFC 5737); nothing is sent to it, for it cannot be bound."""
    assert main(["serve", str(log), "--port", "0", "--host", "192.0.2.7"]) == 2
    assert capsys.readouterr().err.startswith("tracelens: port 0 of 192.0.2.7 cannot be opened: ")


def test_a_port_that_is_taken_is_said_in_one_line(log, capsys):
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        assert main(["serve", str(log), "--port", str(port)]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert lines[0].startswith(f"tracelens: port {port} of 127.0.0.1 cannot be opened")
    assert [line for line in lines if line.startswith("Hint: ")]


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--follow"], "no log for --follow"),
        (["--system", "x.toml"], "no log for --system"),
        (["--strict"], "no log for --strict"),
        (["--follow", "-"], "--follow is for one file"),
        (["--follow", "a.csv", "b.csv"], "--follow is for one file"),
        (["--follow", "--strict", "a.csv"], "--follow is for one file"),
    ],
)
def test_what_does_not_go_together_is_refused(arguments, says, capsys):
    assert main(["serve", "--port", "0", *arguments]) == 2
    assert capsys.readouterr().err.startswith(f"tracelens: {says}")


def test_a_log_to_follow_that_is_not_there_is_said(tmp_path, capsys):
    assert main(["serve", "--port", "0", "--follow", str(tmp_path / "none.csv")]) == 3
    assert "none.csv: no such file" in capsys.readouterr().err

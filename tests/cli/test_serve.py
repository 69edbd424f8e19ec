"""`tracelens serve`: the page answers on this machine, and Ctrl-C ends it."""

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

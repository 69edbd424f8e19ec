"""What is under way is shown on a terminal, and nowhere else."""

import io
import sys
import time

from tracelens.cli.main import main
from tracelens.cli.progress import progress


class Terminal(io.StringIO):
    """A terminal that can move its cursor."""

    def isatty(self):
        return True


def test_nothing_is_shown_in_a_pipe(log, capsys):
    assert main(["report", str(log)]) == 0
    assert capsys.readouterr().err == ""


def test_on_a_terminal_each_step_is_named_and_leaves_no_trace(monkeypatch):
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    monkeypatch.setenv("TERM", "xterm")
    with progress() as say:
        say("reading the log")
        for _ in range(100):
            if "reading the log" in terminal.getvalue():
                break
            time.sleep(0.02)
    assert "reading the log …" in terminal.getvalue()
    # ECMA-48: EL 2, the last thing on the line is that it is erased.
    assert terminal.getvalue().rstrip().endswith("\x1b[2K")

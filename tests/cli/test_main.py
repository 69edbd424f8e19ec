"""The command: exit status, errors in one line, help without delay, quiet ends."""

import importlib
import signal
import subprocess
import sys
from pathlib import Path

import click
import pytest

from tracelens.cli import main as cli
from tracelens.errors import DamageError, InputError, LogError, UsageError

ROOT = Path(__file__).parents[2]
HEAVY = ("polars", "numpy", "numba", "plotly", "dash", "rich", "jinja2")


def start(*args: str, **options) -> subprocess.Popen:
    """The command in a process of its own, as a shell starts it."""
    return subprocess.Popen(
        [sys.executable, "-m", "tracelens", *args],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        **options,
    )


def test_the_help_lists_every_command_and_imports_nothing_heavy():
    code = (
        "import sys; from tracelens.cli.main import main; status = main(['--help']);"
        f"print([name for name in {HEAVY} if name in sys.modules], status)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert done.stdout.endswith("[] 0\n")
    assert [name for name in cli.COMMANDS if f"  {name} " not in done.stdout] == []


@pytest.mark.parametrize("name", cli.COMMANDS)
def test_a_command_has_the_name_and_the_line_under_which_the_help_lists_it(name):
    command = getattr(importlib.import_module(f"tracelens.cli.{name}"), name)
    assert command.name == name
    assert command.get_short_help_str(200) == cli.COMMANDS[name]


@pytest.mark.parametrize("name", cli.COMMANDS)
def test_every_option_has_help(name):
    command = getattr(importlib.import_module(f"tracelens.cli.{name}"), name)
    options = [param for param in command.params if isinstance(param, click.Option)]
    assert [option.name for option in options if not option.help and not option.show_default] == []


@pytest.mark.parametrize(
    ("args", "line", "hint"),
    [
        ([], "Missing command.", "tracelens --help"),
        (
            ["report", "run.csv", "--json"],
            "Option '--json' requires an argument.",
            "tracelens report --help",
        ),
        (
            ["reprot"],
            f"no such command: found 'reprot', expected one of {', '.join(cli.COMMANDS)}",
            "did you mean `tracelens report`?",
        ),
        (["report"], "Missing argument 'LOG...'.", "tracelens report --help"),
        (
            ["report", "x", "--from", "3"],
            "Invalid value for '--from': found '3', expected a time such as 1.5s, 12ms or 250us",
            "tracelens report --help",
        ),
        (
            ["report", "x", "--json", "-", "--markdown", "-"],
            "standard output takes one document: found 2 options with '-', expected one",
            "give a file name to the others",
        ),
    ],
)
def test_wrong_usage_is_one_line_a_hint_and_status_2(capsys, args, line, hint):
    assert cli.main(args) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err == f"tracelens: {line}\nHint: {hint}\n"


@pytest.mark.parametrize(
    ("error", "status"),
    [(UsageError, 2), (InputError, 3), (LogError, 3), (DamageError, 4)],
)
def test_an_error_for_the_user_is_one_line_a_hint_and_its_status(
    monkeypatch, capsys, error, status
):
    def fail(*_args, **_options):
        raise error("found \x1b[31m, expected a number", place="run.csv:118", hint="see FORMAT.md")

    monkeypatch.setattr("tracelens.reading.read", fail)
    assert cli.main(["report", "run.csv"]) == status
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err == (
        "tracelens: run.csv:118: found \\x1b[31m, expected a number\nHint: see FORMAT.md\n"
    )


def test_a_bug_is_not_dressed_up_as_the_users_mistake(monkeypatch):
    def fail(*_args, **_options):
        raise ZeroDivisionError

    monkeypatch.setattr("tracelens.reading.read", fail)
    with pytest.raises(ZeroDivisionError):
        cli.main(["report", "run.csv"])


def test_too_little_memory_is_one_line_and_a_hint(monkeypatch, capsys):
    def fail(*_args, **_options):
        raise MemoryError("no room for 8 bytes")

    monkeypatch.setattr("tracelens.reading.read", fail)
    assert cli.main(["report", "run.csv"]) == 3
    told = capsys.readouterr().err.splitlines()
    assert told[0] == "tracelens: not enough memory: no room for 8 bytes"
    assert told[1].startswith("Hint: ")


def test_ctrl_c_is_quiet(monkeypatch, capsys):
    def interrupt(*_args, **_options):
        raise KeyboardInterrupt

    monkeypatch.setattr("tracelens.reading.read", interrupt)
    assert cli.main(["report", "run.csv"]) == 128 + signal.SIGINT
    assert capsys.readouterr().err.strip() == ""


def test_a_reader_that_goes_away_is_no_error():
    log = str(ROOT / "tests" / "micro" / "08_third_party_inversion.csv")
    with start("report", log, "--json", "-") as process:
        process.stdout.close()
        assert process.stderr.read() == ""
        assert process.wait() == 128 + signal.SIGPIPE


def test_the_version_is_the_packages(capsys):
    import tracelens

    assert cli.main(["--version"]) == 0
    assert capsys.readouterr().out == f"tracelens {tracelens.__version__}\n"

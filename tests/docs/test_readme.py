"""The README's commands and examples run as they stand there."""

import contextlib
import io
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tracelens.cli.main import COMMANDS, main

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def fenced(language: str) -> list[str]:
    """The fenced code blocks of one language, in order."""
    return re.findall(rf"^```{language}\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)


def commands() -> list[str]:
    """Every line `$ COMMAND` of the console blocks."""
    return re.findall(r"^\$ (.+)$", "\n".join(fenced("console")), re.MULTILINE)


@pytest.fixture
def directory(tmp_path, monkeypatch):
    """A directory with the sample logs, as the README's reader has it."""
    shutil.copytree(ROOT / "sample_traces", tmp_path / "sample_traces")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize("command", commands())
def test_the_command_runs(directory, command):
    as_module = re.sub(r"^tracelens\b", f"{sys.executable} -m tracelens", command)
    done = subprocess.run(
        ["bash", "-euo", "pipefail", "-c", as_module],
        cwd=directory,
        env={"PATH": "/usr/bin:/bin", "PYTHONPATH": str(ROOT), "PYTHONWARNINGS": "error"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.parametrize("command", re.findall(r"^    tracelens (serve.*)$", README, re.MULTILINE))
def test_the_page_is_served_by_the_command(directory, monkeypatch, command):
    """As far as the server: it would run until Ctrl-C."""
    shutil.copy("sample_traces/knitting_inversion.csv", "run.csv")
    (directory / "nightly").mkdir()
    served = []
    monkeypatch.setattr(
        "tracelens.web.serving.serve", lambda *runs, **how: served.append((runs, how))
    )
    assert main([*command.split(), "--port", "0"]) == 0
    ((runs, how),) = served
    assert len(runs) == (command == "serve run.csv")
    assert (how["follower"] is None) == ("--follow" not in command)
    assert (how["history"] is None) == ("--history" not in command)


def test_the_python_example_runs(directory):
    printed = io.StringIO()
    for example in fenced("python"):
        with contextlib.redirect_stdout(printed):
            exec(compile(example, "README.md", "exec"), {})
    assert "needle_select" in printed.getvalue()


def test_the_example_log_can_be_read(directory):
    (directory / "example.csv").write_text(fenced("text")[0], encoding="utf-8")
    import tracelens as tl

    assert tl.read("example.csv").jobs.height == 1


def test_the_table_of_commands_is_complete():
    assert re.findall(r"^\| `tracelens (\w+)", README, re.MULTILINE) == list(COMMANDS)


@pytest.mark.parametrize("script", re.findall(r"^    bash (\S+)$", README, re.MULTILINE))
def test_the_two_commands_of_the_first_page_are_scripts_that_bash_can_parse(script):
    subprocess.run(["bash", "-n", ROOT / script], check=True)


def test_the_first_page_has_the_two_commands_and_the_checks_run_both():
    assert re.findall(r"^    bash (\S+)$", README, re.MULTILINE) == [".ci/try", ".ci/test"]
    checks = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert re.search(r"^(\w+=\w+ )?bash \.ci/try ", checks, re.MULTILINE)
    assert re.search(r"^bash \.ci/test$", checks, re.MULTILINE)


def test_every_file_that_is_linked_is_there():
    links = re.findall(r"\]\((?!https?:)([^)#]+)\)", README)
    assert links
    assert [link for link in links if not (ROOT / link).exists()] == []

"""Walks through a document as its reader would: saves the files, types the commands.

What a command prints is compared with what the document says it prints, line by line; `...` on a
line of its own stands for any lines. A status other than 0 must be told by `echo $?`.
"""

import contextlib
import difflib
import io
import os
import re
import shlex
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from tests.docs.blocks import ROOT, Block
from tracelens.cli.main import main

OMITTED: Final = "..."
COLUMNS: Final = "80"
_FOR_A_SHELL: Final = set("|<>&;$*`~")


@dataclass(frozen=True, slots=True)
class Typed:
    """A command, and the lines that the document shows below it."""

    line: int
    command: str
    shown: tuple[str, ...]


def typed(block: Block) -> list[Typed]:
    """The commands of a console block: after `$ `, going on after a backslash."""
    found: list[Typed] = []
    lines = block.text.splitlines()
    at = 0
    while at < len(lines):
        assert lines[at].startswith("$ "), f"{block.document}:{block.line + at}: no command"
        first, command = at, lines[at][2:]
        while command.endswith("\\"):
            at += 1
            command = f"{command[:-1].rstrip()} {lines[at].strip()}"
        at += 1
        shown = at
        while at < len(lines) and not lines[at].startswith("$ "):
            at += 1
        found.append(Typed(block.line + first, command, tuple(lines[shown:at])))
    return found


def difference(shown: Sequence[str], printed: str) -> str | None:
    """Where an excerpt is not what was printed; None if it is."""
    lines = [line.rstrip() for line in printed.splitlines()]
    at, loose = 0, False
    for line in (line.rstrip() for line in shown):
        if line == OMITTED:
            loose = True
            continue
        ahead = range(at, len(lines)) if loose else range(at, min(at + 1, len(lines)))
        found = next((here for here in ahead if lines[here] == line), None)
        if found is None:
            near = difflib.get_close_matches(line, lines, 2, 0.4) or lines[at : at + 3]
            return "\n    ".join(("not printed here:", line, "but", *near))
        at, loose = found + 1, False
    return None if loose or at == len(lines) else f"not in the document: {lines[at]!r}"


def environment() -> dict[str, str]:
    """What a reader's shell has, in a terminal of 80 columns."""
    scripts = str(Path(sys.executable).parent)
    return {
        "PATH": f"{scripts}:/usr/local/bin:/usr/bin:/bin",
        "PYTHONPATH": str(ROOT),
        "COLUMNS": COLUMNS,
        "HOME": os.environ.get("HOME", "/"),
        "LANG": "C.UTF-8",
    }


@dataclass(slots=True)
class Reader:
    """Someone at a terminal, in `directory`, who has read up to here."""

    directory: Path
    as_typed: bool = False
    status: int = 0
    names: dict[str, Any] = field(default_factory=dict)

    def save(self, block: Block) -> None:
        """Save a block under the name that the document gives it."""
        file = self.directory / block.file
        assert not file.exists(), f"{block.place}: {block.file} is there already"
        file.write_text(block.text, encoding="utf-8")

    def type(self, one: Typed, document: str) -> None:
        """Type a command, and compare what it prints, if the document shows that."""
        place = f"{document}:{one.line}: {one.command}"
        if one.command == "echo $?":
            assert one.shown == (str(self.status),), f"{place}: the status is {self.status}"
            self.status = 0
            return
        assert self.status == 0, f"{place}: comes after status {self.status}, which is not told"
        self.status, printed = self._run(one.command)
        wrong = difference(one.shown, printed) if one.shown else None
        assert wrong is None, f"{place}: {wrong}"
        if not one.shown:
            assert self.status == 0, f"{place}: status {self.status}\n{printed}"

    def _run(self, command: str) -> tuple[int, str]:
        words = shlex.split(command)
        here = words[0] == "tracelens" and not _FOR_A_SHELL & set(command)
        # The processes of a batch begin by importing what began them.
        if here and words[1] != "batch" and not self.as_typed:
            return self._here(words[1:])
        done = subprocess.run(
            ["bash", "-uo", "pipefail", "-c", command],
            cwd=self.directory, env=environment(), text=True, check=False,
            stdout=subprocess.PIPE, stderr=subprocess.STDOUT, stdin=subprocess.DEVNULL,
        )  # fmt: skip
        return done.returncode, done.stdout

    def _here(self, words: list[str]) -> tuple[int, str]:
        """The command in this process: its start-up would cost more than most of its work."""
        printed = io.TextIOWrapper(io.BytesIO(), "utf-8", write_through=True)
        with (
            contextlib.chdir(self.directory),
            contextlib.redirect_stdout(printed),
            contextlib.redirect_stderr(printed),
        ):
            status = main(words)
        printed.seek(0)
        return status, printed.read()

    def run_python(self, block: Block) -> str:
        """Run a block of Python after those before it. Returns what it prints."""
        printed = io.StringIO()
        code = compile("\n" * (block.line - 1) + block.text, block.document, "exec")
        with contextlib.chdir(self.directory), contextlib.redirect_stdout(printed):
            exec(code, self.names)
        return printed.getvalue()


def options_named(text: str) -> list[tuple[str, str]]:
    """(command, option) of the commands that a text types or names in passing."""
    found = []
    whole = re.sub(r"\\\n\s*", "", text)
    for command in re.findall(r"(?:`|\$ |; |do )tracelens ([a-z][^`\n|;]*)", whole):
        name, *words = command.split()
        found += [(name, word) for word in words if re.fullmatch(r"--[a-z-]+", word)]
    return found

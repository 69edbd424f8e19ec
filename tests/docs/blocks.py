"""The code blocks of the documents, as their reader sees them.

A block is fenced and names its language; after the language may stand the name of the file that
its reader saves it as. A block that no test can run begins with a line that says why.
"""

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Final

ROOT: Final = Path(__file__).parents[2]
GOLDEN: Final = "golden"  # recorded reports, no documents

_FENCE: Final = re.compile(r"^(?P<indent> *)```(?P<language>\w*) ?(?P<file>\S*)$")
_NEEDS: Final = re.compile(r"^# Needs (.+); no test runs it\.$")


@dataclass(frozen=True, slots=True)
class Block:
    """A code block; `line` is the first one inside, counted from 1."""

    document: str
    line: int
    language: str
    file: str
    text: str

    @property
    def place(self) -> str:
        """For messages: document and line."""
        return f"{self.document}:{self.line}"

    @property
    def needs(self) -> str | None:
        """What it takes to run it that no test has; None for a block that runs."""
        found = _NEEDS.match(self.text.partition("\n")[0])
        return found[1] if found else None


def documents() -> list[str]:
    """Every document of the project, by its path from the root."""
    found = [*ROOT.glob("*.md")]
    for folder in ("sample_traces", "tests", "tracelens"):
        found += (ROOT / folder).rglob("*.md")
    return sorted(str(p.relative_to(ROOT)) for p in found if GOLDEN not in p.parts)


def text(document: str) -> str:
    """The whole of a document."""
    return (ROOT / document).read_text(encoding="utf-8")


def blocks(document: str) -> list[Block]:
    """Its code blocks, in order; the language is empty where the fence names none."""
    found: list[Block] = []
    opened: re.Match[str] | None = None
    inside: list[str] = []
    for number, line in enumerate(text(document).splitlines(), 1):
        if opened is None:
            opened, inside = _FENCE.match(line), []
        elif line.strip() == "```":
            content = "".join(f"{one.removeprefix(opened['indent'])}\n" for one in inside)
            first = number - len(inside)
            found.append(Block(document, first, opened["language"], opened["file"], content))
            opened = None
        else:
            inside.append(line)
    return found


def unfenced(document: str) -> list[str]:
    """What a reader of Markdown shows as code although no fence is around it."""
    return re.findall(r"^\n {4}(\S.*)$", without_blocks(document), re.MULTILINE)


def without_blocks(document: str) -> str:
    """The text between the blocks."""
    return re.sub(r"^ *```.*?^ *```$", "-", text(document), flags=re.MULTILINE | re.DOTALL)

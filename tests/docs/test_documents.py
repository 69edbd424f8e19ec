"""Every document: what stands in its code blocks runs, and prints what it says it prints.

By day the commands run in this process, and what takes seconds is left out; at night everything is
typed into a shell as it stands. Either way a document is walked through from its first block to its
last, in one directory that has the samples, as its reader would.
"""

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from tests.docs.blocks import ROOT, Block, blocks, documents, text, unfenced, without_blocks
from tests.docs.walk import COLUMNS, Reader, Typed, difference, options_named, typed
from tests.probe import build
from tracelens.cli.main import COMMANDS, main, tracelens
from tracelens.convert.mapping_toml import parse_mapping
from tracelens.formats.toml_schema import parse_toml
from tracelens.reading import read

DOCUMENTS = documents()

NEEDED = [
    ("sample_traces/COMMANDS.md", "a Dask cluster"),
    ("sample_traces/RECORDING.md", "a board on a serial port"),
]
"""All blocks that no test runs, and why. As few as possible."""

DRAWN = ["DEVELOPERS.md"]
"""Documents with a block of text that is a drawing, one each."""

OF_THE_CHECKS = ["bash .ci/try", "bash .ci/test", "bash .ci/run"]
"""Commands that are checked by being what checks: see `test_readme.py`."""

SLOW = re.compile(
    r"--(search|scale|clock|html)|^tracelens batch|^bash |^pytest|^for |compare before after"
)
"""Commands that are left to the night, and so are those that need what they leave."""

OF_THE_NIGHT = ["sample_traces/CI.md"]
"""Documents that are one long night's work."""


def at(document: str) -> str:
    return document.replace("/", "-")


@pytest.fixture
def directory(tmp_path, monkeypatch):
    """A directory with the sample logs, as the documents' reader has it."""
    shutil.copytree(ROOT / "sample_traces", tmp_path / "sample_traces")
    monkeypatch.setenv("COLUMNS", COLUMNS)
    return tmp_path


def walk(document: str, reader: Reader, leave_out: re.Pattern[str] | None = None) -> None:
    """Walk through a document. What it leaves out is not waited for by what comes after."""
    printed = None
    for block in blocks(document):
        if block.needs:
            continue
        if block.file:
            reader.save(block)
        if block.language == "console":
            for one in typed(block):
                if one.command in OF_THE_CHECKS or (leave_out and leave_out.search(one.command)):
                    continue
                if one.command.startswith("tracelens serve"):
                    served(one, reader)
                else:
                    reader.type(one, document)
        elif block.language == "python":
            printed = reader.run_python(block)
        elif block.language == "output":
            assert printed is not None, f"{block.place}: nothing printed this"
            wrong = difference(block.text.splitlines(), printed)
            assert wrong is None, f"{block.place}: {wrong}"
            printed = None
        else:
            READ[block.language](block, reader.directory)
    assert reader.status == 0, f"{document}: ends with status {reader.status}, which is not told"


def served(one: Typed, reader: Reader) -> None:
    """The command as far as the server: it would run until Ctrl-C."""
    said = []
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("tracelens.web.serving.serve", lambda *runs, **how: said.append((runs, how)))
        patch.chdir(reader.directory)
        assert main([*one.command.split()[1:], "--port", "0"]) == 0
    ((runs, how),) = said
    words = one.command.split()[2:]
    follows, history = "--follow" in words, "--history" in words
    assert (how["follower"] is not None) == follows
    assert (how["history"] is not None) == history
    assert how["open_browser"] == ("--open" in words)
    assert len(runs) == sum(word.endswith(".csv") for word in words) - follows


def is_toml(block: Block, directory: Path) -> None:
    """A mapping, or what the one schema of all other files takes."""
    if re.search(r"^\[\[(line|signal)\]\]", block.text, re.MULTILINE):
        parse_mapping(block.text)
    elif "[answers]" not in block.text:  # the form of an exercise, which is marked
        assert parse_toml(block.text, block.place) != parse_toml("", block.place)


def is_log(block: Block, directory: Path) -> None:
    log = directory / "of_a_block.csv"
    log.write_text(block.text, encoding="utf-8")
    assert read(log, strict=True).log.events.height


def is_c(block: Block, directory: Path) -> None:
    """It compiles after what every program has: where it is a statement, inside a function."""
    function = re.match(r"\w+ \w+\(\w[^;]*\{", block.text)
    inside = block.text if function else f"void f(void);\nvoid f(void)\n{{\n{block.text}}}\n"
    program = f"""
        #include <stdio.h>
        #include "tracelens_probe.h"
        unsigned long counter(void);
        unsigned core(void);
        void send(const uint8_t *, uint32_t);
        void on_switch(int, int);
        extern unsigned task, task_index;
        {inside}
    """
    done = subprocess.run(
        ["gcc", *build.STRICT, "-Wno-unused", "-fsyntax-only", "-I.", "-x", "c", "-"],
        cwd=build.directory(), input=program, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, f"{block.place}: {done.stderr}"


def is_shown(block: Block, directory: Path) -> None:
    """Text that is no code: saved for a later command, or a drawing."""
    assert block.file or block.document in DRAWN, f"{block.place}: what is this for?"


def is_saved(block: Block, directory: Path) -> None:
    """A file that a later command of the document runs."""
    later = "\n".join(
        one.text for one in blocks(block.document)
        if one.line > block.line and one.language == "console"
    )  # fmt: skip
    assert block.file, f"{block.place}: a file without a name"
    assert block.file in later, f"{block.place}: nothing runs {block.file}"


READ = {
    "toml": is_toml, "csv": is_log, "c": is_c, "text": is_shown, "py": is_saved, "sh": is_saved,
}  # fmt: skip


def test_every_document_is_walked_through():
    assert {"README.md", "DEVELOPERS.md", "sample_traces/TUTORIAL.md"} <= set(DOCUMENTS)
    kinds = {block.language for document in DOCUMENTS for block in blocks(document)}
    assert kinds - {"console", "python", "output"} == set(READ)
    assert [line for document in DOCUMENTS for line in unfenced(document)] == []


def test_what_no_test_runs_is_said_and_counted():
    found = [block for document in DOCUMENTS for block in blocks(document)]
    assert [(block.document, block.needs) for block in found if block.needs] == NEEDED
    drawn = [block.document for block in found if block.language == "text" and not block.file]
    assert drawn == DRAWN


@pytest.mark.parametrize(
    "document",
    [
        pytest.param(one, marks=[pytest.mark.night] * (one in OF_THE_NIGHT), id=at(one))
        for one in DOCUMENTS
        if blocks(one)
    ],
)
def test_it_is_as_it_says(document, directory):
    walk(document, Reader(directory), None if document in OF_THE_NIGHT else SLOW)


@pytest.mark.night
@pytest.mark.parametrize(
    "document", [one for one in DOCUMENTS if "```console" in text(one)], ids=at
)
def test_it_is_as_it_says_in_a_shell(document, directory):
    walk(document, Reader(directory, as_typed=True))


@pytest.mark.parametrize("document", DOCUMENTS, ids=at)
def test_the_options_that_it_names_are_there(document):
    for name, option in options_named(text(document)):
        assert name in COMMANDS, f"{document}: tracelens {name}"
        command = tracelens.get_command(None, name)
        known = [command, *getattr(command, "commands", {}).values()]
        offered = {said for one in known for given in one.params for said in given.opts}
        assert option in offered | {"--help", "--CHANGE"}, f"{document}: {name} {option}"


@pytest.mark.parametrize("document", DOCUMENTS, ids=at)
def test_what_it_links_to_is_there(document):
    for target in re.findall(r"\]\((?!https?:)([^)\s]+)\)", without_blocks(document)):
        name, _, part = target.partition("#")
        linked = (ROOT / document).parent / name if name else ROOT / document
        assert linked.exists(), f"{document}: {target}"
        if part:
            assert part in anchors(linked.read_text(encoding="utf-8")), f"{document}: {target}"


def anchors(page: str) -> set[str]:
    """The anchors that a page of Markdown gets from its headings, as its readers make them."""
    headings = re.findall(r"^#+ (.*)$", page, re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", one.lower()).replace(" ", "-") for one in headings}


@pytest.mark.parametrize(
    ("shown", "printed", "right"),
    [
        (["a", "b"], "a\nb\n", True),
        (["a"], "a\nb\n", False),
        (["a", "..."], "a\nb\n", True),
        (["...", "b"], "a\nb\n", True),
        (["b"], "a\nb\n", False),
        (["a", "...", "c"], "a\nb\nc\n", True),
        (["a", "c"], "a\nb\nc\n", False),
        (["...", "c", "...", "a"], "a\nb\nc\n", False),
        (["a", "b"], "a\n", False),
        (["a", "..."], "a  \n", True),
    ],
)
def test_an_excerpt_is_compared_line_by_line(shown, printed, right):
    assert (difference(shown, printed) is None) == right


def test_a_command_goes_on_after_a_backslash():
    block = Block("x.md", 5, "console", "", "$ one \\\n    two\nsaid\n$ three\n")
    assert typed(block) == [Typed(5, "one two", ("said",)), Typed(8, "three", ())]


@pytest.mark.parametrize(
    ("console", "said"),
    [
        ("$ tracelens report nowhere.csv\n", "status 3"),
        ("$ tracelens --version\nanother\n", "not printed here:\n *another"),
        ("$ false\nx\n", "not printed here"),
    ],
)
def test_a_command_that_does_not_do_what_is_shown_is_found(directory, console, said):
    (one,) = typed(Block("x.md", 1, "console", "", console))
    with pytest.raises(AssertionError, match=said):
        Reader(directory).type(one, "x.md")

"""What the README promises of set-up and commands is so."""

import re
import subprocess

import pytest

from tests.docs.blocks import ROOT, blocks, text
from tests.docs.test_documents import OF_THE_CHECKS
from tests.docs.walk import typed
from tracelens.cli.main import COMMANDS

README = text("README.md")


def test_the_table_of_commands_is_complete():
    assert re.findall(r"^\| `tracelens (\w+)", README, re.MULTILINE) == list(COMMANDS)


def test_two_commands_do_all_set_up_and_the_checks_run_both():
    shown = [one.command for block in blocks("README.md") if block.language == "console"
             for one in typed(block)]  # fmt: skip
    assert shown[:2] == ["bash .ci/try", "bash .ci/test"]
    checks = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert re.search(r"^(\w+=\w+ )?bash \.ci/try ", checks, re.MULTILINE)
    assert re.search(r"^bash \.ci/test$", checks, re.MULTILINE)


@pytest.mark.parametrize("command", OF_THE_CHECKS)
def test_what_the_checks_run_are_scripts_that_bash_can_parse(command):
    subprocess.run(["bash", "-n", ROOT / command.split()[1]], check=True)


def test_it_can_be_read_in_a_minute():
    """250 words a minute is usual for plain prose; tables, blocks and cautions are looked up."""
    first = re.sub(r"```.*?```", "", README.split("\n## Where to go on\n")[0], flags=re.DOTALL)
    assert len(first.split()) < 250

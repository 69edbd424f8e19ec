"""The references leave nothing out: every key of a system file, every public name in Python."""

import re

import pytest

import tracelens
from tests.docs.blocks import blocks, text, without_blocks
from tests.docs.test_pictures import FOLDER
from tracelens import replay, testing
from tracelens.exercises.kinds import KINDS
from tracelens.formats import toml_schema
from tracelens.model.taskset import Step

SYSTEM = without_blocks("sample_traces/SYSTEM.md")
PYTHON = without_blocks("sample_traces/PYTHON.md")
BLOCKS = blocks("sample_traces/PYTHON.md")
CODE = "".join(block.text for block in BLOCKS if block.language == "python")
TABLES = [name for name in vars(toml_schema) if re.fullmatch(r"[A-Z]\w+Table", name)]


def codes(page: str) -> set[str]:
    return {word for code in re.findall(r"`([^`]+)`", page) for word in re.findall(r"\w+", code)}


@pytest.mark.parametrize("table", TABLES)
def test_every_key_of_a_system_file_is_told(table):
    keys = getattr(toml_schema, table).__struct_fields__
    assert keys
    assert [key for key in keys if key not in codes(SYSTEM)] == []


def test_every_table_of_a_system_file_is_told():
    told = set(re.findall(r"`\[(\w+)(?:\.NAME)?\]`", SYSTEM))
    assert set(toml_schema.SystemFile.__struct_fields__) - {"place", "budgets"} == told


def test_every_step_of_a_task_is_told():
    kinds = set(Step.__annotations__["kind"].__args__)
    steps = SYSTEM.split("## Steps")[1].split("\n## ")[0]
    assert {row.split()[0] for row in re.findall(r"`(\w+ [^`]*)`", steps)} >= kinds


@pytest.mark.parametrize("name", tracelens.__all__)
def test_every_name_of_the_facade_is_shown(name):
    assert f"tl.{name}" in CODE


@pytest.mark.parametrize("name", replay.__all__)
def test_every_name_of_a_replay_is_shown(name):
    assert re.search(rf"\b{name}\b", CODE if name[0].islower() else CODE + PYTHON)


@pytest.mark.parametrize(
    "name",
    ["measure", "assert_meets", "MeasuredRun",
     *(one for one in vars(testing.MeasuredRun) if one[0] != "_" and one != "view")],
)  # fmt: skip
def test_every_name_for_assertions_is_shown(name):
    assert name in codes(PYTHON) | set(re.findall(r"\w+", CODE))


def test_every_kind_of_exercise_is_in_the_classroom():
    rows = text("sample_traces/CLASSROOM.md").split("## Exercise sheets")[1].split("\n## ")[0]
    assert set(re.findall(r"^\| `(\w+)` \|", rows, re.MULTILINE)) == set(KINDS)


def test_every_set_of_the_classroom_is_in_a_lesson():
    lessons = text("sample_traces/CLASSROOM.md")
    for file in (FOLDER.parent / "classroom").glob("*.toml"):
        whole = re.search(rf"\b{file.stem}\b", lessons)
        family = re.sub(r"_(none|inherit|original_ceiling|ceiling)$", "", file.stem)
        assert whole or f"`{family}_*`" in lessons, file.stem


def test_every_guide_is_listed_where_a_reader_looks():
    for file in FOLDER.parent.glob("*.md"):
        if file.name != "README.md":
            assert f"({file.name})" in text("sample_traces/README.md"), file.name
            assert f"(sample_traces/{file.name})" in text("README.md"), file.name

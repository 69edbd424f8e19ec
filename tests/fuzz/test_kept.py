"""Every target bears what it begins with and what was found once: no search, so a few seconds."""

import subprocess
import sys
from pathlib import Path

import pytest

from tests.fuzz.targets import TARGETS

KEPT = Path(__file__).parent / "kept"
FEW = 2
"""Of the inputs that a search begins with, so many are tried by day."""


@pytest.mark.parametrize("name", TARGETS)
def test_what_was_found_once_is_borne(name: str) -> None:
    for file in sorted((KEPT / name).glob("*")):
        TARGETS[name].run(file.read_bytes())


@pytest.mark.parametrize("name", TARGETS)
@pytest.mark.parametrize("few", [True, pytest.param(False, marks=pytest.mark.night)])
def test_what_a_search_begins_with_is_borne(name: str, few: bool) -> None:
    seeds = TARGETS[name].seeds()
    assert seeds
    for seed in seeds[:: -(-len(seeds) // FEW) if few else 1]:
        TARGETS[name].run(seed)


def test_nothing_is_kept_for_a_target_that_is_gone() -> None:
    assert {folder.name for folder in KEPT.iterdir()} <= set(TARGETS)


@pytest.mark.night
@pytest.mark.parametrize("name", TARGETS)
def test_a_short_search_finds_nothing(name: str, tmp_path: Path) -> None:
    """With atheris if it is there; else, where it has no wheel, the inputs are changed blindly."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.fuzz", name, "10", str(tmp_path)],
        cwd=Path(__file__).parents[2],
        capture_output=True,
        text=True,
        timeout=300,
    )
    assert done.returncode == 0, f"{done.stdout[-500:]}\n{done.stderr[-3000:]}"
    assert "0 kinds found" in done.stdout

"""The fast reading agrees with the slow one, row for row, on logs that nobody worked by hand."""

from pathlib import Path

import pytest

from tests.random_logs import random_log
from tests.reconstruct.against import both, differences

MICRO = Path(__file__).parent.parent / "micro"
IN_EVERY_RUN = 120
AT_NIGHT = 3000


def _agree(text: str) -> None:
    found = differences(*both(text))
    assert not found, "\n".join(found[:20])


@pytest.mark.parametrize("path", sorted(MICRO.glob("*.csv")), ids=lambda path: path.stem)
def test_worked_logs(path: Path) -> None:
    _agree(path.read_text())


@pytest.mark.parametrize("messy", [False, True], ids=["valid", "messy"])
@pytest.mark.parametrize("cores", [1, 2])
@pytest.mark.parametrize("block", range(4))
def test_random_logs(block: int, cores: int, messy: bool) -> None:
    for seed in range(block * IN_EVERY_RUN // 4, (block + 1) * IN_EVERY_RUN // 4):
        found = differences(*both(random_log(seed, cores=cores, messy=messy)))
        assert not found, f"seed {seed}:\n" + "\n".join(found[:20])


@pytest.mark.night
@pytest.mark.parametrize("messy", [False, True], ids=["valid", "messy"])
@pytest.mark.parametrize("cores", [1, 2])
def test_thousands_of_random_logs(cores: int, messy: bool) -> None:
    for seed in range(IN_EVERY_RUN, AT_NIGHT):
        found = differences(*both(random_log(seed, cores=cores, messy=messy)))
        assert not found, f"seed {seed}:\n" + "\n".join(found[:20])

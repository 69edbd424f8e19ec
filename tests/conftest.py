"""Shared by all tests: comparison with recorded texts, and no test that depends on time."""

from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import settings

# No deadlines: a busy machine must not fail a test. By day the examples are the same each time, so
# that a change is judged by what it changed; by night they are searched for anew.
settings.register_profile("repeat", deadline=None, derandomize=True)
settings.register_profile("search", deadline=None, max_examples=1000)
settings.load_profile("repeat")


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--update-golden",
        action="store_true",
        help="write the recorded texts anew; look at the difference before you commit it",
    )


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    # What waits for a browser begins first: at the end the other workers would have nothing to do.
    items.sort(key=lambda item: item.get_closest_marker("browser") is None)


@pytest.fixture
def golden(request: pytest.FixtureRequest) -> Callable[[str, str], None]:
    """`golden(name, text)` compares text with the file of that name in golden/ beside the test."""

    def compare(name: str, text: str) -> None:
        file = Path(request.path).parent / "golden" / name
        if request.config.getoption("--update-golden"):
            file.parent.mkdir(exist_ok=True)
            file.write_text(text, encoding="utf-8")
        assert text == file.read_text(encoding="utf-8")

    return compare

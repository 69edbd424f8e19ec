"""The sample logs: where they are, and what there is to see in each.

They stand in `sample_traces/` of a checkout, and inside the package once it is installed.
"""

from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Final

_INSTALLED: Final = Path(__file__).parent / "sample_traces"
_CHECKOUT: Final = Path(__file__).parent.parent / "sample_traces"
_CLASSROOM: Final = "classroom"


@dataclass(frozen=True, slots=True)
class Sample:
    """A log, and the task set that it was made from; `about` is what that says of itself."""

    name: str
    about: str
    log: Path
    taskset: Path
    classroom: bool


@cache
def samples() -> tuple[Sample, ...]:
    """All samples by name, those of the classroom last; none where they were not installed."""
    folder = _INSTALLED if _INSTALLED.is_dir() else _CHECKOUT
    found = []
    for taskset in sorted(folder.glob("*.toml")) + sorted((folder / _CLASSROOM).glob("*.toml")):
        for log in (taskset.with_suffix(".csv"), taskset.with_suffix(".csv.gz")):
            if log.is_file():
                about = _about(taskset.read_text(encoding="utf-8"))
                classroom = taskset.parent.name == _CLASSROOM
                found.append(Sample(taskset.stem, about, log, taskset, classroom))
                break
    return tuple(found)


def sample(name: str) -> Sample | None:
    """The sample of that name; None if there is none."""
    return next((sample for sample in samples() if sample.name == name), None)


def _about(text: str) -> str:
    """The comment that a file begins with, up to the first empty line of it."""
    said = ""
    for line in text.splitlines():
        if not line.startswith("#") or line == "#":
            break
        said += line.lstrip("# ") if said.endswith("-") else f" {line.lstrip('# ')}"
    return said.strip()

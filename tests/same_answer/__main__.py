"""See the package."""

import argparse
import platform
import sys
import time
from importlib.metadata import version
from pathlib import Path

from tests.same_answer.commands import all_asked, lay_out
from tests.same_answer.run import differing, read, say, written


def run(folder: Path, against: Path | None, quick: bool) -> int:
    """Exit status: 1 if something differs."""
    lay_out(folder)
    said = say(folder, all_asked(folder, quick))
    (folder / "digests.txt").write_text(written(said), encoding="utf-8")
    here = f"Python {platform.python_version()}, polars {version('polars')}"
    print(f"{here}, numpy {version('numpy')}: {len(said)} answers, {time.process_time():.0f} s")
    if against is None:
        return 0
    other = read(against.read_text(encoding="utf-8"))
    unlike = differing(said, other, packed=False)
    print("".join(f"{name}\n" for name in unlike) + f"{len(unlike)} differ")
    return 1 if unlike else 0


parser = argparse.ArgumentParser("python -m tests.same_answer")
parser.add_argument("folder", type=Path)
parser.add_argument("--against", type=Path)
parser.add_argument("--quick", action="store_true")
given = parser.parse_args()
sys.exit(run(given.folder, given.against, given.quick))

"""See the package."""

import argparse
import platform
import sys
import time
from importlib.metadata import version
from pathlib import Path

from tests.same_answer.commands import asked_of_all, asked_quickly, lay_out
from tests.same_answer.run import differing, read, say, written


def run(folder: Path, against: Path | None, *, quick: bool, backwards: bool) -> int:
    """Exit status: 1 if something differs."""
    lay_out(folder)
    asked = list(asked_quickly() if quick else asked_of_all(folder))
    said = say(folder, asked, backwards=backwards)
    (folder / "digests.txt").write_text(written(said), encoding="utf-8")
    libraries = ", ".join(f"{name} {version(name)}" for name in ("polars", "numpy", "scipy"))
    here = f"Python {platform.python_version()}, {libraries}"
    sys.stdout.write(
        f"{here}: {len(said)} answers, {time.process_time():.0f} s of processor time\n"
    )
    if against is None:
        return 0
    unlike = differing(said, read(against.read_text(encoding="utf-8")), packed=False)
    sys.stdout.write("".join(f"{name}\n" for name in unlike) + f"{len(unlike)} differ\n")
    return 1 if unlike else 0


if __name__ == "__main__":
    parser = argparse.ArgumentParser("python -m tests.same_answer")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--against", type=Path)
    parser.add_argument("--quick", action="store_true", help="only a part")
    parser.add_argument("--backwards", action="store_true", help="the last subject first")
    given = parser.parse_args()
    status = run(given.folder, given.against, quick=given.quick, backwards=given.backwards)
    sys.exit(status)

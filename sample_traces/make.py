"""Make the sample logs anew from the task sets beside them: `python sample_traces/make.py`.

Each NAME.toml gives NAME.csv, or NAME.csv.gz where that would be longer than 300 kB. The same
task set gives the same bytes, so making them again changes nothing unless a task set changed.
"""

import gzip
from pathlib import Path

from tracelens.engine import simulate
from tracelens.engine.damage import Damage, damage
from tracelens.formats.taskset_toml import read_taskset

FOLDER = Path(__file__).resolve().parent
LONGEST = 300_000  # bytes

DAMAGE = {
    "knitting_bad_capture": Damage(
        loss=0.03, burst=25, late=0.01, torn=0.001, noise=0.0005, restarts=1, crlf=True, cut=True
    ),
}


def make(path: Path) -> tuple[str, bytes]:
    """File name and content of the log of one task set."""
    done = simulate(read_taskset(path))
    log = done.log
    if path.stem in DAMAGE:
        log = damage(log, DAMAGE[path.stem], done.seed).log
    if len(log) <= LONGEST:
        return f"{path.stem}.csv", log
    return f"{path.stem}.csv.gz", gzip.compress(log, mtime=0)


def main() -> None:
    """Write every log."""
    for path in sorted(FOLDER.rglob("*.toml")):
        if "simulation" in path.read_text(encoding="utf-8"):
            name, log = make(path)
            path.with_name(name).write_bytes(log)


if __name__ == "__main__":
    main()

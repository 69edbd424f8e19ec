"""tracelens beside what people write by hand: the same file, the same two questions. By hand:

    python -m tests.benchmarks.beside [MILLIONS OF EVENTS, default 10]

How long was each task and handler at work, to the nanosecond? How many jobs had each task, what are
the median, the 99th percentile (nearest rank) and the longest of their responses, and how many were
late? The log is one machine's (`tests/benchmarks/large_log.py`): two cores, constant work. Each way
has a process of its own, three times in turn, which first takes a small log: imports and loading of
machine code are left out. All must give the same numbers, or it is said. The full report answers
these two questions among all its others.
"""

import json
import statistics
import subprocess
import sys
import tempfile
import time
from importlib import import_module
from pathlib import Path
from typing import Any

from tests.benchmarks.large_log import write_large_log

WAYS = ("read_csv", "tracelens", "pandas", "duckdb", "csv")
REPEATS = 3


def main() -> None:
    if sys.argv[1:2] == ["--answer"]:
        sys.stdout.write(json.dumps(measured(sys.argv[2], *map(Path, sys.argv[3:]))))
        return
    millions = float(sys.argv[1]) if len(sys.argv) > 1 else 10
    with tempfile.TemporaryDirectory() as folder:
        large, small = Path(folder, "large.csv"), Path(folder, "small.csv")
        events = write_large_log(large, round(millions * 1e6))
        write_large_log(small, 100_000)
        sys.stdout.write(f"{events:,} events, {large.stat().st_size / 1e6:.0f} MB\n")
        runs = [{way: in_a_process(way, small, large) for way in WAYS} for _ in range(REPEATS)]
    plain = statistics.median(run["read_csv"]["seconds"] for run in runs)
    for way in WAYS:
        seconds = statistics.median(run[way]["seconds"] for run in runs)
        peak = max(run[way]["peak"] for run in runs) / 1e6
        lines = len((Path(__file__).parent / f"with_{way}.py").read_text().splitlines())
        same = all(run[way]["answers"] in (None, run["tracelens"]["answers"]) for run in runs)
        sys.stdout.write(
            f"{way:10} {seconds:7.2f} s {seconds / plain:6.2f} × plain {peak:6.0f} MB "
            f"{lines:4} lines{'' if same else '   OTHER ANSWERS'}\n"
        )


def in_a_process(way: str, small: Path, large: Path) -> dict[str, Any]:
    """What `measured` gives there."""
    command = [sys.executable, "-m", "tests.benchmarks.beside", "--answer", way, small, large]
    return dict(json.loads(subprocess.run(command, capture_output=True, check=True).stdout))


def measured(way: str, small: Path, large: Path) -> dict[str, Any]:
    """A way's answers, its seconds, and the peak memory of this process (VmHWM), bytes."""
    answers = import_module(f"tests.benchmarks.beside.with_{way}").answers
    answers(small)
    start = time.perf_counter()
    given = answers(large)
    seconds = time.perf_counter() - start
    told = dict(line.split(":", 1) for line in Path("/proc/self/status").read_text().splitlines())
    peak = int(told["VmHWM"].split()[0]) * 1024
    return {"answers": given, "seconds": seconds, "peak": peak}


if __name__ == "__main__":
    main()

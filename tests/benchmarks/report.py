"""How fast the full report is, as a ratio to plain `polars.read_csv` of the same file. By hand:

    python -m tests.benchmarks.report [MILLIONS OF EVENTS, default 10]

Start-up (imports, loading or making machine code) is left out by a report of a small log first.
Every figure is the median of three runs, taken in turn with the plain reading. Nothing is
asserted: a machine that is busy with something else must not fail a test.
"""

import io
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import polars as pl

from tests.benchmarks.large_log import write_large_log
from tracelens.analysis import analyse
from tracelens.reading import read
from tracelens.report.document import document
from tracelens.report.text import show

REPEATS = 3


def full_report(path: Path) -> None:
    """Read, reconstruct, measure, find, and print, as `tracelens report` does."""
    show(document(analyse(read(path))), io.StringIO(), width=80)


def seconds(act: Callable[[], object]) -> float:
    start = time.perf_counter()
    act()
    return time.perf_counter() - start


def ratio(path: Path) -> tuple[float, float]:
    """(seconds of the full report, seconds of the plain reading), medians of runs in turn."""
    report, plain = [], []
    for _ in range(REPEATS):
        plain.append(
            seconds(lambda: pl.read_csv(path, comment_prefix="#", truncate_ragged_lines=True))
        )
        report.append(seconds(lambda: full_report(path)))
    return statistics.median(report), statistics.median(plain)


def peak_memory(path: Path) -> tuple[int, int]:
    """(peak of a process that reports, bytes; size of its event table, bytes)."""
    code = (
        "import sys; from pathlib import Path; from tests.benchmarks.report import *\n"
        "run = read(Path(sys.argv[1])); size = run.log.events.estimated_size()\n"
        "show(document(analyse(run)), io.StringIO(), width=80)\n"
        "told = dict(line.split(':', 1) for line in open('/proc/self/status'))\n"
        "print(int(told['VmHWM'].split()[0]) * 1024, size)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True
    )
    peak, size = map(int, done.stdout.split())
    return peak, size


def whole_process(*arguments: str) -> float:
    """Median seconds of `tracelens …` from start to end."""
    command = [sys.executable, "-m", "tracelens", *arguments]
    return statistics.median(
        seconds(lambda: subprocess.run(command, capture_output=True, check=True))
        for _ in range(REPEATS)
    )


def main() -> None:
    millions = float(sys.argv[1]) if len(sys.argv) > 1 else 10
    events = round(millions * 1e6)
    with tempfile.TemporaryDirectory() as folder:
        for line in figures(Path(folder), events):
            sys.stdout.write(line + "\n")
            sys.stdout.flush()


def figures(folder: Path, events: int) -> Iterator[str]:
    """One line a figure, as they are measured."""
    small, tenth, large, torn = (folder / f"{name}.csv" for name in ("s", "t", "l", "d"))
    write_large_log(small, 100_000)
    full_report(small)
    count = write_large_log(large, events)
    report, plain = ratio(large)
    yield f"{count:,} events, {large.stat().st_size / 1e6:.0f} MB"
    yield f"plain read_csv                  {plain:7.2f} s"
    yield f"full report, less start-up      {report:7.2f} s   {report / plain:5.2f} × plain"
    write_large_log(torn, events, damaged_share=0.001)
    damaged, _ = ratio(torn)
    yield f"with 0.1 % of the lines torn    {damaged:7.2f} s   {damaged / report:5.2f} × clean"
    peak, size = peak_memory(large)
    yield f"peak memory                     {peak / 1e6:7.0f} MB  {peak / size:5.2f} × its events"
    write_large_log(tenth, events // 10)
    part = statistics.median(seconds(lambda: full_report(tenth)) for _ in range(REPEATS))
    yield f"a tenth of the events           {part:7.2f} s   {report / part:5.1f} × in ten times"
    write_large_log(small, 10_000)
    yield f"tracelens report, 10,000 events {whole_process('report', str(small)):7.2f} s in all"
    yield f"tracelens --help                {whole_process('--help'):7.2f} s in all"


if __name__ == "__main__":
    main()

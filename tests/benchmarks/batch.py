"""How many runs at once pay: 300 logs of 100,000 events on one core and on two. By hand:

    python -m tests.benchmarks.batch [LOGS, default 300] [EVENTS OF EACH, default 100000]

Machine code is made before anything is measured. The memory is the largest and the last sum of the
resident memory of the processes, without what they share, in each third of the work.
"""

import os
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import polars as pl

from tests.benchmarks.large_log import write_large_log
from tracelens.batch import local
from tracelens.batch.inputs import find
from tracelens.batch.results import collect
from tracelens.batch.work import Job, Outcome

PAGE = 4096


def main() -> None:
    logs = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    events = int(sys.argv[2]) if len(sys.argv) > 2 else 100_000
    with tempfile.TemporaryDirectory() as folder:
        runs = Path(folder) / "runs"
        runs.mkdir()
        size = write_logs(runs, logs, events)
        say(f"{logs} logs of {events:,} events, {size / 1e6:.0f} MB")
        timed(Path(folder), runs, 1, most=2)
        one, first = timed(Path(folder), runs, 1)
        two, second = timed(Path(folder), runs, 2)
        say(f"two processes take {two / one:.2f} of the time of one")
        equal = all(first[name].equals(second[name]) for name in first)
        say(f"rows equal: {'yes' if equal else 'NO'}")


def write_logs(runs: Path, logs: int, events: int) -> int:
    """The same machine again and again; the names differ, and that is all that matters here."""
    original = runs / "run_0000.csv"
    write_large_log(original, events)
    original.with_suffix(".toml").unlink()
    for number in range(1, logs):
        (runs / f"run_{number:04}.csv").write_bytes(original.read_bytes())
    return logs * original.stat().st_size


def timed(
    folder: Path, runs: Path, processes: int, most: int | None = None
) -> tuple[float, dict[str, pl.DataFrame]]:
    """Seconds, and the rows; the figures are told unless `most` cuts the work short."""
    found = find([str(runs)])[:most]
    jobs = [Job(n, one.run, one.path, folder / f"p{processes}") for n, one in enumerate(found)]
    begin, cpu = time.perf_counter(), processor_time()
    memory: list[int] = []

    def watched() -> Iterator[Outcome]:
        for outcome in local.outcomes(jobs, processes):
            memory.append(resident())
            yield outcome

    made = collect(watched())
    seconds = time.perf_counter() - begin
    cpu = processor_time() - cpu
    if most is None:
        third = len(memory) // 3
        parts = (memory[:third], memory[third : 2 * third], memory[2 * third :])
        told = ", ".join(f"{max(part) / 1e6:.0f}" for part in parts if part)
        rate = len(jobs) / seconds
        say(f"{processes} process(es): {seconds:.1f} s, {rate:.1f} logs a second; MB: {told}")
        say(f"    processor time {cpu:.1f} s: what the wall clock says beside other work is more")
    return seconds, made


def processor_time() -> float:
    """Seconds that processes begun and ended here have computed."""
    times = os.times()
    return times.children_user + times.children_system


def resident() -> int:
    """Bytes of memory of this process and its children, what they share with files left out."""
    own = Path("/proc/self")
    family = [own, *(Path("/proc") / child for child in children(own))]
    return sum(anonymous(process) for process in family)


def children(process: Path) -> list[str]:
    return [
        child
        for task in (process / "task").iterdir()
        for child in (task / "children").read_text().split()
    ]


def anonymous(process: Path) -> int:
    try:
        _, held, shared, *_ = map(int, (process / "statm").read_text().split())
    except OSError:  # it has just ended
        return 0
    return (held - shared) * PAGE


def say(line: str) -> None:
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main()

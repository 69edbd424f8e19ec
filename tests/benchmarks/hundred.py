"""A hundred million events: the full report, beside a tenth of them in the same run. By hand:

    python -m tests.benchmarks.hundred [MILLIONS OF EVENTS, default 100] [FOLDER]

Each report has a process of its own, which has reported on a small log before. Memory: the most
that the process had in memory at once (VmHWM of proc(5)), and of that at the end what is its own
and what is of files.
"""

import subprocess
import sys
import tempfile
from pathlib import Path

from tests.benchmarks.large_log import write_large_log

CODE = """
import sys
from pathlib import Path
from tests.benchmarks.report import full_report, seconds

full_report(Path(sys.argv[1]))
print(seconds(lambda: full_report(Path(sys.argv[2]))))
told = dict(line.split(":", 1) for line in open("/proc/self/status"))
print(*(int(told[key].split()[0]) * 1024 for key in ("VmHWM", "RssAnon", "RssFile")))
"""


def main() -> None:
    millions = float(sys.argv[1]) if len(sys.argv) > 1 else 100
    with tempfile.TemporaryDirectory(dir=sys.argv[2] if len(sys.argv) > 2 else None) as folder:
        small = Path(folder, "small.csv")
        write_large_log(small, 100_000)
        took = [figures(Path(folder, "log.csv"), small, share * millions) for share in (0.1, 1)]
    sys.stdout.write(f"ten times the events: {took[1] / took[0]:.1f} × the time\n")


def figures(path: Path, small: Path, millions: float) -> float:
    """Say what one size takes; the seconds."""
    events = write_large_log(path, round(millions * 1e6))
    command = [sys.executable, "-c", CODE, str(small), str(path)]
    told = subprocess.run(command, capture_output=True, text=True, check=True).stdout.split()
    seconds, peak, own, of_files = map(float, told)
    sys.stdout.write(
        f"{events:,} events, {path.stat().st_size / 1e6:.0f} MB: {seconds:.1f} s, peak "
        f"{peak / 1e6:.0f} MB; at the end {own / 1e6:.0f} MB of its own, {of_files / 1e6:.0f} MB "
        "of files\n"
    )
    sys.stdout.flush()
    return seconds


if __name__ == "__main__":
    main()

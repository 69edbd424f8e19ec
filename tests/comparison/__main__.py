"""Print how often equal groups of runs alarm, and how often a slower task is found.

`python -m tests.comparison [PAIRS] [RUNS]`: so many pairs of groups of each kind, and so many
simulated runs of each task set to draw groups from. Seeds are 0, 1, 2, …
"""

import sys
import tempfile
from pathlib import Path

from tests.comparison import measure


def main() -> None:
    pairs = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    runs = int(sys.argv[2]) if len(sys.argv) > 2 else 60
    say = sys.stdout.write
    for size in measure.SIZES:
        alarms = measure.drawn_alarms(pairs, size)
        say(f"equal, drawn, {size[0]} against {size[1]}: {len(alarms)} of {pairs} alarm\n")
    for boards in (0.0, 0.005, 0.01):
        found = measure.drawn_found(pairs, boards)
        say(f"5 % slower, drawn, boards differ by {boards:.1%}: {found} of {pairs} found\n")
    for size, boards, tasks in measure.DETECTABLE:
        found = measure.detectable_found(size, boards, tasks, pairs // 2)
        kind = f"{size} a side, {tasks} tasks, boards differ by {boards:.1%}"
        say(f"slower by what is called detectable, {kind}: {found} of {pairs // 2} found\n")
    with tempfile.TemporaryDirectory() as folder:
        for name in measure.SETS:
            pool = measure.pool(name, runs, Path(folder))
            for size in measure.SIMULATED_SIZES:
                alarms = measure.alarms_in(pool, pairs, size)
                say(f"equal, {name}, {size[0]} against {size[1]}: {len(alarms)} of {pairs} alarm\n")
        old = measure.pool(measure.SETS[0], runs, Path(folder), until_ns=measure.JOBS_500)
        new = measure.pool(
            measure.SETS[0], runs, Path(folder), slower=1.05, until_ns=measure.JOBS_500
        )
        found = measure.found_in(old, new, pairs)
        say(f"5 % slower, {measure.SETS[0]}, boards differ by 0.5%: {found} of {pairs} found\n")


if __name__ == "__main__":
    main()

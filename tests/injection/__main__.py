"""Print how often the first finding names an injected fault, and how often healthy runs alarm."""

import sys
import tempfile
from collections import Counter
from pathlib import Path

from tests.injection.measure import faulty, healthy, in_recording


def main() -> None:
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    say = sys.stdout.write
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        alarms = {seed: found for seed in range(runs) if (found := healthy(seed, folder))}
        say(f"healthy runs with a finding above 'note': {len(alarms)} of {runs}\n")
        for seed, found in alarms.items():
            say(f"  seed {seed}: {found[0].kind}: {found[0].text}\n")
        results = [faulty(seed, folder) for seed in range(runs)]
        results += [in_recording(seed, folder) for seed in range(min(runs, 18))]
    kinds = Counter(one.kind for one in results)
    for kind, count in kinds.items():
        named = sum(one.named for one in results if one.kind == kind)
        say(f"{kind:26} named first in {named} of {count}\n")
    say(f"faults named first: {sum(one.named for one in results)} of {len(results)}\n")
    for one in results:
        if not one.named:
            say(f"  seed {one.seed}, {one.kind}, {one.what}: {one.first.kind}: {one.first.text}\n")


if __name__ == "__main__":
    main()

"""What the probe costs: `python -m tests.probe.cost` prints instructions and bytes an event.

On this machine counted by a general-purpose instruction counter (callgrind); on two cores of 32-bit
microcontrollers told by an emulator whose clock counts instructions.
"""

import re
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.probe.build import STRICT, directory, program, run
from tests.probe.test_target import built, emulated
from tracelens.probe.stream import Stream

EVENTS = 10_000
NS_AN_INSTRUCTION = 32
NS_A_TICK = 40
BENCH = """
#include "tracelens_probe.h"
#include <stdlib.h>
static uint32_t now;
uint32_t host_counter(void) { return now++; }
uint32_t host_core(void) { return 0u; }
uint32_t host_mask(void) { return 0u; }
void host_restore(uint32_t before) { (void)before; }
int main(int argc, char **argv)
{
    long i, n = atol(argv[argc - 1]);
    (void)tl_init(TL_KEEP_LAST, TL_HIGHER_FIRST);
    for (i = 0; i < n; i++) {
        tl_start(1u);
    }
    return 0;
}
"""


def instructions(bench: Path, events: int) -> int:
    done = subprocess.run(
        ["valgrind", "--tool=callgrind", "--callgrind-out-file=/dev/null", bench, str(events)],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    match = re.search(r"Collected : (\d+)", done.stderr)
    assert match is not None
    return int(match[1])


def main() -> None:
    (directory() / "bench.c").write_text(BENCH, encoding="utf-8")
    bench = directory() / "bench"
    subprocess.run(
        ["gcc", *STRICT, "-O2", "-I.", "bench.c", "tracelens_probe.c", "-o", bench],
        cwd=directory(), check=True,
    )  # fmt: skip
    here = (instructions(bench, EVENTS) - instructions(bench, 0)) / EVENTS
    out = [f"this machine: {here:.0f} instructions an event"]
    for core in ("cortex-m0", "cortex-m3"):
        with tempfile.TemporaryDirectory() as made:
            image = built(Path(made), core)
            text = Stream().feed(emulated(image)[0]).decode()
            size = subprocess.run(
                ["arm-none-eabi-gcc", "-Os", "-mthumb", f"-mcpu={core}", "-c", "-I.",
                 "tracelens_probe.c", "-o", "p.o"], cwd=made, check=True,
            ) and subprocess.run(
                ["arm-none-eabi-size", "p.o"], cwd=made, check=True, capture_output=True, text=True
            ).stdout.splitlines()[1].split()  # fmt: skip
        ticks = re.search(r"probe_ticks_for_64_events=(\d+)", text)
        assert ticks is not None
        cost = int(ticks[1]) * NS_A_TICK / NS_AN_INSTRUCTION / 64
        out.append(f"{core}: {cost:.0f} instructions an event, {size[0]} bytes of code")
    stream = Stream()
    data = run(program("-O2"), "stream", "3000", "20", "200")[0]
    stream.feed(data)
    out.append(f"wire: {len(data) / stream.counters.events:.1f} bytes an event; ring: 12")
    sys.stdout.write("\n".join(out) + "\n")


if __name__ == "__main__":
    main()

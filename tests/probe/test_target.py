"""The probe on an emulated 32-bit microcontroller: a bare-metal switcher, its log over the UART."""

import subprocess
from pathlib import Path

import pytest

from tests.probe.build import STRICT
from tracelens.analysis import analyse
from tracelens.probe.sources import write_out
from tracelens.probe.stream import Stream
from tracelens.reading import read

pytestmark = pytest.mark.night

TARGET = Path(__file__).parent / "target"
TICK_NS = 1_000_000
BARE = ("-O2", "-mthumb", "-ffreestanding", "-nostdlib", "-T", "link.ld", "-I.")


def built(directory: Path, core: str) -> Path:
    write_out(directory)
    for name in ("target.c", "link.ld"):
        (directory / name).write_bytes((TARGET / name).read_bytes())
    (directory / "tracelens_probe_port.h").write_bytes((TARGET / "port.h").read_bytes())
    subprocess.run(
        ["arm-none-eabi-gcc", *STRICT, *BARE, f"-mcpu={core}", "target.c", "tracelens_probe.c",
         "-o", "target.elf", "-lgcc"],
        cwd=directory, check=True,
    )  # fmt: skip
    return directory / "target.elf"


def emulated(image: Path) -> tuple[bytes, dict[str, int]]:
    """What came over the serial port, and what the program counted itself."""
    serial = image.with_suffix(".bin")
    done = subprocess.run(
        ["qemu-system-arm", "-M", "mps2-an385", "-kernel", image, "-nographic", "-monitor", "none",
         "-serial", f"file:{serial}", "-semihosting-config", "enable=on,target=native",
         "-icount", "shift=5,sleep=off"],
        capture_output=True, text=True, check=True, timeout=120,
    )  # fmt: skip
    told = (done.stdout + done.stderr).split()
    return serial.read_bytes(), {n: int(c) for n, c in zip(told[::2], told[1::2], strict=True)}


@pytest.mark.parametrize("core", ["cortex-m3", "cortex-m0"])
def test_a_target_is_read_to_its_report(tmp_path: Path, core: str) -> None:
    data, counted = emulated(built(tmp_path, core))
    stream = Stream()
    (tmp_path / "run.csv").write_bytes(stream.feed(data))
    assert (stream.counters.lost, stream.counters.damaged) == (0, 0)
    analysis = analyse(read(tmp_path / "run.csv"))
    words = analysis.timeline.log.events["event"].value_counts()
    said = dict(words.select(words["event"].cast(str), "count").iter_rows())
    assert said["enter"] == said["leave"] == counted["tick"]
    assert said["start"] == counted["switches"] + 1, "the program starts its idle loop once more"
    tasks = {row["task"]: row for row in analysis.tasks.to_dicts()}
    for task in ("needle_select", "panel"):
        # Start-up ends in the first wait and is no job; the last wait may not have been answered.
        assert counted[task] - 2 <= tasks[task]["jobs"] <= counted[task] - 1
        assert tasks[task]["deadline_misses"] == 0
    # What the tasks spin: 7500 and 30000 ticks of 40 ns of their own, or with what came between.
    assert 300_000 <= tasks["needle_select"]["response_p50_ns"] <= 330_000
    assert tasks["panel"]["response_max_ns"] <= 1_200_000 + 330_000 + 50_000
    assert analysis.quality.contradictions == 0

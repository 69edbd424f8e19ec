"""Builds the probe as it is written out, with a test's port in place of the template."""

import functools
import subprocess
import tempfile
from pathlib import Path

from tracelens.probe.sources import write_out

HERE = Path(__file__).parent
STRICT = ("-std=c99", "-Wall", "-Wextra", "-Werror")


@functools.cache
def directory() -> Path:
    """The probe's sources with the host's port, and the program that drives it."""
    made = Path(tempfile.mkdtemp(prefix="probe"))
    write_out(made)
    (made / "tracelens_probe_port.h").write_bytes((HERE / "host_port.h").read_bytes())
    (made / "host.c").write_bytes((HERE / "host.c").read_bytes())
    return made


@functools.cache
def program(*options: str) -> Path:
    """The host program, built with these options."""
    made = directory() / f"host{abs(hash(options))}"
    subprocess.run(
        ["gcc", *STRICT, *options, "-I.", "host.c", "tracelens_probe.c", "-o", made,
         "-lpthread", "-lrt"],
        cwd=directory(), check=True,
    )  # fmt: skip
    return made


def run(built: Path, *arguments: str) -> tuple[bytes, dict[tuple[int, int], int]]:
    """What it wrote, and what it counted itself: (event code, core) → count."""
    done = subprocess.run([built, *arguments], capture_output=True, check=False, timeout=60)
    assert done.returncode == 0, done.stderr.decode()
    counts = {}
    for line in done.stderr.decode().splitlines():
        code, core, count = map(int, line.split())
        counts[code, core] = count
    return done.stdout, counts

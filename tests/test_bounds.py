"""Compiled code does not check its indices; here it does, on logs of every kind."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

CODE = """
import random
import numba
from tests.random_logs import random_log
from tracelens.analysis import analyse
from tracelens.log import read_bytes, scan
from tracelens.reconstruct import reconstruct
from tracelens.replay import replay

assert numba.config.BOUNDSCHECK
scan._BLOCK, scan._PIECE = 200, 2000
for seed in range(40):
    text = random_log(seed, events=300, cores=1 + seed % 2, messy=seed % 3 == 0).encode()
    rng = random.Random(seed)
    lines = text.splitlines(keepends=True)
    if seed % 4 == 3:
        for _ in range(20):
            lines[rng.randrange(5, len(lines))] = rng.randbytes(rng.randrange(90)) + b"\\n"
    run = reconstruct(read_bytes(b"".join(lines)[: len(text) - seed % 5], "log"))
    analyse(run)
    if any(task.priority is not None for task in run.system.tasks) and seed < 12:
        replay(run, [])
"""


@pytest.mark.night
def test_no_index_of_compiled_code_is_out_of_bounds(tmp_path: Path) -> None:
    """numba's own check: NUMBA_BOUNDSCHECK raises IndexError, from whichever function it is."""
    surroundings = {
        "NUMBA_BOUNDSCHECK": "1",
        "NUMBA_CACHE_DIR": str(tmp_path),
        "TRACELENS_COMPILED": "1",
    }
    done = subprocess.run(
        [sys.executable, "-c", CODE],
        env={**os.environ, **surroundings},
        cwd=Path(__file__).parents[1],
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stderr

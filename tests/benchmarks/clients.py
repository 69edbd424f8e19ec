"""Many people at one page for minutes: how long they wait, and whether the server grows. By hand:

    python -m tests.benchmarks.clients [CLIENTS, default 50] [MINUTES, default 10]

The server is the command `tracelens serve`, a process of its own on a free port of 127.0.0.1, with
a log of a million events. Each client is a thread of this process and does what a person does, at a
person's rate (`tests/benchmarks/person.py`). Times run to the last byte of the reply. Errors are
replies of status 500 or more but 503, and replies that never came; 503 is a refusal in words.
"""

import os
import re
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tests.benchmarks.large_log import write_large_log
from tests.benchmarks.person import Person, Request

EVENTS = 990_000
"""A few less than a run may have that is replayed on the page."""

BEGIN_S = 400.0
"""A log of a million events is read long before that, even where all is to be compiled first."""


@dataclass(frozen=True, slots=True)
class Load:
    """What came of it: every request, and the server's resident memory, MB, over time, s."""

    requests: list[Request]
    memory: list[tuple[float, float]]
    seconds: float
    server_s: float
    clients_s: float
    said: str

    @property
    def errors(self) -> list[Request]:
        """Requests that were not answered, or by a fault."""
        return [one for one in self.requests if one.status == 0 or failed(one.status)]

    def thirds(self) -> tuple[float, float]:
        """Mean memory in the first and in the last third of the time, MB."""
        first, last = ([mb for at, mb in self.memory if low <= at / self.seconds <= high]
                       for low, high in ((0, 1 / 3), (2 / 3, 1.01)))  # fmt: skip
        return float(np.mean(first)), float(np.mean(last))


def failed(status: int) -> bool:
    """Whether a status says that the server is at fault."""
    return status >= 500 and status != 503


@contextmanager
def serving(*arguments: str) -> Iterator[tuple[subprocess.Popen[str], str, list[str]]]:
    """The command `tracelens serve` with these: process, address, and what it says on stderr."""
    command = [sys.executable, "-m", "tracelens", "serve", "--port", "0", *arguments]
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        said: list[str] = []
        reading = threading.Thread(target=lambda: said.extend(process.stderr or ()), daemon=True)
        reading.start()
        late = threading.Timer(BEGIN_S, process.kill)
        late.start()
        try:
            first = process.stdout.readline() if process.stdout else ""
            late.cancel()
            address = re.match(r"http://\S+", first)
            if address is None:
                raise RuntimeError(f"the server did not begin: {first}{''.join(said)}")
            yield process, address[0], said
        finally:
            late.cancel()
            process.terminate()
            try:
                process.wait(timeout=20)
            except subprocess.TimeoutExpired:
                process.kill()


def memory_of(pid: int) -> float:
    """Resident memory of a process, MB."""
    status = Path(f"/proc/{pid}/status").read_text(encoding="utf-8")
    return int(re.findall(r"VmRSS:\s+(\d+)", status)[0]) / 1024


def seconds_of(pid: int) -> float:
    """Processor time of a process."""
    fields = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def load(
    log: Path, clients: int, seconds: float, every_s: float = 30.0, look_s: float = 4.0
) -> Load:
    """Let `clients` people at the page of a log for that long; memory is taken every so often."""
    with serving(str(log)) as (process, address, said):
        begin, spent, own = time.monotonic(), seconds_of(process.pid), time.process_time()
        people = [Person(address, seed, look_s) for seed in range(clients)]
        threads = [
            threading.Thread(target=one.live, args=(begin + seconds,), daemon=True)
            for one in people
        ]
        for thread in threads:
            thread.start()
            time.sleep(min(30.0, seconds / 4) / clients)
        memory = []
        while (now := time.monotonic() - begin) < seconds:
            memory.append((now, memory_of(process.pid)))
            time.sleep(max(0.0, min(every_s, seconds - now)))
        memory.append((time.monotonic() - begin, memory_of(process.pid)))
        for thread in threads:
            thread.join(timeout=240)
        return Load(
            requests=[one for person in people for one in person.done],
            memory=memory,
            seconds=seconds,
            server_s=seconds_of(process.pid) - spent,
            clients_s=time.process_time() - own,
            said="".join(said),
        )


def figures(came: Load) -> Iterator[str]:
    """One line a figure."""
    yield f"{'kind':21} {'count':>7} {'errors':>7} {'refused':>8} {'median':>9} {'p99':>9}"
    kinds = sorted({one.kind for one in came.requests})
    for kind in [*kinds, "all"]:
        of_it = [one for one in came.requests if kind in (one.kind, "all")]
        times = [1000 * one.seconds for one in of_it]
        errors = sum(one in of_it for one in came.errors)
        refused = sum(300 <= one.status < 500 or one.status == 503 for one in of_it)
        p99 = np.percentile(times, 99, method="inverted_cdf")
        yield (
            f"{kind:21} {len(of_it):7} {errors:7} {refused:8} {np.median(times):6.0f} ms "
            f"{p99:6.0f} ms"
        )
    yield "memory, MB: " + " ".join(f"{mb:.0f}" for _, mb in came.memory)
    first, last = came.thirds()
    yield f"first third {first:.0f} MB, last third {last:.0f} MB, {last / first:.2f} of it"
    yield (
        f"{len(came.requests) / came.seconds:.0f} requests a second; processor: server "
        f"{came.server_s / came.seconds:.2f}, clients {came.clients_s / came.seconds:.2f} cores; "
        f"load of the machine {os.getloadavg()[0]:.1f}"
    )
    if came.said.strip():
        yield f"the server said: {came.said.strip()[:2000]}"


def main() -> None:
    """Print the figures."""
    clients = int(sys.argv[1]) if len(sys.argv) > 1 else 50
    minutes = float(sys.argv[2]) if len(sys.argv) > 2 else 10
    if not (1 <= clients <= 200 and 0 < minutes <= 30):
        sys.exit("expected 1 to 200 clients and at most 30 minutes")
    with tempfile.TemporaryDirectory() as folder:
        log = Path(folder) / "large.csv"
        count = write_large_log(log, EVENTS)
        sys.stdout.write(f"{count:,} events, {clients} clients, {minutes:g} minutes\n")
        for line in figures(load(log, clients, 60 * minutes)):
            sys.stdout.write(line + "\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main()

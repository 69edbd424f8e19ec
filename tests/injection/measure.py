"""Make a run with a fault, report on it, and see whether the first finding names the fault."""

import gzip
import random
import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from tests.injection import lines
from tests.injection.faults import KINDS, put
from tracelens.analysis import analyse
from tracelens.engine import simulate
from tracelens.formats.taskset_toml import read_taskset
from tracelens.model.results import Analysis, Finding
from tracelens.model.taskset import TaskSet
from tracelens.reading import read

ROOT = Path(__file__).resolve().parents[2]
SETS = ("knitting_healthy", "knitting_two_cores")


@dataclass(frozen=True)
class Result:
    """Whether the fault was named, and what stood first."""

    seed: int
    kind: str
    what: str
    named: bool
    first: Finding


@cache
def _set(name: str) -> TaskSet:
    return read_taskset(ROOT / "sample_traces" / f"{name}.toml")


def healthy(seed: int, folder: Path) -> list[Finding]:
    """Findings above 'note' of a healthy run."""
    text = simulate(_set(SETS[seed % len(SETS)]), seed=seed).log
    return [one for one in _report(text, folder).findings if one.severity != "note"]


def faulty(seed: int, folder: Path) -> Result:
    """One kind of fault after the other, in one task set after the other."""
    kinds = list(KINDS)
    kind = kinds[seed % len(kinds)]
    rng = random.Random(f"{kind} {seed}")
    fault = put(_set(SETS[seed // len(kinds) % len(SETS)]), kind, rng)
    text = simulate(fault.taskset, seed=seed).log
    if fault.leak is not None:
        task, bytes_a_job = fault.leak
        token = next(one.id for one in fault.taskset.system.tasks if one.name == task)
        text = lines.leak(text.decode(), token, bytes_a_job).encode()
    return _result(seed, kind, fault.what, fault.names, _report(text, folder))


def in_recording(seed: int, folder: Path) -> Result:
    """A fault in the lines of a recording of a real kernel."""
    rng = random.Random(f"recording {seed}")
    name = ("kernel_healthy", "kernel_wrap16")[seed // 3 % 2]
    log = gzip.decompress((ROOT / f"tests/recordings/{name}.csv.gz").read_bytes()).decode()
    begin = rng.uniform(0.2, 0.6)
    kind = ("stack leak", "interrupt storm", "slower task")[seed % 3]
    if name == "kernel_wrap16" and kind != "stack leak":
        name = "kernel_healthy"  # moving records of a counter that wraps needs more than lines
        log = gzip.decompress((ROOT / f"tests/recordings/{name}.csv.gz").read_bytes()).decode()
    if kind == "stack leak":
        who = rng.choice(["compressor_ctl", "door_watch", "probe_scan", "defrost"])
        text = lines.leak(log, who, rng.randint(1, 2) * (1 if who == "compressor_ctl" else 2))
    elif kind == "interrupt storm":
        who = rng.choice(["mains_isr", "door_isr"])
        end = min(1.0, begin + rng.uniform(0.05, 0.3))
        text = lines.storm(log, who, begin, end, 500, rng.randint(700, 1200))
    else:
        who = rng.choice(["compressor_ctl", "probe_scan"])
        text = lines.slower(log, who, begin, 25_000 * rng.randint(4, 12))
    return _result(seed, f"{kind}, recorded", who, ((who,),), _report(text.encode(), folder))


def _report(text: bytes, folder: Path) -> Analysis:
    path = folder / "run.csv"
    path.write_bytes(text)
    return analyse(read(path))


def _result(
    seed: int, kind: str, what: str, names: tuple[tuple[str, ...], ...], run: Analysis
) -> Result:
    first = run.findings[0]
    named = any(all(_named(one, first) for one in group) for group in names)
    return Result(seed, kind, what, named, first)


def _named(name: str, finding: Finding) -> bool:
    """The finding is about `name`, or says that it is the cause; a victim's name does not count."""
    if finding.subject == name:
        return True
    cause = finding.text
    if finding.kind == "main_cause":
        cause = cause.partition(" explains ")[0]
    elif finding.kind in ("deadline_miss", "open_late_job", "near_deadline"):
        cause = cause.partition("; ")[2]
    return re.search(rf"(?<!\w){re.escape(name)}(?!\w)", cause) is not None

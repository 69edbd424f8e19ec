"""Look for input that a reader cannot bear: `python -m tests.fuzz TARGET SECONDS [DIRECTORY]`.

With atheris (extra `fuzz`) new inputs are those that reach new code; without it they are changed
blindly. In DIRECTORY, by default one for temporary files, are kept the inputs that reached new
code, from which the next search goes on, and under `found/` what was found, each kind once. Exit
status 1 if anything was found.
"""

import argparse
import hashlib
import os
import resource
import signal
import sys
import time
import traceback
from collections.abc import Callable
from pathlib import Path
from random import Random
from tempfile import gettempdir
from types import FrameType

HANGS_S = 10
"""Seconds of processor time that a small input may take."""
MOST_MB = 4000
LONGEST = 2000


class HangError(BaseException):
    """The input took too long."""


class Search:
    """Runs a target on input after input and keeps what is found, each kind once."""

    def __init__(self, run: Callable[[bytes], None], found: Path, seconds: float) -> None:
        self.run, self.found = run, found
        self.until = time.monotonic() + seconds
        self.seconds = seconds
        self.kinds: set[str] = set()
        self.runs = 0
        self.slowest = (0.0, b"")

    def one(self, data: bytes) -> None:
        """Run one input."""
        self.runs += 1
        signal.setitimer(signal.ITIMER_VIRTUAL, HANGS_S)
        began = time.process_time()
        try:
            self.run(data)
        except KeyboardInterrupt:
            raise
        except BaseException as error:  # a panic of the table library is no Exception
            self._keep(data, error)
        finally:
            signal.setitimer(signal.ITIMER_VIRTUAL, 0)
        took = time.process_time() - began
        if took > self.slowest[0]:
            self.slowest = (took, data)
        if time.monotonic() > self.until:
            self.end()

    def _keep(self, data: bytes, error: BaseException) -> None:
        frames = traceback.extract_tb(error.__traceback__)
        ours = [f for f in frames if "/tracelens/" in f.filename] or frames[-1:]
        checks = [
            f for f in frames if "/tests/" in f.filename and isinstance(error, AssertionError)
        ]
        place = (checks or ours)[-1]
        kind = f"{type(error).__name__}-{Path(place.filename).stem}-{place.lineno}"
        if kind in self.kinds:
            return
        self.kinds.add(kind)
        self.found.mkdir(parents=True, exist_ok=True)
        (self.found / kind).write_bytes(data)
        sys.stderr.write(f"found {kind}: {str(error)[:200]!r}\n")
        traceback.print_exception(error, limit=-6, file=sys.stderr)

    def end(self) -> None:
        """Say how it went, and end the process: the fuzzing engine has no other way out."""
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss >> 10
        sys.stdout.write(
            f"done: {self.runs} runs in {self.seconds:.0f} s, {len(self.kinds)} kinds found, "
            f"slowest {self.slowest[0]:.2f} s, {peak} MB\n"
        )
        sys.stdout.flush()
        if self.slowest[0] > 1:
            self.found.mkdir(parents=True, exist_ok=True)
            name = hashlib.sha256(self.slowest[1]).hexdigest()[:8]
            (self.found / f"slow-{name}").write_bytes(self.slowest[1])
        os._exit(1 if self.kinds else 0)


def _hangs(_number: int, _frame: FrameType | None) -> None:
    raise HangError


def main() -> None:
    options = argparse.ArgumentParser(prog="python -m tests.fuzz")
    options.add_argument("target")
    options.add_argument("seconds", type=float)
    options.add_argument("directory", nargs="?", type=Path)
    options.add_argument(
        "--blind", action="store_true", help="without atheris, even if it is there"
    )
    asked = options.parse_args()
    os.environ["TRACELENS_PLAIN"] = "1"  # machine code tells nothing of where it has been
    signal.signal(signal.SIGVTALRM, _hangs)
    engine = None if asked.blind else _engine()
    if engine is None:
        from tests.fuzz.targets import TARGETS
    else:
        with engine.instrument_imports(include=["tracelens"]):
            from tests.fuzz.targets import TARGETS
    target = TARGETS[asked.target]
    folder = asked.directory or Path(gettempdir()) / "tracelens-fuzz" / asked.target
    corpus = folder / "corpus"
    corpus.mkdir(parents=True, exist_ok=True)
    kept = Path(__file__).parent / "kept" / asked.target
    seeds = target.seeds() + [file.read_bytes() for file in sorted(kept.glob("*"))]
    for seed in seeds:
        (corpus / hashlib.sha1(seed).hexdigest()).write_bytes(seed)
    search = Search(target.run, folder / "found", asked.seconds)
    if engine is None:
        _blind(search, target, seeds)
    else:
        _guided(engine, search, target, corpus, asked.seconds)


def _engine():
    try:
        import atheris
    except ImportError:
        return None
    return atheris


def _blind(search: Search, target, seeds: list[bytes]) -> None:
    from tests.fuzz.mutation import mutated

    for seed in seeds:
        search.one(seed)
    rng = Random(1)
    while True:
        data = mutated(rng.choice(seeds or [b""]), LONGEST, rng, target.words)
        search.one(_bytes(data, LONGEST, rng) if not target.text or rng.random() < 0.3 else data)


def _bytes(data: bytes, most: int, rng: Random) -> bytes:
    """A few bytes changed, gone or come."""
    octets = bytearray(data)
    for _ in range(rng.randrange(1, 4)):
        at = rng.randrange(len(octets) + 1)
        octets[at : at + rng.randrange(3)] = rng.randbytes(rng.randrange(3))
    return bytes(octets[:most])


def _guided(engine, search: Search, target, corpus: Path, seconds: float) -> None:
    from tests.fuzz.mutation import crossed, mutated

    def mutator(data: bytes, most: int, seed: int) -> bytes:
        rng = Random(seed)
        if target.text and rng.random() < 0.7:
            data = mutated(data, most, rng, target.words)
            if rng.random() < 0.8:
                return data
        return engine.Mutate(data, most)

    def crossover(one: bytes, other: bytes, most: int, seed: int) -> bytes:
        return crossed(one, other, most, Random(seed))

    arguments = [
        "fuzz", str(corpus), f"-max_len={LONGEST}", "-timeout=120", f"-rss_limit_mb={MOST_MB}",
        f"-max_total_time={seconds + 60:.0f}", "-verbosity=0", "-print_final_stats=0",
        f"-artifact_prefix={corpus.parent}/",
    ]  # fmt: skip
    engine.Setup(arguments, search.one, custom_mutator=mutator, custom_crossover=crossover)
    engine.Fuzz()


if __name__ == "__main__":
    main()

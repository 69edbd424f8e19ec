"""Running the commands in this process, and digesting what they say."""

import contextlib
import gzip
import hashlib
import io
from collections.abc import Sequence
from pathlib import Path

import zstandard

from tests.same_answer.commands import Asked
from tracelens.cli.main import main

PACKED = (".gz", ".zst")


def say(folder: Path, asked: Sequence[Asked], *, backwards: bool = False) -> dict[str, str]:
    """Run each command in `folder`; the digest of each file of its answer, by name.

    What goes to standard output and standard error, and the exit status, are files too. Commands
    of one subject stay in order, for some read what others wrote; `backwards` begins with the last
    subject.
    """
    subjects: dict[str, list[Asked]] = {}
    for name, command in asked:
        subjects.setdefault(name.partition("/")[0], []).append((name, command))
    order = reversed(list(subjects)) if backwards else list(subjects)
    with contextlib.chdir(folder):
        for name, command in (one for subject in order for one in subjects[subject]):
            place = Path("said", name)
            place.mkdir(parents=True, exist_ok=True)
            out, err = _run(command.split())
            (place / "stdout").write_bytes(out)
            (place / "stderr").write_bytes(err)
        return digests(Path("said"))


def _run(command: list[str]) -> tuple[bytes, bytes]:
    out, err = (io.TextIOWrapper(io.BytesIO(), "utf-8", write_through=True) for _ in range(2))
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        status = main(command)
    told = err.buffer.getvalue() + f"exit status {status}\n".encode()
    return out.buffer.getvalue(), told


def digests(folder: Path) -> dict[str, str]:
    """SHA-256 of every file below `folder`, and of what is in the packed ones."""
    found = {}
    for file in sorted(path for path in folder.rglob("*") if path.is_file()):
        data = file.read_bytes()
        name = file.relative_to(folder).as_posix()
        found[name] = _digest(data)
        if name.endswith(".gz"):
            found[f"{name} unpacked"] = _digest(gzip.decompress(data))
        elif name.endswith(".zst"):
            unpacked = zstandard.ZstdDecompressor().decompressobj().decompress(data)
            found[f"{name} unpacked"] = _digest(unpacked)
    return found


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def written(digests_of: dict[str, str]) -> str:
    """Digests as lines, as `sha256sum` writes them."""
    return "".join(f"{digest}  {name}\n" for name, digest in digests_of.items())


def read(text: str) -> dict[str, str]:
    """The digests of such lines."""
    pairs = (line.split("  ", 1) for line in text.splitlines())
    return {name: digest for digest, name in pairs}


def differing(one: dict[str, str], other: dict[str, str], *, packed: bool = True) -> list[str]:
    """Names that only one has, or that differ; not `packed`: only what was packed counts."""
    every = sorted(one.keys() | other.keys())
    return [
        name
        for name in every
        if one.get(name) != other.get(name) and (packed or not name.endswith(PACKED))
    ]

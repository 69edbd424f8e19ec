"""A directory of runs, one Parquet file each: many may add at once, and nothing half is ever read.

A run's file is written whole under another name, brought to the disk, and only then given its own
name, which the content of its log makes. Two who add at the same time add two files; two who add
the same run make the same file, and one of them is told that it was there. Whoever is killed in
between leaves a file that nobody reads.
"""

import hashlib
import os
import tempfile
import time
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import polars as pl

from tracelens.errors import InputError, UsageError, unwritable
from tracelens.files import TooLongError, read_whole
from tracelens.log.sources import load
from tracelens.measures.contract import conform, empty
from tracelens.model.history import HISTORY, RUNS
from tracelens.sealed import BrokenError, read_table, write_table

PREFIX: Final = "run-"
SUFFIX: Final = ".parquet"
UNFINISHED: Final = ".unfinished-"
_MOST: Final = 64 << 20
_MAY_BE_NULL: Final = ("start",)
_LEFT_S: Final = 3600.0
"""An unfinished file of this age was left by a writer that is gone."""


@dataclass(frozen=True, slots=True)
class History:
    """`measures` has the columns of `HISTORY`, by run, oldest first; `runs` those of `RUNS`.

    Runs are in order of their `start`, or where that is not known of when they were added.
    `unreadable` says which files are none of a history, and why.
    """

    runs: pl.DataFrame
    measures: pl.DataFrame
    unreadable: tuple[str, ...] = ()


def address(log: str | Path) -> str:
    """What the content of a log is called: 32 hexadecimal digits, the same if it is compressed.

    Raises `LogError` if it cannot be read, `UsageError` for standard input.
    """
    if str(log) == "-":
        raise UsageError(
            "a history needs files: found standard input, expected the name of a log",
            hint="write it to a file first",
        )
    return hashlib.blake2b(load(log).data, digest_size=16).hexdigest()


def holds(folder: Path, run: str) -> bool:
    """Whether the history has a run of this address."""
    return _file(folder, run).exists()


def add(folder: Path, run: str, rows: pl.DataFrame, *, replace: bool = False) -> bool:
    """Add a run's rows of `HISTORY`; the directory is made if there is none.

    False if the run was there already and was left as it is. With `replace` its file is exchanged.
    Raises `UsageError` if it cannot be written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        _sweep(folder)
        handle, name = tempfile.mkstemp(prefix=UNFINISHED, dir=folder)
        unfinished = Path(name)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(write_table(rows))
                file.flush()
                os.fsync(file.fileno())
            unfinished.chmod(0o666 & ~_umask())
            added = _give_name(unfinished, _file(folder, run), replace)
        finally:
            unfinished.unlink(missing_ok=True)
        _settle(folder)
    except OSError as error:
        raise unwritable(str(folder), error) from error
    return added


def read(folder: Path, where: Iterable[tuple[str, str]] = ()) -> History:
    """Every run in the directory; with `where`, those whose `#run` keys have these values.

    Raises `InputError` if there is no such directory, or no run in it.
    """
    if not folder.is_dir():
        raise InputError(
            "no such history: found no directory of this name",
            place=str(folder),
            hint="tracelens history add DIR LOG... makes one",
        )
    tables, unreadable = [], []
    for file in sorted(folder.glob(f"{PREFIX}*{SUFFIX}")):
        try:
            tables.append(_table(file))
        except (OSError, TooLongError, BrokenError, pl.exceptions.PolarsError) as error:
            unreadable.append(f"{file.name}: not a file of a history ({_first_line(error)})")
    whole = pl.concat(tables) if tables else empty(HISTORY)
    for key, value in where:
        wanted = pl.struct(pl.lit(key).alias("key"), pl.lit(value).alias("value"))
        whole = whole.filter(pl.col("keys").list.contains(wanted))
    if whole.is_empty():
        told = " and ".join(f"{key}={value}" for key, value in where)
        raise InputError(
            f"no run in this history{f' has {told}' if told else ''}: found {len(tables)} runs"
            f"{f' and {len(unreadable)} files that cannot be read' if unreadable else ''}",
            place=str(folder),
            hint="tracelens history show DIR lists the runs and their keys" if tables else None,
        )
    whole = whole.sort(pl.coalesce("start", "added"), "added", "run", maintain_order=True)
    runs = whole.unique("run", keep="first", maintain_order=True)
    return History(conform(runs, RUNS), whole, tuple(unreadable))


def _table(file: Path) -> pl.DataFrame:
    """The rows of a run's file. Raises `BrokenError`, or `PolarsError` for other columns."""
    if not file.is_file():
        raise BrokenError("a directory, a pipe or a device")
    # The bytes first: a file that another exchanges meanwhile stays the one opened.
    table = conform(read_table(read_whole(file, _MOST)), HISTORY)
    for name in table.columns:
        if name not in _MAY_BE_NULL and table[name].null_count():
            raise BrokenError(f"a row without {name}")
    return table


def newest(history: History, count: int | None) -> History:
    """The newest `count` runs; all for None."""
    if count is None:
        return history
    runs = history.runs.tail(count)
    return History(runs, history.measures.join(runs, on="run", how="semi"), history.unreadable)


def _give_name(unfinished: Path, final: Path, replace: bool) -> bool:
    """Of two who give the same name at once, exactly one succeeds."""
    if not replace:
        try:
            os.link(unfinished, final)
            return True
        except FileExistsError:
            return False
        except OSError:  # a file system without links: both would write the same
            if final.exists():
                return False
    unfinished.replace(final)
    return True


def _settle(folder: Path) -> None:
    """Bring the names to the disk too, where directories can be opened."""
    if hasattr(os, "O_DIRECTORY"):
        handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _sweep(folder: Path) -> None:
    for left in folder.glob(f"{UNFINISHED}*"):
        try:
            if time.time() - left.stat().st_mtime > _LEFT_S:
                left.unlink(missing_ok=True)
        except FileNotFoundError:
            continue  # another has swept it


def _file(folder: Path, run: str) -> Path:
    return folder / f"{PREFIX}{run}{SUFFIX}"


def _umask() -> int:
    """The process's own; `mkstemp` makes files that only their owner can read."""
    mask = os.umask(0o077)
    os.umask(mask)
    return mask


def _first_line(error: Exception) -> str:
    return str(error).strip().partition("\n")[0] or type(error).__name__

"""From files to a run: read the log, let a system file override it, reconstruct what happened."""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import IO

import polars as pl

from tracelens.compiled import slow_without_numba
from tracelens.formats import system_toml
from tracelens.formats.toml_schema import SystemFile
from tracelens.log import read as read_log
from tracelens.log import read_bytes as read_log_bytes
from tracelens.model.log import Log
from tracelens.model.results import Timeline
from tracelens.reconstruct import reconstruct

Systems = str | Path | Sequence[str | Path] | None
"""A system file, or several, of which the later overrides the earlier; or none."""


def read(
    logs: str | Path | Sequence[str | Path],
    system: Systems = None,
    *,
    strict: bool = False,
    say: Callable[[str], None] = lambda _what: None,
) -> Timeline:
    """Read one log, or the parts of one in order, and reconstruct what happened.

    `system` names a system file (TOML), or several, of which the later overrides the earlier.
    `say` is told each step as it begins.
    Raises `LogError`, `SystemFileError` or `DamageError`.
    """
    parts = [logs] if isinstance(logs, str | Path) else list(logs)
    say("reading the log")
    return _reconstructed(read_log(parts, strict=strict), system, say)


def read_bytes(
    data: bytes | IO[bytes],
    name: str,
    system: Systems = None,
    *,
    most: int | None = None,
    say: Callable[[str], None] = lambda _what: None,
) -> Timeline:
    """The same for one log whose bytes are at hand, plain or compressed; messages call it `name`.

    A log of more bytes than `most`, unpacked, is refused with `LogError`; if it is not given, a
    quarter of the machine's memory.
    """
    say("reading the log")
    return _reconstructed(read_log_bytes(data, name, most=most), system, say)


def overridden(run: Timeline, system: str | Path | SystemFile) -> Timeline:
    """The same log with another system file on top. Raises `SystemFileError`."""
    declared = system_toml.apply(run.system, system, known=_words(run.log))
    return run if declared == run.system else reconstruct(run.log, declared)


def _reconstructed(log: Log, system: Systems, say: Callable[[str], None]) -> Timeline:
    declared = log.declared
    files = [system] if isinstance(system, str | Path) else system or ()
    known = _words(log) if files else []
    for file in files:
        declared = system_toml.apply(declared, file, known=known)
    say("reconstructing what happened")
    if slow_without_numba(log.events.height):
        say("reconstructing in plain Python, for numba is not installed: this takes longer")
    return reconstruct(log, declared)


def _words(log: Log) -> list[str]:
    """Every word that stands in the log's events for something, declared or not."""
    said = [log.events[column].unique().cast(pl.String) for column in ("subject", "value")]
    return pl.concat(said).drop_nulls().to_list()

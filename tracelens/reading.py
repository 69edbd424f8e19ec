"""From files to a run: read the log, let a system file override it, reconstruct what happened."""

from collections.abc import Callable, Sequence
from pathlib import Path

import polars as pl

from tracelens.compiled import slow_without_numba
from tracelens.formats import system_toml
from tracelens.log import read as read_log
from tracelens.model.log import Log
from tracelens.model.results import Timeline
from tracelens.reconstruct import reconstruct


def read(
    logs: str | Path | Sequence[str | Path],
    system: str | Path | None = None,
    *,
    strict: bool = False,
    say: Callable[[str], None] = lambda _what: None,
) -> Timeline:
    """Read one log, or the parts of one in order, and reconstruct what happened.

    `system` names a system file (TOML). `say` is told each step as it begins.
    Raises `LogError`, `SystemFileError` or `DamageError`.
    """
    parts = [logs] if isinstance(logs, str | Path) else list(logs)
    say("reading the log")
    log = read_log(parts, strict=strict)
    declared = log.declared
    if system is not None:
        declared = system_toml.apply(declared, system, known=_words(log))
    say("reconstructing what happened")
    if slow_without_numba(log.events.height):
        say("reconstructing in plain Python, for numba is not installed: this takes longer")
    return reconstruct(log, declared)


def _words(log: Log) -> list[str]:
    """Every word that stands in the log's events for something, declared or not."""
    said = [log.events[column].unique().cast(pl.String) for column in ("subject", "value")]
    return pl.concat(said).drop_nulls().to_list()

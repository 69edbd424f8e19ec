"""The probe's C sources, written out for firmware to take in."""

from importlib import resources
from pathlib import Path
from typing import Final

from tracelens.errors import UsageError, unwritable

SOURCES: Final = (
    "tracelens_probe.h",
    "tracelens_probe.c",
    "tracelens_probe_port.h",
    "HOOKS.md",
)
"""Files of the probe, in the order in which a reader wants them."""


def write_out(directory: Path, *, replace: bool = False) -> list[Path]:
    """Write the sources into `directory`, made if it is not there; returns the files written.

    Raises `UsageError` if one of them is there already, unless with `replace`: the port file holds
    what someone has adapted.
    """
    paths = [directory / name for name in SOURCES]
    there = [path for path in paths if path.exists()]
    if there and not replace:
        raise UsageError(
            "is there already: found a file, expected none",
            place=str(there[0]),
            hint="name another directory, or write over all of them with --replace",
        )
    try:
        directory.mkdir(parents=True, exist_ok=True)
        for path in paths:
            path.write_bytes(source(path.name))
    except OSError as error:
        raise unwritable(str(directory), error) from None
    return paths


def source(name: str) -> bytes:
    """The bytes of one of `SOURCES`."""
    return (resources.files("tracelens.probe") / "c" / name).read_bytes()

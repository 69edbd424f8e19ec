"""`tracelens capture`: a log from a running target."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from io import FileIO
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tracelens.cli import options
from tracelens.cli.output import STDOUT
from tracelens.errors import InputError, UsageError, unwritable
from tracelens.units import NS_PER_S

if TYPE_CHECKING:
    from tracelens.capture.recorder import Progress

_SIZES = {"kB": 10**3, "MB": 10**6, "GB": 10**9}


def _octets(_ctx: click.Context, _param: click.Parameter, text: str | None) -> int | None:
    """A size with its unit as a number of octets."""
    if text is None:
        return None
    number, unit = text[:-2].strip(), text[-2:]
    if unit not in _SIZES or not number.replace(".", "", 1).isdigit():
        raise click.BadParameter(f"found {text!r}, expected a size such as 500kB, 20MB or 1.5GB")
    return round(float(number) * _SIZES[unit])


@click.command(short_help="Take a log from a serial port, a socket or standard input.")
@click.argument("port", metavar="PORT")
@click.option("-o", "--output", required=True, metavar="LOG", help="The log that is made.")
@click.option("--replace", is_flag=True, help="Write over LOG if it is there already.")
@click.option(
    "--baud",
    type=click.IntRange(min=50),
    metavar="N",
    default=115200,
    show_default=True,
    help="Bits a second of a serial port.",
)
@click.option(
    "--for", "time_ns", callback=options.time, metavar="T", help="Stop after a time: 10s, 500ms."
)
@click.option("--size", callback=_octets, metavar="S", help="Stop when LOG has this size: 20MB.")
@click.option("--from-mark", metavar="WORD", help="Begin when the target has marked this.")
@click.option("--until-mark", metavar="WORD", help="Stop when the target has marked this.")
@click.option("--until-miss", is_flag=True, help="Stop when a job was late.")
def capture(
    port: str,
    output: str,
    replace: bool,
    baud: int,
    time_ns: int | None,
    size: int | None,
    from_mark: str | None,
    until_mark: str | None,
    until_miss: bool,
) -> None:
    """Take a log from a serial port, a socket or standard input.

    PORT is the name of a serial device, tcp://HOST:PORT, or - for standard input. What comes may
    be the frames of the probe or the lines of a log: which of the two shows by itself. It ends
    with Ctrl-C, with its input, or with what the options say. A port that vanishes is waited for,
    and the log says so. What came is on the disk within a second.

    \b
    tracelens capture /dev/ttyUSB0 --baud 921600 -o run.csv
    tracelens capture tcp://127.0.0.1:4000 -o run.csv --for 60s
    some-program | tracelens capture - -o run.csv --until-miss
    """
    from tracelens.capture.channels import open_channel
    from tracelens.capture.intake import Unknown
    from tracelens.capture.recorder import Bounds, record

    until = Bounds(
        seconds=None if time_ns is None else time_ns / NS_PER_S,
        octets=size,
        from_mark=from_mark or "",
        mark=until_mark or "",
        miss=until_miss,
    )
    intake = Unknown()
    _check_free(output, replace)
    channel = open_channel(port, baud)
    with _new_file(output) as file, _live() as show:
        done = record(channel, lambda: open_channel(port, baud), intake, file, until, show)
    counters = intake.counters
    if not counters.events:
        raise InputError(
            f"nothing came that is a log: found {done.octets} bytes and no event ({done.reason})",
            place=port,
            hint="check the rate (--baud) and that the target sends; LOG holds what came",
        )
    told = f"{output}: {counters.events} events, {counters.lost} lost"
    told += f", {counters.damaged} frames damaged" if counters.damaged else ""
    told += f", the channel was away {done.gaps} ×" if done.gaps else ""
    click.echo(f"{told}; {done.reason}.")


def _check_free(name: str, replace: bool) -> None:
    """Refuse what would be regretted, before the port is opened. Raises `UsageError`."""
    if name == STDOUT:
        raise UsageError(
            "a capture goes to a file: found -, expected a name such as run.csv",
            hint="what is captured must outlive what reads it",
        )
    if name.endswith((".gz", ".zst")):
        raise UsageError(
            f"a capture is not compressed: found {name}, expected a name such as run.csv",
            hint="what is compressed as it comes cannot be read after a power cut; pack it later",
        )
    if Path(name).exists() and not replace:
        raise UsageError(
            "is there already: found a file, expected none",
            place=name,
            hint="name another file, or write over it with --replace",
        )


def _new_file(name: str) -> FileIO:
    try:
        return FileIO(name, "w")
    except OSError as error:
        raise unwritable(name, error) from None


@contextmanager
def _live() -> "Iterator[Callable[[Progress], None]]":
    """A line of counters on a terminal; nothing in a pipe."""
    if not sys.stderr.isatty():
        yield lambda _progress: None
        return
    from rich.console import Console

    with Console(stderr=True).status("waiting for the target …") as status:

        def show(progress: "Progress") -> None:
            load = "–" if progress.load is None else f"{100 * progress.load:.0f} %"
            away = "channel away · " if progress.away else ""
            status.update(
                f"{away}{progress.seconds:.0f} s · {progress.events} events · "
                f"{progress.rate:.0f} a second · lost {progress.lost} · load {load}"
            )

        yield show

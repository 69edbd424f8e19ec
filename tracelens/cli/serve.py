"""`tracelens serve`: the page, on this machine only."""

import socket
from pathlib import Path

import click

from tracelens.cli import options
from tracelens.cli.progress import progress
from tracelens.errors import InputError, UsageError


@click.command(short_help="Open the page on a run, in a browser on this machine.")
@click.argument("logs", metavar="[LOG...]", nargs=-1)
@options.system
@click.option(
    "--port",
    type=click.IntRange(0, 65535),
    metavar="N",
    default=8050,
    show_default=True,
    help="Port on this machine; 0 takes a free one.",
)
@click.option("--open", "open_browser", is_flag=True, help="Open it in the browser at once.")
@click.option("--follow", is_flag=True, help="Show a log that still grows; it is read again.")
@click.option(
    "--history", metavar="DIR", help="Show what changes from run to run in the history in DIR, too."
)
@options.strict
def serve(
    logs: tuple[str, ...],
    system: str | None,
    port: int,
    open_browser: bool,
    follow: bool,
    history: str | None,
    strict: bool,
) -> None:
    """Open the page on a run, in a browser on this machine.

    LOG is an event log, or its parts in order; - is standard input. Without one the page opens
    on a room where a log is opened, or a sample. The page is served to this machine alone
    (127.0.0.1) until Ctrl-C ends it.

    \b
    tracelens serve
    tracelens serve run.csv
    tracelens serve run.csv --port 9000 --open
    tracelens serve --follow growing.csv
    tracelens serve --history nightly
    """
    _check_free(port)
    if not logs:
        _refuse_without_log(system=system, strict=strict, follow=follow)
    if history is not None and not Path(history).is_dir():
        raise InputError(
            "no such history: found no directory of this name",
            place=history,
            hint="tracelens history add DIR LOG... makes one",
        )
    if follow and (len(logs) > 1 or logs[0] == "-" or strict):
        raise UsageError(
            "--follow is for one file, and without --strict: found something else",
            hint="tracelens serve --follow run.csv",
        )

    from tracelens.analysis import analyse
    from tracelens.reading import read
    from tracelens.web import app
    from tracelens.web.following import Follower

    analyses, follower = [], Follower(logs[0], system) if follow else None
    if logs and not follow:
        with progress() as say:
            run = read(logs, system, strict=strict, say=say)
            say("measuring")
            analyses = [analyse(run)]
    app.serve(
        *analyses,
        follower=follower,
        history=None if history is None else Path(history),
        port=port,
        open_browser=open_browser,
        say=_address,
    )


def _refuse_without_log(**given: object) -> None:
    """Options that say how to read a log are nothing without one."""
    for name, value in given.items():
        if value:
            raise UsageError(
                f"no log for --{name}: found no LOG, expected one", hint="tracelens serve --help"
            )


def _check_free(port: int) -> None:
    """Find out before a long log is read, not after. Raises `UsageError` for a port in use."""
    try:
        socket.create_server(("127.0.0.1", port)).close()
    except OSError as error:
        raise UsageError(
            f"port {port} of this machine cannot be opened: {error.strerror}",
            hint="give another one with --port, or --port 0 for a free one",
        ) from error


def _address(address: str) -> None:
    click.echo(f"{address} shows the page; Ctrl-C ends it.")

"""`tracelens serve`: the page, on this machine, or beyond it to those who have a token."""

from pathlib import Path

import click

from tracelens.cli import options
from tracelens.cli.output import complain
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
@click.option(
    "--host",
    metavar="ADDRESS",
    default="127.0.0.1",
    show_default=True,
    help="Address to serve the page at. Beyond this machine it asks for a token, and is not "
    "encrypted.",
)
@click.option(
    "--token",
    is_flag=True,
    help="Ask for a token on this machine too: its other users do not see the page.",
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
    host: str,
    token: bool,
    open_browser: bool,
    follow: bool,
    history: str | None,
    strict: bool,
) -> None:
    """Open the page on a run, in a browser on this machine.

    LOG is an event log, or its parts in order; - is standard input. Without one the page opens
    on a room where a log is opened, or a sample. The page is served to this machine alone
    (127.0.0.1) until Ctrl-C ends it.

    With --host it is served to a network. Whoever has the token, which stands in the printed
    address, then sees the log, and nothing is encrypted: whoever can listen on that network
    reads along. Put it behind what your organisation uses for that.

    \b
    tracelens serve
    tracelens serve run.csv
    tracelens serve run.csv --port 9000 --open
    tracelens serve --follow growing.csv
    tracelens serve --history nightly
    tracelens serve run.csv --host 0.0.0.0
    """
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

    from tracelens.web.guard import is_loopback
    from tracelens.web.listening import listening
    from tracelens.web.token import Door

    # Find out before a long log is read, not after.
    listening(host, port).close()
    door = Door() if token or not is_loopback(host) else None
    if door is not None and open_browser:
        raise UsageError(
            "--open does not go with a token: it would stand in the browser's command line, which "
            "every user of this machine can read",
            hint="leave --open out, and open the printed address",
        )

    from tracelens.analysis import analyse
    from tracelens.reading import read
    from tracelens.web import serving
    from tracelens.web.following import Follower

    analyses, follower = [], Follower(logs[0], system) if follow else None
    if logs and not follow:
        with progress() as say:
            run = read(logs, system, strict=strict, say=say)
            say("measuring")
            analyses = [analyse(run)]
    serving.serve(
        *analyses,
        follower=follower,
        history=None if history is None else Path(history),
        host=host,
        port=port,
        door=door,
        open_browser=open_browser,
        say=lambda address: _address(address, beyond=not is_loopback(host)),
        complain=lambda told: complain(told, None),
    )


def _refuse_without_log(**given: object) -> None:
    """Options that say how to read a log are nothing without one."""
    for name, value in given.items():
        if value:
            raise UsageError(
                f"no log for --{name}: found no LOG, expected one", hint="tracelens serve --help"
            )


def _address(address: str, beyond: bool) -> None:
    if beyond:
        click.echo(
            "Warning: the page is served beyond this machine, and is not encrypted. Anyone\n"
            "on the network can read along: the log, and the token in the address below.\n"
            "Put it behind what your organisation uses for that, and end it after use.",
            err=True,
        )
    click.echo(f"{address} shows the page; Ctrl-C ends it.")

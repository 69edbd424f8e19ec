"""`tracelens cut`: a small log around one place, that reads the same."""

import click

from tracelens.cli import options
from tracelens.cli.output import STDOUT, packed, write
from tracelens.cli.progress import progress
from tracelens.errors import UsageError


@click.command(short_help="Cut out a small log around a miss, a time or a mark.")
@options.logs
@click.option(
    "-o", "--output", required=True, metavar="SMALL", help="The cut; .gz and .zst compress it."
)
@click.option(
    "--miss", type=int, metavar="K", help="Around the K-th late job; without, the one late by most."
)
@click.option(
    "--from", "start_ns", callback=options.time, metavar="A", help="From here: 1.5s, 250us."
)
@click.option("--to", "end_ns", callback=options.time, metavar="B", help="... up to here.")
@click.option("--around", "at_ns", callback=options.time, metavar="T", help="Around this time.")
@click.option("--mark", metavar="WORD", help="Around the first time that this was marked.")
@click.option(
    "--margin",
    "margin_ns",
    callback=options.time,
    metavar="M",
    help="How much to keep before and after. By default 10 ms, around a miss no more than its "
    "response, and nothing with --from and --to.",
)
@click.option("--redact", is_flag=True, help="Put neutral names in place of all names.")
@options.system
@options.strict
def cut(
    logs: tuple[str, ...],
    output: str,
    miss: int | None,
    start_ns: int | None,
    end_ns: int | None,
    at_ns: int | None,
    mark: str | None,
    margin_ns: int | None,
    redact: bool,
    system: str | None,
    strict: bool,
) -> None:
    """Cut out a small log around a miss, a time or a mark.

    The first events of SMALL put the system into the state that it was in. SMALL is read again: the
    job in question has the same response, ledger and inversions as in LOG, or more of LOG is taken.
    It goes into a bug report; with --redact it says nothing but times and what kind of thing each
    name was. What S.toml says is declared in SMALL, which is then read without it; chains alone
    cannot be declared in a log.

    \b
    tracelens cut run.csv -o small.csv
    tracelens cut run.csv -o small.csv --miss 3 --redact
    tracelens cut run.csv -o small.csv --around 4.25s --margin 20ms
    """
    by_time = start_ns is not None or end_ns is not None
    places = (miss is not None, by_time, at_ns is not None, mark is not None)
    if sum(places) > 1:
        raise UsageError(
            f"one place to cut around: found {sum(places)} options, expected one of --miss, "
            "--from and --to, --around, --mark",
            hint="tracelens cut --help",
        )

    from tracelens import cutting
    from tracelens.numbers import duration, moment
    from tracelens.reading import read

    with progress() as say:
        run = read(logs, system, strict=strict, say=say)
        say("cutting")
        if by_time:
            low, high = options.window_ns(run.span_ns, start_ns, end_ns) or (0, run.span_ns)
            aim = cutting.between(run, low, high, margin_ns)
        elif at_ns is not None:
            aim = cutting.around_time(run, at_ns, margin_ns)
        elif mark is not None:
            aim = cutting.around_mark(run, mark, margin_ns)
        else:
            aim = cutting.around_miss(run, miss, margin_ns)
        piece = cutting.cut_out(run, aim, redact=redact)
        write(output, [packed(output, piece.text)])
    if output == STDOUT:
        return
    click.echo(
        f"{output}: {piece.events} of {run.log.events.height} events, "
        f"{duration(piece.end_ns - piece.start_ns)} from {moment(piece.start_ns)} on."
    )
    if piece.opening:
        click.echo(f"Before them stand {piece.opening} that put the system into its state.")
    click.echo(f"It reads the same: {aim.what}, in times, ledger and inversions.")
    if piece.extensions:
        click.echo(f"To read the same it was made longer in {piece.extensions} steps.")

"""`tracelens simulate`: make a log from a task set."""

from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from tracelens.cli import options
from tracelens.cli.output import STDOUT, packed, write
from tracelens.cli.progress import progress
from tracelens.errors import unwritable

if TYPE_CHECKING:
    import polars as pl

_MOST_EVENTS: Final = 20_000_000
"""Events of a log; more are sooner a slip in the time than a wish."""


@click.command(short_help="Make a log from a task set.")
@click.argument("taskset", metavar="SET.toml")
@click.option(
    "-o", "--output", required=True, metavar="LOG", help="The log; .gz and .zst compress it."
)
@click.option("--seed", type=int, metavar="N", help="Draw other execution times and arrivals.")
@click.option(
    "--until",
    "until_ns",
    callback=options.time,
    metavar="T",
    help="Length of the run: 2s, 500ms.",
)
@click.option(
    "--damage",
    "words",
    multiple=True,
    metavar="KIND[=X]",
    help="Spoil the log as bad capture does: loss=0.02, late=0.01, torn=0.001, bits=16, "
    "restarts=1, noise=0.001, crlf, cut. May be repeated.",
)
@click.option(
    "--truth",
    callback=options.directory,
    metavar="DIR",
    help="Write what truly happened, as Parquet tables.",
)
def simulate(
    taskset: str,
    output: str,
    seed: int | None,
    until_ns: int | None,
    words: tuple[str, ...],
    truth: str | None,
) -> None:
    """Make a log from a task set.

    SET.toml says which tasks there are and what each of them does. The same set and seed give
    the same log.

    \b
    tracelens simulate knitting.toml -o run.csv
    tracelens simulate knitting.toml -o run.csv --seed 7 --until 2s
    tracelens simulate knitting.toml -o bad.csv --damage loss=0.02 --damage bits=16
    """
    from tracelens.engine import simulate as run
    from tracelens.engine.damage import damage
    from tracelens.engine.damage_words import parse_damage
    from tracelens.formats.taskset_toml import read_taskset

    how = parse_damage(words)
    with progress() as say:
        say("making the schedule")
        done = run(read_taskset(taskset), seed=seed, until_ns=until_ns, most_events=_MOST_EVENTS)
        text = done.log
        if words:
            say("spoiling the log")
            text = damage(done.log, how, done.seed).log
        if truth:
            say(f"writing what happened to {truth}")
            _write_truth(Path(truth), done.truth.tables(), done.log)
        write(output, [packed(output, text)])
    if output != STDOUT:
        click.echo(f"{output}: {done.events.height} events over {done.truth.span_ns / 1e9:g} s")


def _write_truth(folder: Path, tables: "dict[str, pl.DataFrame]", log: bytes) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, table in tables.items():
            table.write_parquet(folder / f"{name}.parquet")
        (folder / "undamaged.csv").write_bytes(log)
    except OSError as error:
        raise unwritable(str(folder), error) from error

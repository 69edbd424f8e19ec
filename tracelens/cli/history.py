"""`tracelens history`: runs kept in a directory, and what changes from one to the next."""

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tracelens.cli import options
from tracelens.cli.output import STDOUT, complain, only_one_on_stdout, write
from tracelens.cli.progress import progress
from tracelens.errors import DamageError, InputError, UsageError

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime


@click.group(short_help="Keep runs in a directory; show what changes from one to the next.")
def history() -> None:
    """Keep runs in a directory; show what changes from one to the next.

    DIR is a Parquet dataset, one file a run. Many may add to it at once.

    \b
    tracelens history add nightly run.csv
    tracelens history show nightly
    tracelens history trend nightly --where board=bench3 --fail-on worse
    """


@history.command(short_help="Add runs.")
@click.argument("folder", metavar="DIR")
@click.argument("logs", metavar="LOG...", nargs=-1, required=True)
@options.system
@click.option("--replace", is_flag=True, help="Read a run anew that is there already.")
@options.strict
def add(folder: str, logs: tuple[str, ...], system: str | None, replace: bool, strict: bool) -> int:
    """Add runs to the history in DIR, which is made if there is none.

    LOG is a run, or a directory or pattern of runs. The same log twice is one run, whatever its
    name. A log that cannot be read does not keep the others out; the exit status is then 3, or 4
    if all that is wrong is damage.
    """
    from tracelens.analysis import analyse
    from tracelens.batch import inputs
    from tracelens.formats.system_toml import read_system
    from tracelens.history import store
    from tracelens.history.summary import summarise
    from tracelens.plain import plain
    from tracelens.reading import read

    now = _now()
    if system:
        read_system(system)  # a mistake in it is one mistake, not one in every run
    status = 0
    with progress() as say:
        for one in inputs.find(logs):
            say(f"reading {one.run}")
            try:
                run = store.address(one.path)
                added = False
                if replace or not store.holds(Path(folder), run):
                    analysis = analyse(read(one.path, system, strict=strict))
                    rows = summarise(analysis, run, one.path.name, now())
                    added = store.add(Path(folder), run, rows, replace=replace)
            except (InputError, DamageError) as error:
                status = min(status or error.status, error.status)
                complain(str(error), error.hint)
                continue
            told = "added" if added else "there already,"
            click.echo(f"{plain(one.run)}: {told} as {run[:12]}")
    return status


def _now() -> "Callable[[], datetime]":
    """The clock that tells when a run was added; SOURCE_DATE_EPOCH in the environment stops it.

    So that the same files come about when a build is repeated (reproducible-builds.org,
    'SOURCE_DATE_EPOCH'; from memory). Raises `UsageError` if it is no time.
    """
    from datetime import UTC, datetime

    given = os.environ.get("SOURCE_DATE_EPOCH")
    if not given:
        return lambda: datetime.now(UTC)
    try:
        then = datetime.fromtimestamp(int(given), UTC)
    except (ValueError, OverflowError, OSError):
        raise UsageError(
            f"no such time: found SOURCE_DATE_EPOCH={given}, expected seconds since 1970",
            hint="unset SOURCE_DATE_EPOCH, and runs are added with the time of day",
        ) from None
    return lambda: then


def _where(
    _ctx: click.Context, _param: click.Parameter, texts: tuple[str, ...]
) -> tuple[tuple[str, str], ...]:
    pairs = [text.partition("=") for text in texts]
    for key, equals, value in pairs:
        if not key or not equals:
            raise click.BadParameter(f"found {key + equals + value!r}, expected KEY=VALUE")
    return tuple((key, value) for key, _, value in pairs)


_where_option = click.option(
    "--where",
    "where",
    multiple=True,
    callback=_where,
    metavar="KEY=VALUE",
    help="Only runs whose #run line says so: board=bench3. May be repeated.",
)
_last_option = click.option(
    "--last", type=click.IntRange(1), metavar="N", help="Only the newest N runs."
)
_json_option = click.option(
    "--json", "json_file", metavar="F", help="Write it as JSON, with every value; - is stdout."
)


@history.command(short_help="List the runs.")
@click.argument("folder", metavar="DIR")
@_where_option
@_last_option
@_json_option
def show(
    folder: str, where: tuple[tuple[str, str], ...], last: int | None, json_file: str | None
) -> None:
    """List the runs of the history in DIR, the newest last."""
    from tracelens.history import store
    from tracelens.report import past, past_json, text

    found = store.newest(store.read(Path(folder), where), last)
    if json_file:
        write(json_file, [past_json.encode(found)])
    if json_file != STDOUT:
        text.show(past.shown(found, folder), sys.stdout)


@history.command(short_help="Say what changes from run to run.")
@click.argument("folder", metavar="DIR")
@_where_option
@_last_option
@options.error_rate("Chance that anything is said to change if nothing does.")
@click.option(
    "--fail-on",
    type=click.Choice(("worse", "any")),
    help="Exit with 1 if something changed for the worse, or at all.",
)
@_json_option
@click.option("--markdown", "markdown_file", metavar="F", help="Write it as Markdown.")
def trend(
    folder: str,
    where: tuple[tuple[str, str], ...],
    last: int | None,
    error_rate: float,
    fail_on: str | None,
    json_file: str | None,
    markdown_file: str | None,
) -> int:
    """Say what changes from run to run in the history in DIR: steps, and drifts.

    Steps are told with the first run of the later level. Both are judged against chance, over all
    measures together.
    """
    quiet = only_one_on_stdout(json_file, markdown_file)

    import polars as pl

    from tracelens.history import store
    from tracelens.history.trends import trends
    from tracelens.report import markdown, past, past_json, text

    with progress() as say:
        say("reading the history")
        found = store.newest(store.read(Path(folder), where), last)
        say("looking for changes")
        table = trends(found, error_rate)
        page = past.trend(found, table, error_rate, folder)
        if json_file:
            write(json_file, [past_json.encode(found, table)])
        if markdown_file:
            write(markdown_file, [markdown.render(page).encode()])
    if not quiet:
        text.show(page, sys.stdout)
    changed = table.filter(pl.col("shape").is_not_null())
    failing = changed.filter("worse") if fail_on == "worse" else changed
    return 1 if fail_on and failing.height else 0

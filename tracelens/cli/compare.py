"""`tracelens compare`: what moved between two builds, and whether it is beyond noise."""

import sys
from typing import Final

import click

from tracelens.cli import options
from tracelens.cli.output import only_one_on_stdout, write
from tracelens.cli.progress import progress
from tracelens.errors import UsageError
from tracelens.plain import plain

NEW: Final = "--new"

FAIL_ON: Final = (
    *("worse", "any", "tasks", "execution", "slow_execution", "section", "response"),
    *("slow_response", "longest_response", "misses", "load", "inversion"),
    *("unbounded_inversion", "stack"),
)
"""The words of `comparison.gate`, which is not imported here: the help must not wait for it."""


class _NewTakesAll(click.Command):
    """`--new` takes all arguments up to the next option, so that a shell pattern can follow it."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        spread: list[str] = []
        inside = False
        for place, arg in enumerate(args):
            if arg == "--":
                spread += args[place:]
                break
            if arg == NEW:
                inside = True
                follows = args[place + 1 : place + 2]
                if not follows or (follows[0].startswith("-") and follows[0] != "-"):
                    spread.append(NEW)  # click says what is missing
            elif arg.startswith("-") and arg != "-":
                inside = False
                spread.append(arg)
            else:
                spread += [NEW, arg] if inside else [arg]
        return super().parse_args(ctx, spread)


@click.command(cls=_NewTakesAll, short_help="Say what moved between two builds, beyond noise.")
@click.argument("logs", metavar="OLD NEW | OLD... --new NEW...", nargs=-1, required=True)
@click.option(NEW, "new", multiple=True, metavar="NEW...", help="New runs; all before are old.")
@options.system
@options.window
@options.error_rate("Chance that anything is said to have moved if nothing has.")
@click.option(
    "--fail-on",
    "fail_on",
    multiple=True,
    type=click.Choice(FAIL_ON),
    metavar="WHAT",
    help="Exit with 1 if this moved for the worse: worse (anything), any (better too), tasks "
    "(came or went), misses, response, load, ... May be repeated.",
)
@click.option(
    "--at-least",
    callback=options.share,
    default="0%",
    metavar="P%",
    help="Smaller changes do not fail, even if they are beyond noise.",
)
@click.option("--json", "json_file", metavar="F", help="Write the comparison as JSON; - is stdout.")
@click.option("--markdown", "markdown_file", metavar="F", help="Write it as Markdown.")
@options.strict
def compare(
    logs: tuple[str, ...],
    new: tuple[str, ...],
    system: str | None,
    start_ns: int | None,
    end_ns: int | None,
    phase: str | None,
    error_rate: float,
    fail_on: tuple[str, ...],
    at_least: float,
    json_file: str | None,
    markdown_file: str | None,
    strict: bool,
) -> int:
    """Say what moved between two builds, and whether it is beyond noise.

    Each argument is a run: a log, or a directory or pattern of logs, one a run. Of two arguments
    the second is new; otherwise --new says which are. Several runs a side, of several boots and
    boards, tell how runs differ anyway; with one run a side only the noise within a run is known.

    \b
    tracelens compare old.csv new.csv
    tracelens compare nightly/ today/
    tracelens compare old*.csv --new new*.csv --fail-on worse --at-least 2%
    """
    quiet = only_one_on_stdout(json_file, markdown_file)
    before, after = _sides(logs, new)

    from tracelens.analysis import analyse
    from tracelens.batch import inputs
    from tracelens.comparison.compare import compare as compare_runs
    from tracelens.comparison.gate import failures
    from tracelens.comparison.observed import Observed, observe
    from tracelens.reading import read
    from tracelens.report import compared, compared_json, markdown, text

    with progress() as say:
        sides = [[one.path for one in inputs.find(side)] for side in (before, after)]
        names = {one.path: one.run for one in inputs.find([*before, *after])}
        observed: list[Observed] = []
        for path in (path for side in sides for path in side):
            say(f"reading {names[path]}, {len(observed) + 1} of {sum(map(len, sides))}")
            run = read(path, system, strict=strict)
            window = options.window_ns(run.span_ns, start_ns, end_ns)
            try:
                measured = analyse(run, window=window, phase=phase)
            except UsageError as error:  # of many runs, one may lack the time or the phase
                raise UsageError(error.problem, place=str(path), hint=error.hint) from None
            observed.append(observe(measured, names[path]))
        say("comparing")
        old = len(sides[0])
        found = compare_runs(observed[:old], observed[old:], error_rate)
        if json_file:
            write(json_file, [compared_json.encode(found)])
        page = compared.document(found)
        if markdown_file:
            write(markdown_file, [markdown.render(page).encode()])
    if not quiet:
        text.show(page, sys.stdout)
    failed = failures(found, fail_on, at_least)
    for reason in failed:
        click.echo(f"Failed: {plain(reason)}", err=True)
    return 1 if failed else 0


def _sides(logs: tuple[str, ...], new: tuple[str, ...]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The arguments of the old side, and those of the new one."""
    from tracelens.numbers import count

    if not new and len(logs) != 2:
        raise UsageError(
            f"which runs are new: found {count(len(logs), 'argument')}, expected two, OLD and NEW",
            hint="of more, say which are new: tracelens compare OLD... --new NEW...",
        )
    return (logs, new) if new else (logs[:1], logs[1:])

"""`tracelens schedule`: schedulability analysis of a task set, or of what a log shows."""

import sys
from collections.abc import Callable
from pathlib import PurePath
from typing import TYPE_CHECKING, Final

import click

from tracelens.cli import options
from tracelens.cli.output import STDOUT, write
from tracelens.cli.progress import progress
from tracelens.errors import UsageError

if TYPE_CHECKING:
    from tracelens.observed import Seen
    from tracelens.theory import Schedulability

FAILING: Final[dict[str | None, tuple[str, ...]]] = {
    None: (),
    "unschedulable": ("unschedulable",),
    "inconclusive": ("unschedulable", "inconclusive"),
}
"""What `--fail-on` names → the verdicts with which the command ends in 1."""


@click.command(short_help="Work out whether every deadline can be kept, step by step.")
@click.argument("sources", metavar="SET.toml|LOG...", nargs=-1, required=True)
@options.system
@click.option("--json", "json_file", metavar="F", help="Write the analysis as JSON; - is stdout.")
@click.option(
    "--fail-on",
    type=click.Choice(("unschedulable", "inconclusive")),
    help="Exit with 1 if a deadline cannot be kept, or also if one is not shown to be kept.",
)
@options.strict
def schedule(
    sources: tuple[str, ...],
    system: str | None,
    json_file: str | None,
    fail_on: str | None,
    strict: bool,
) -> int:
    """Work out whether every deadline can be kept, step by step.

    Of a task set: what it declares. Of a log: what the log shows, with the worst response that it
    shows beside each bound.

    \b
    tracelens schedule knitting.toml
    tracelens schedule run.csv --json -
    """
    sets = [source for source in sources if PurePath(source).suffix == ".toml"]
    if sets and len(sources) > 1:
        raise UsageError(
            f"one task set, or the parts of one log: found {len(sources)} files",
            hint="tracelens schedule --help",
        )
    if sets and system:
        raise UsageError("--system is for a log: found a task set", hint="put it into the task set")

    from tracelens.report import scheduled, scheduled_json, text

    with progress() as say:
        seen: dict[str, Seen] | None = None
        if sets:
            say("analysing the task set")
            found = _of_set(sets[0])
        else:
            found, seen = _of_log(sources, system, strict, say)
        if not found.tasks:
            raise UsageError("nothing to analyse: found no task with work", place=sources[0])
        if json_file:
            write(json_file, [scheduled_json.encode(found, sources[0], seen)])
    if json_file != STDOUT:
        title = f"Schedulability of {PurePath(sources[0]).name}"
        text.show(scheduled.document(found, title, seen), sys.stdout)
    return 1 if found.verdict in FAILING[fail_on] else 0


def _of_set(path: str) -> "Schedulability":
    from tracelens.engine.check import check
    from tracelens.formats.taskset_toml import read_taskset
    from tracelens.theory import analyse_set

    taskset = read_taskset(path)
    check(taskset, to_run=False)
    return analyse_set(taskset)


def _of_log(
    logs: tuple[str, ...], system: str | None, strict: bool, say: Callable[[str], None]
) -> "tuple[Schedulability, dict[str, Seen]]":
    from tracelens.analysis import analyse as measure
    from tracelens.observed import observe
    from tracelens.reading import read
    from tracelens.theory import analyse

    run = read(logs, system, strict=strict, say=say)
    say("measuring")
    observation = observe(measure(run))
    say("analysing what was seen")
    return analyse(observation.workload), observation.seen

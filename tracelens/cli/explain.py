"""`tracelens explain`: one job told from release to completion."""

import sys

import click

from tracelens.cli import options
from tracelens.cli.output import STDOUT, write
from tracelens.cli.progress import progress
from tracelens.errors import UsageError


@click.command(short_help="Tell one late job from release to completion, and what to try.")
@options.logs
@click.option("--task", metavar="T", help="A job of this task.")
@click.option("--job", "number", type=int, metavar="N", help="Its N-th job.")
@click.option("--worst", is_flag=True, help="The job that was late by most (the default).")
@click.option("--miss", type=int, metavar="K", help="The K-th late job in order of release.")
@options.system
@click.option("--json", "json_file", metavar="F", help="Write the telling as JSON; - is stdout.")
@options.strict
def explain(
    logs: tuple[str, ...],
    task: str | None,
    number: int | None,
    worst: bool,
    miss: int | None,
    system: str | None,
    json_file: str | None,
    strict: bool,
) -> None:
    """Tell one late job from release to completion, and what to try.

    LOG is an event log, or its parts in order; - is standard input. By default the job is the one
    that was late by most, or if none was late the one with the longest response.

    \b
    tracelens explain run.csv
    tracelens explain run.csv --task needle_select --job 21
    tracelens explain run.csv --miss 1 --json -
    """
    if sum((worst, number is not None, miss is not None)) > 1:
        raise UsageError(
            "one job to explain: found several of --job, --worst, --miss, expected one of them",
            hint="tracelens explain --help",
        )

    from tracelens import explanation
    from tracelens.reading import read
    from tracelens.report import explained, explained_json, text

    with progress() as say:
        run = read(logs, system, strict=strict, say=say)
        say("explaining")
        job_id = explanation.find_job(run, task=task, number=number, miss=miss)
        told = explanation.explain(run, job_id)
        if json_file:
            write(json_file, [explained_json.encode(told)])
    if json_file != STDOUT:
        text.show(explained.document(told), sys.stdout)

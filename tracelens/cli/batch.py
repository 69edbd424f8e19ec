"""`tracelens batch`: many runs at once."""

import os
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tracelens.cli import options
from tracelens.cli.output import write
from tracelens.cli.progress import Say, counted

if TYPE_CHECKING:
    from tracelens.batch.work import Job, Outcome


@click.command(short_help="Read many runs at once: a row for each, a report for each.")
@click.argument("logs", metavar="RUNS...", nargs=-1, required=True)
@click.option(
    "-o",
    "--output",
    required=True,
    callback=options.directory,
    metavar="DIR",
    help="Where the tables and reports go.",
)
@options.system
@click.option(
    "--processes",
    type=click.IntRange(1),
    metavar="N",
    help="So many logs at once; by default one for each core.",
)
@click.option(
    "--cluster",
    metavar="ADDRESS",
    help="Let the workers of this Dask scheduler do the work: tcp://10.0.0.5:8786.",
)
@click.option("--html-reports", is_flag=True, help="Write reports as HTML too, and index.html.")
@options.strict
def batch(
    logs: tuple[str, ...],
    output: str,
    system: str | None,
    processes: int | None,
    cluster: str | None,
    html_reports: bool,
    strict: bool,
) -> int:
    """Read many runs at once: a row for each, a report for each.

    RUNS are logs, directories, or patterns such as 'runs/**/*.csv' (in quotes). DIR gets tables as
    Parquet and CSV, with a row per run, per run and task, per finding, and so on, and the JSON
    report on each run. A log that cannot be read is a row with its error; the others go on, and the
    exit status is then 3, or 4 if all that is wrong is damage.

    With --cluster every worker must reach the logs and DIR under the same paths.

    \b
    tracelens batch nightly -o results
    tracelens batch 'runs/**/*.csv' -o results --system machine.toml
    tracelens batch 'runs/**/*.csv' -o results --cluster tcp://10.0.0.5:8786
    """
    if processes and cluster:
        raise click.UsageError("--processes is for this machine: leave it out with --cluster")

    from tracelens.batch import index, inputs, results
    from tracelens.batch.work import Job
    from tracelens.formats.system_toml import read_system
    from tracelens.report import text

    if system:
        read_system(system)  # a mistake in it is one mistake, not one in every run
    directory = Path(output).absolute()
    found = inputs.find(logs, directory)
    shared = Path(system).absolute() if system else None
    jobs = [
        Job(
            number,
            one.run,
            one.path.absolute() if cluster else one.path,  # here reports call it as the user does
            directory,
            shared,
            strict,
            html_reports,
        )
        for number, one in enumerate(found)
    ]
    results.prepare(directory)
    with counted("runs", len(jobs)) as done:
        made = results.collect(_told(_work(jobs, processes, cluster), done))
    results.write(made, directory)
    if html_reports:
        write(str(directory / "index.html"), [index.page(made["runs"], output).encode()])
    text.show(index.document(made["runs"], output), sys.stdout)
    return min(filter(None, made["runs"]["status"]), default=0)


def _told(outcomes: "Iterator[Outcome]", done: Say) -> "Iterator[Outcome]":
    for outcome in outcomes:
        done(outcome.run)
        yield outcome


def _work(jobs: "list[Job]", processes: int | None, cluster: str | None) -> "Iterator[Outcome]":
    if cluster:
        from tracelens.batch import cluster as remote

        return remote.outcomes(jobs, cluster)
    from tracelens.batch import local

    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    return local.outcomes(jobs, min(processes or cores or 1, len(jobs)))

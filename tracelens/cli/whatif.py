"""`tracelens whatif`: replay the recorded jobs with something changed."""

import sys
from collections.abc import Callable
from typing import Any, TypeVar

import click

from tracelens.cli import options
from tracelens.cli.output import STDOUT, only_one_on_stdout, spare_inputs, write
from tracelens.cli.progress import progress
from tracelens.errors import UsageError

Decorated = TypeVar("Decorated", bound=Callable[..., Any])

_CHANGES = {
    "priority": ("T=N", "Give a task another priority."),
    "protocol": ("L=P", "Give a lock the protocol none, inherit or ceiling."),
    "scale": ("T=F", "Multiply the execution of a task or handler: archive=0.8."),
    "section": ("T/L=F", "Multiply a task's execution while it holds a lock."),
    "clock": ("F", "Run the cores at another speed: 0.5 is half of it."),
    "period": ("T=TIME", "Release a task at another rate: panel=40ms."),
    "offset": ("T=TIME", "Release a task so much later: panel=500us."),
    "core": ("T=N", "Move a task to another core."),
    "without": ("T", "Leave a task out."),
}


def _change_options(function: Decorated) -> Decorated:
    for kind, (metavar, told) in reversed(_CHANGES.items()):
        function = click.option(f"--{kind}", metavar=metavar, multiple=True, help=told)(function)
    return function


@click.command(short_help="Replay the recorded jobs with something changed.")
@options.logs
@_change_options
@click.option("--search", is_flag=True, help="Try the repairs that make sense, and rank them.")
@click.option("-o", "--output", metavar="LOG", help="Write the predicted log; .gz compresses it.")
@options.system
@click.option("--json", "json_file", metavar="F", help="Write the prediction as JSON; - is stdout.")
@options.strict
def whatif(
    logs: tuple[str, ...],
    search: bool,
    output: str | None,
    system: str | None,
    json_file: str | None,
    strict: bool,
    **changes: tuple[str, ...],
) -> None:
    """Replay the recorded jobs with something changed, and say who gets better or worse.

    LOG is an event log, or its parts in order; - is standard input. Each change may be repeated.
    The run is replayed unchanged first: a prediction is worth as much as that replay is like the
    record. The predicted log can be read by every other command.

    \b
    tracelens whatif run.csv
    tracelens whatif run.csv --protocol flash_bus=inherit
    tracelens whatif run.csv --priority archive=3 --scale panel=0.8 -o then.csv
    tracelens whatif run.csv --section archive/flash_bus=0.5 --clock 0.5
    tracelens whatif run.csv --search
    """
    if search and (output or any(changes.values())):
        raise UsageError(
            "--search tries changes of its own: found others beside it, expected it alone",
            hint="without --search one set of changes is replayed",
        )

    from tracelens import replay
    from tracelens.log import write as write_log
    from tracelens.reading import read
    from tracelens.report import advised, replayed, replayed_json, text

    only_one_on_stdout(output, json_file)
    wanted = [replay.parse(kind, told) for kind in replay.KINDS for told in changes[kind]]
    with progress() as say:
        run = read(logs, system, strict=strict, say=say)
        replayer = replay.prepare(run, say)
        if search:
            advice = replay.search(replayer, say=say)
            document, encoded = advised.document(replayer, advice), advised.encode(replayer, advice)
        else:
            say("replaying it with changes")
            prediction = replayer.predict(wanted)
            document, encoded = replayed.document(prediction), replayed_json.encode(prediction)
            if output:
                say(f"writing {output}")
                spare_inputs(output)
                write_log(prediction.log, prediction.log.declared, output)
        if json_file:
            write(json_file, [encoded])
    if STDOUT not in (json_file, output):
        text.show(document, sys.stdout)

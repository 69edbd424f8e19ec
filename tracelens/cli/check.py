"""`tracelens check`: hold a run against budgets, or suggest budgets from good runs."""

import sys
from datetime import datetime
from pathlib import Path
from typing import Final

import click

from tracelens.cli import options
from tracelens.cli.output import STDOUT, only_one_on_stdout, write
from tracelens.cli.progress import progress
from tracelens.errors import UsageError
from tracelens.plain import plain

STATUS: Final = {"pass": 0, "fail": 1, "unknown": 4}


@click.command(short_help="Hold a run against budgets: pass, fail or unknown.")
@options.logs
@click.option("--budgets", metavar="B.toml", help="The limits to hold the run against.")
@options.system
@click.option("--junit", metavar="F", help="Write the verdicts as JUnit XML; - is stdout.")
@click.option("--markdown", metavar="F", help="Write them as Markdown, for a job's summary.")
@click.option("--annotations", metavar="F", help="Write lines `file:line: severity: text`.")
@click.option("--json", "json_file", metavar="F", help="Write them as JSON.")
@options.window
@click.option(
    "--today",
    type=click.DateTime(["%Y-%m-%d"]),
    metavar="DATE",
    help="The day that waivers are held against (default: today, UTC).",
)
@click.option("--suggest", is_flag=True, help="Write budgets that these good runs pass.")
@click.option(
    "--margin",
    callback=options.share,
    default="20%",
    show_default=True,
    metavar="P%",
    help="With --suggest: how far beyond the worst value a limit lies.",
)
@click.option(
    "-o", "--output", metavar="B.toml", help="With --suggest: the file (default: stdout)."
)
@options.strict
def check(
    logs: tuple[str, ...],
    budgets: str | None,
    system: str | None,
    junit: str | None,
    markdown: str | None,
    annotations: str | None,
    json_file: str | None,
    start_ns: int | None,
    end_ns: int | None,
    phase: str | None,
    today: datetime | None,
    suggest: bool,
    margin: float,
    output: str | None,
    strict: bool,
) -> int:
    """Hold a run against budgets: pass, fail or unknown.

    LOG is an event log, or its parts in order; - is standard input. With --suggest each LOG is a
    run of its own. What else the budgets file declares (tasks, chains, ...) overrides the log and
    the system file.

    Exit status: 0 every limit is met, 1 one is broken, 4 none is broken but the log does not tell
    about all. Waived limits, and those whose severity is no error, do not count.

    \b
    tracelens check run.csv --budgets budgets.toml --junit verdicts.xml
    tracelens check --suggest good1.csv good2.csv --margin 20% -o budgets.toml
    """
    if suggest:
        verdicts_only = (budgets, junit, markdown, annotations, json_file, phase, today)
        if any(given is not None for given in (*verdicts_only, start_ns, end_ns)):
            raise UsageError(
                "budgets to check or to suggest: found --suggest and an option for verdicts, "
                "expected --system, --margin, --output or --strict beside it",
                hint="tracelens check --help",
            )
        _suggest(logs, system, margin, output, strict)
        return 0
    if output is not None:
        raise UsageError(
            "--output is for a suggested file: found no --suggest, expected it",
            hint="--json, --junit, --markdown and --annotations write verdicts",
        )
    if budgets is None:
        raise UsageError(
            "no budgets: found neither --budgets nor --suggest, expected one of them",
            hint="tracelens check --suggest LOG writes a first file",
        )
    quiet = only_one_on_stdout(junit, markdown, annotations, json_file)

    from tracelens.reading import read
    from tracelens.report import annotations as lines
    from tracelens.report import junit as xml
    from tracelens.report import markdown as summary
    from tracelens.report import text, verdicts, verdicts_json
    from tracelens.verdicts import judge_by, read_budgets

    file = read_budgets(budgets)
    with progress() as say:
        run = read(logs, [*([system] if system else []), budgets], strict=strict, say=say)
        window = options.window_ns(run.span_ns, start_ns, end_ns)
        day = None if today is None else today.date()
        judged = judge_by(run, file, day, window=window, phase=phase, say=say)
        page = verdicts.document(judged)
        if junit:
            write(junit, [xml.render(judged)])
        if markdown:
            write(markdown, [summary.render(page).encode()])
        if annotations:
            write(annotations, (line.encode() for line in lines.render(judged)))
        if json_file:
            write(json_file, [verdicts_json.encode(judged)])
    if not quiet:
        text.show(page, sys.stdout)
    return STATUS[judged.outcome]


def _suggest(
    logs: tuple[str, ...], system: str | None, margin: float, output: str | None, strict: bool
) -> None:
    from tracelens.formats.budgets_text import write as toml
    from tracelens.numbers import count, stated
    from tracelens.reading import read
    from tracelens.verdicts import suggest

    with progress() as say:
        runs = [read([log], system, strict=strict, say=say) for log in logs]
        say("measuring")
        made = suggest(runs, margin)
    what = Path(runs[0].log.sources[0]).name if len(runs) == 1 else f"{len(runs)} runs"
    head = (
        f"# What {plain(what)} showed, and {stated(margin)} more. Observed is not worst:\n"
        "# put your own requirements in place of these numbers where you have them.\n\n"
    )
    write(output or STDOUT, [(head + toml(made.budgets, made.left_out)).encode()])
    if output not in (None, STDOUT):
        click.echo(f"{output}: {count(len(made.budgets.limits), 'limit')} from {what}")

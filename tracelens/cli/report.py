"""`tracelens report`: the whole reading of a run."""

import sys
from pathlib import Path

import click

from tracelens.cli import options
from tracelens.cli.output import only_one_on_stdout, write
from tracelens.cli.progress import progress


@click.command(short_help="Read a run: what is wrong, where, and why.")
@options.logs
@options.system
@click.option("--json", "json_file", metavar="F", help="Write the report as JSON; - is stdout.")
@click.option("--html", "html_file", metavar="F", help="Write it as one HTML file with pictures.")
@click.option("--markdown", "markdown_file", metavar="F", help="Write it as Markdown.")
@click.option(
    "--tables",
    "tables_dir",
    callback=options.directory,
    metavar="DIR",
    help="Write all tables, Parquet and CSV.",
)
@options.window
@options.strict
def report(
    logs: tuple[str, ...],
    system: str | None,
    json_file: str | None,
    html_file: str | None,
    markdown_file: str | None,
    tables_dir: str | None,
    start_ns: int | None,
    end_ns: int | None,
    phase: str | None,
    strict: bool,
) -> None:
    """Read a run: what is wrong, where, and why.

    LOG is an event log, or its parts in order; - is standard input. What was damaged is worked
    around and listed at the end of the report.

    \b
    tracelens report run.csv
    tracelens report run.csv --from 1.5s --to 2s
    tracelens report run.csv --json - | jq .misses
    """
    quiet = only_one_on_stdout(json_file, html_file, markdown_file)

    from tracelens.analysis import analyse
    from tracelens.reading import read
    from tracelens.report import json_, markdown, tables, text
    from tracelens.report.document import document

    with progress() as say:
        run = read(logs, system, strict=strict, say=say)
        say("measuring")
        window = options.window_ns(run.span_ns, start_ns, end_ns)
        analysis = analyse(run, window=window, phase=phase)
        if tables_dir:
            say(f"writing tables to {tables_dir}")
            tables.write(analysis, Path(tables_dir))
        if json_file:
            say("writing JSON")
            write(json_file, json_.chunks(analysis))
        page = document(analysis)
        if html_file:
            from tracelens.report import html

            say("drawing")
            write(html_file, [html.render(analysis, run).encode()])
        if markdown_file:
            write(markdown_file, [markdown.render(page).encode()])
    if not quiet:
        text.show(page, sys.stdout)

"""`tracelens probe`: the C code that goes into firmware."""

from pathlib import Path

import click


@click.command(short_help="Write out the C code that goes into firmware.")
@click.argument("directory", metavar="DIR")
@click.option("--replace", is_flag=True, help="Write over files that are there already.")
def probe(directory: str, replace: bool) -> None:
    """Write out the C code that goes into firmware, to record a log.

    One header, one source file, a port file to adapt, and a page that says which hook of a kernel
    calls which function. C99, no allocation, no library.

    \b
    tracelens probe firmware/trace
    """
    from tracelens.probe.sources import write_out

    for path in write_out(Path(directory), replace=replace):
        click.echo(path)
    click.echo("Begin with HOOKS.md: the port, the names, the hooks, and how the records come out.")

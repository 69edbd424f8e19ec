"""`tracelens convert`: other recordings to the event log, and from it."""

from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tracelens.cli import options
from tracelens.cli.output import STDOUT, packed, write
from tracelens.cli.progress import progress
from tracelens.errors import UsageError

if TYPE_CHECKING:
    from tracelens.convert.mapping_toml import Mapping
    from tracelens.log.sources import Source
    from tracelens.model.log import Log


@click.command(short_help="Turn other recordings into an event log, or an event log into others.")
@click.argument("recordings", metavar="IN...", nargs=-1, required=True)
@click.option(
    "-o",
    "--output",
    metavar="OUT",
    help="The log; .vcd makes a value change dump, .parquet a Parquet file, .gz and .zst compress.",
)
@click.option("--map", "mapping_file", metavar="M.toml", help="What the lines or signals mean.")
@click.option("--try", "trial", is_flag=True, help="Show what the mapping does; write nothing.")
@click.option("--by-mark", metavar="WORD", help="Merge two logs by a mark that both wrote.")
@click.option(
    "--offset",
    "offset_ns",
    callback=options.time,
    metavar="T",
    help="Merge two logs; the second began so long after the first.",
)
@click.option(
    "--subtract-probe", is_flag=True, help="Take out the time that the probe's events cost."
)
def convert(
    recordings: tuple[str, ...],
    output: str | None,
    mapping_file: str | None,
    trial: bool,
    by_mark: str | None,
    offset_ns: int | None,
    subtract_probe: bool,
) -> None:
    """Turn other recordings into an event log, or an event log into others.

    IN may be the probe's stream, a dump of its memory, a value change dump, a Parquet file that
    this command made, an event log, or with --map any text of a line an event. Two event logs whose
    clocks differ become one with --by-mark or --offset.

    \b
    tracelens convert dump.bin -o run.csv
    tracelens convert other.log --map mapping.toml --try
    tracelens convert other.log --map mapping.toml -o run.csv
    tracelens convert run.csv -o run.vcd
    tracelens convert radio.csv motor.csv --by-mark sync -o both.csv
    """
    from tracelens.convert.kinds import to_log
    from tracelens.convert.mapping_toml import read_mapping
    from tracelens.log.sources import load

    merging = by_mark is not None or offset_ns is not None
    _sensible(recordings, output, trial, merging, by_mark, offset_ns)
    mapping = read_mapping(mapping_file) if mapping_file else None
    if trial:
        _try(recordings[0], mapping)
        return
    assert output is not None  # _sensible
    with progress() as say:
        say("reading")
        sources = [load(name) for name in recordings]
        if merging:
            say("merging")
            made, remarks = _merged(sources, by_mark, offset_ns)
        else:
            one = to_log(sources[0].data, sources[0].name, mapping)
            made, remarks = one.text, list(one.remarks)
        if subtract_probe:
            made, remark = _without_probe(made, recordings[0])
            remarks.append(remark)
        say("writing")
        write(output, [packed(output, _as(output, made, recordings[0]))])
    for remark in remarks:
        click.echo(remark, err=True)
    if output != STDOUT:
        click.echo(f"{output}: from {_events(made)} lines of events")


def _sensible(
    recordings: tuple[str, ...],
    output: str | None,
    trial: bool,
    merging: bool,
    by_mark: str | None,
    offset_ns: int | None,
) -> None:
    if output is None and not trial:
        raise UsageError("nowhere to write: found no -o, expected -o OUT", hint="or --try")
    if by_mark is not None and offset_ns is not None:
        raise UsageError(
            "two ways to merge: found --by-mark and --offset, expected one of them",
            hint="a mark tells offset and drift; an offset is taken as it is",
        )
    wanted = 2 if merging else 1
    if len(recordings) != wanted:
        raise UsageError(
            f"found {len(recordings)} recordings, expected {wanted}",
            hint="two are merged with --by-mark or --offset"
            if not merging
            else "merge the result with the next one after that",
        )


def _try(recording: str, mapping: "Mapping | None") -> None:
    """The first lines, and what matched and what did not."""
    from tracelens.convert.text import convert as convert_text
    from tracelens.log.sources import load
    from tracelens.plain import plain

    if mapping is None:
        raise UsageError("nothing to try: found no --map, expected --map M.toml")
    source = load(recording)
    made = convert_text(source.data, mapping, source.name)
    for rule, lines, first in made.taken.rows():  # few rows: a rule each
        pattern = plain(mapping.lines[rule].pattern)
        click.echo(f"rule {rule + 1:>3}  {lines:>9} lines, from line {first}  {pattern[:60]}")
    idle = sorted(set(range(len(mapping.lines))) - set(made.taken["rule"].to_list()))
    for rule in idle:
        pattern = plain(mapping.lines[rule].pattern)
        click.echo(f"rule {rule + 1:>3}  {0:>9} lines  {pattern[:60]}")
    click.echo(f"skipped   {made.skipped:>9} lines")
    click.echo(f"unmatched {made.unmatched:>9} lines")
    for number, line in made.first_unmatched:
        click.echo(f"  line {number}: {plain(line)[:100]}")
    click.echo("the log begins:")
    for line in made.text.decode().splitlines()[:20]:
        click.echo(f"  {plain(line)[:100]}")


def _merged(
    sources: "list[Source]", by_mark: str | None, offset_ns: int | None
) -> tuple[bytes, list[str]]:
    from tracelens.convert.kinds import need_log
    from tracelens.convert.merge import Alignment, align, merge
    from tracelens.log import read_bytes

    first, second = (read_bytes(need_log(s.data, s.name), s.name) for s in sources)
    if by_mark is not None:
        alignment = align(first, second, by_mark)
        remark = (
            f"{alignment.marks} marks {by_mark}: offset {alignment.offset_ns / 1000:.3f} µs, "
            f"drift {alignment.drift_ppm:+.2f} ppm, "
            f"largest residual {alignment.residual_ns / 1000:.3f} µs"
        )
    else:
        alignment = Alignment(float(offset_ns or 0), 1.0, 0, 0.0)
        remark = "offset as given; drift is not corrected"
    label = Path(sources[1].name).name.split(".")[0] or "2"
    return _text(merge(first, second, alignment, label)), [remark]


def _without_probe(made: bytes, name: str) -> tuple[bytes, str]:
    from tracelens.convert.probe_cost import subtract
    from tracelens.log import read_bytes

    log, cost_ns = subtract(read_bytes(made, name))
    return _text(log), f"{cost_ns:.0f} ns an event taken out, of {log.events.height} events"


def _text(log: "Log") -> bytes:
    from tracelens.log.writer import write as write_log

    out = BytesIO()
    write_log(log, log.declared, out, start_ticks=0)
    return out.getvalue()


def _as(output: str, made: bytes, name: str) -> bytes:
    """The log in the form that the name of the output asks for."""
    if output.endswith(".parquet"):
        from tracelens.convert.parquet import to_parquet
        from tracelens.log import read_bytes

        log = read_bytes(made, name)
        return to_parquet(made if _clean(log) else _text(log), name)
    if output.endswith(".vcd"):
        from tracelens.convert.vcd_out import write_vcd
        from tracelens.log import read_bytes
        from tracelens.reconstruct import reconstruct

        log = read_bytes(made, name)
        return write_vcd(reconstruct(log, log.declared))
    return made


def _events(made: bytes) -> int:
    """Lines that are neither declarations nor column names."""
    from tracelens.model.events import HEADER

    declarations = made.count(b"\n#") + made.startswith(b"#")
    return made.count(b"\n") - declarations - made.count(HEADER.encode())


def _clean(log: "Log") -> bool:
    return log.unused.is_empty()

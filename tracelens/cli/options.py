"""Options that several subcommands share, and the types of their values."""

import re
from collections.abc import Callable
from typing import Any, Final, TypeVar

import click

from tracelens.units import time_ns

Decorated = TypeVar("Decorated", bound=Callable[..., Any])

# 20%  7.5 %
_PERCENT: Final = re.compile(r"([0-9]+(?:\.[0-9]+)?)\s*%")


def time(_ctx: click.Context, _param: click.Parameter, text: str | None) -> int | None:
    """A time with its unit as integer nanoseconds, exactly: what is finer is refused, not rounded.

    An option's callback, since click hands its name on to the error.
    """
    if text is None:
        return None
    ns = time_ns(text)
    if ns is None:
        raise click.BadParameter(f"found {text!r}, expected a time such as 1.5s, 12ms or 250us")
    if ns != int(ns):
        raise click.BadParameter(f"found {text!r}, expected a whole number of nanoseconds")
    return int(ns)


def share(_ctx: click.Context, _param: click.Parameter, text: str) -> float:
    """A percentage such as 20% as a share; an option's callback."""
    match = _PERCENT.fullmatch(text)
    if match is None:
        raise click.BadParameter(f"found {text!r}, expected a percentage such as 20%")
    return float(match[1]) / 100


def directory(_ctx: click.Context, _param: click.Parameter, name: str | None) -> str | None:
    """The name of a directory to write to; an option's callback. `-` is for documents alone."""
    if name == "-":
        raise click.BadParameter("found '-', expected a directory")
    return name


def logs(function: Decorated) -> Decorated:
    """The argument LOG…: one log, or its parts in order; `-` is standard input."""
    return click.argument("logs", metavar="LOG...", nargs=-1, required=True)(function)


def system(function: Decorated) -> Decorated:
    """`--system`: what holds in place of the log's own declarations."""
    return click.option(
        "--system",
        metavar="S.toml",
        help="System file; it overrides what the log declares.",
    )(function)


def strict(function: Decorated) -> Decorated:
    """`--strict`: damage is an error."""
    return click.option(
        "--strict", is_flag=True, help="Refuse a damaged log instead of working around it."
    )(function)


def error_rate(told: str) -> Callable[[Decorated], Decorated]:
    """`--error-rate`: how often anything at all may be said by chance; `told` is its help."""
    return click.option(
        "--error-rate",
        type=click.FloatRange(0, 0.5, min_open=True),
        metavar="P",
        default=0.05,
        show_default=True,
        help=told,
    )


def window(function: Decorated) -> Decorated:
    """`--from`, `--to`, `--phase`: the part of the run to measure."""
    for option in (
        click.option("--phase", metavar="X", help="Measure a phase that the application marked."),
        click.option(
            "--to", "end_ns", callback=time, metavar="B", help="... up to here (not included)."
        ),
        click.option(
            "--from",
            "start_ns",
            callback=time,
            metavar="A",
            help="Measure from here on, counted from the first event: 1.5s, 250us.",
        ),
    ):
        function = option(function)
    return function


def window_ns(span_ns: int, start_ns: int | None, end_ns: int | None) -> tuple[int, int] | None:
    """`--from` and `--to` as [start, end); what is not given is the run's own end."""
    if start_ns is None and end_ns is None:
        return None
    return (start_ns or 0, span_ns if end_ns is None else end_ns)

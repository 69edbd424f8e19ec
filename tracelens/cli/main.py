"""The command group, and the one place where errors become an exit status.

0    all well
1    a verdict failed
2    wrong usage
3    the input cannot be read
4    the log is too damaged for a verdict, or does not tell enough
130  interrupted (128 + SIGINT), 141 the reader of a pipe went away (128 + SIGPIPE): POSIX shell
     convention
"""

import difflib
import importlib
import os
import sys
from collections.abc import Sequence
from typing import Final, NoReturn

import click

from tracelens.cli.output import complain
from tracelens.errors import TraceLensError, UsageError
from tracelens.version import __version__

COMMANDS: Final = {
    "report": "Read a run: what is wrong, where, and why.",
    "explain": "Tell one late job from release to completion, and what to try.",
    "cut": "Cut out a small log around a miss, a time or a mark.",
    "check": "Hold a run against budgets: pass, fail or unknown.",
    "compare": "Say what moved between two builds, beyond noise.",
    "history": "Keep runs in a directory; show what changes from one to the next.",
    "whatif": "Replay the recorded jobs with something changed.",
    "simulate": "Make a log from a task set.",
    "schedule": "Work out whether every deadline can be kept, step by step.",
    "exercise": "Make an exercise on scheduling; say what is wrong with the answers.",
    "convert": "Turn other recordings into an event log, or an event log into others.",
    "capture": "Take a log from a serial port, a socket or standard input.",
    "probe": "Write out the C code that goes into firmware.",
    "batch": "Read many runs at once: a row for each, a report for each.",
    "serve": "Open the page on a run, in a browser on this machine.",
}
"""Subcommand → its line in the help. `tracelens.cli.NAME` holds the click command NAME and is
imported only when that subcommand runs: the help must not wait for the table library."""

INTERRUPTED: Final = 130
PIPE_CLOSED: Final = 141


class _PipeClosedError(Exception):
    """Carries a broken pipe past click, which would turn it into status 1, 'a verdict failed'."""


class _Commands(click.Group):
    """A group that knows its commands by name and imports each on use."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"tracelens.cli.{cmd_name}")
        command: click.Command = getattr(module, cmd_name)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        name = args[0]
        if name not in COMMANDS and not name.startswith("-"):
            near = difflib.get_close_matches(name, COMMANDS, 1)
            raise UsageError(
                f"no such command: found {name!r}, expected one of {', '.join(COMMANDS)}",
                hint=f"did you mean `tracelens {near[0]}`?" if near else "tracelens --help",
            )
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))

    def invoke(self, ctx: click.Context) -> object:
        try:
            return super().invoke(ctx)
        except BrokenPipeError as error:
            raise _PipeClosedError from error


def _version(ctx: click.Context, _param: click.Parameter, wanted: bool) -> None:
    if wanted and not ctx.resilient_parsing:
        click.echo(f"tracelens {__version__}")
        ctx.exit()


@click.command(
    cls=_Commands,
    no_args_is_help=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)
@click.option(
    "--version",
    is_flag=True,
    expose_value=False,
    is_eager=True,
    callback=_version,
    help="Show the version and exit.",
)
def tracelens() -> None:
    """Read the task-switch log of a real-time kernel; say what was late, and why.

    A log shows what happened, not what can happen.

    Exit status: 0 all well, 1 a verdict failed, 2 wrong usage, 3 input unreadable,
    4 the log is too damaged for a verdict, or does not tell enough.
    """


def main(args: Sequence[str] | None = None) -> int:
    """Run the command; `args` without the program's name, default `sys.argv[1:]`.

    Returns the exit status. Whatever the user can put right is reported on standard error as one
    line and a hint; anything else is a bug and leaves as the exception that it is.
    """
    if any("\0" in word for word in args or ()):  # no system gives one, but another program might
        return _say("an argument holds the character NUL", "leave it out", UsageError.status)
    try:
        status = tracelens.main(args, prog_name="tracelens", standalone_mode=False)
        sys.stdout.flush()
    except TraceLensError as error:
        return _say(str(error), error.hint, error.status)
    except click.UsageError as error:
        given = next(iter(sys.argv[1:] if args is None else args), "")
        named = f"tracelens {given}" if given in COMMANDS else "tracelens"
        where = error.ctx.command_path if error.ctx else named
        return _say(error.format_message(), f"{where} --help", UsageError.status)
    except click.ClickException as error:
        return _say(error.format_message(), None, UsageError.status)
    except (click.Abort, KeyboardInterrupt):
        return INTERRUPTED
    except (_PipeClosedError, BrokenPipeError):
        # Python flushes standard output once more when it exits; let that go nowhere.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return PIPE_CLOSED
    except MemoryError as error:
        problem = f"not enough memory: {error}" if str(error) else "not enough memory"
        hint = "give it more, or room in the directory for temporary files (TMPDIR)"
        return _say(problem, hint, TraceLensError.status)
    except OSError as error:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return _say(f"standard output cannot be written: {error.strerror}", None, UsageError.status)
    return status if isinstance(status, int) else 0


def _say(problem: str, hint: str | None, status: int) -> int:
    complain(problem, hint)
    return status


def run() -> NoReturn:
    """Entry point of the installed command."""
    sys.exit(main())

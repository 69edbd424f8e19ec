"""`tracelens exercise`: exercises for students, and their marking."""

from pathlib import Path

import click

from tracelens.errors import UsageError
from tracelens.plain import plain

KINDS = ("schedule", "response", "blocking", "inversion", "demand")


class _AsDone(click.Group):
    """Lists its commands in the order in which they are used."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self.commands)


@click.group(
    cls=_AsDone, short_help="Make an exercise on scheduling; say what is wrong with the answers."
)
def exercise() -> None:
    """Make an exercise on scheduling; say what is wrong with the answers.

    \b
    schedule   draw the schedule of three tasks
    response   worst-case response times by the recurrence
    blocking   blocking under inheritance and ceilings
    inversion  who is held up by whom, and for how long
    demand     processor demand under earliest deadline first

    \b
    tracelens exercise make homework --kind response --seed 7
    tracelens exercise check homework/answers.toml
    """


@exercise.command(short_help="Make an exercise.")
@click.argument("folder", metavar="DIR")
@click.option(
    "--kind",
    metavar="KIND",
    default="response",
    show_default=True,
    help=f"One of {', '.join(KINDS)}.",
)
@click.option(
    "--seed",
    type=int,
    metavar="N",
    default=1,
    show_default=True,
    help="Another exercise for each.",
)
def make(folder: str, kind: str, seed: int) -> None:
    """Make an exercise in DIR.

    exercise.md asks, answers.toml is the form to fill in, set.toml the system as a task set, and
    solution.md has the answers and how they come about.
    """
    from tracelens import exercises

    made = exercises.make(kind, seed)
    papers = {
        "exercise.md": exercises.sheet(made),
        "answers.toml": exercises.form(made),
        "solution.md": exercises.solution(made),
        "set.toml": made.taskset,
    }
    target = Path(folder)
    try:
        target.mkdir(parents=True, exist_ok=True)
        for name, text in papers.items():
            (target / name).write_text(text, encoding="utf-8")
    except OSError as error:
        raise UsageError(f"cannot be written: {error.strerror}", place=folder) from error
    click.echo(f"{plain(folder)}: {made.title}, {len(made.questions)} questions in exercise.md")


@exercise.command(short_help="Mark a filled answer form.")
@click.argument("answers", metavar="ANSWERS.toml")
@click.pass_context
def check(context: click.Context, answers: str) -> None:
    """Mark a filled answer form, with what is wrong. Exit status 1 unless all is right."""
    from tracelens import exercises

    found, given = exercises.read_form(answers)
    marks = exercises.mark(found, given)
    for one in marks:
        told = f": {one.why}" if one.why else ""
        said = f" ({one.given})" if one.verdict == "wrong" else ""
        click.echo(plain(f"{one.question.key}{said}: {one.verdict}{told}"))
    right = sum(one.verdict == "right" for one in marks)
    click.echo(f"{right} of {len(marks)} right")
    if right < len(marks):
        context.exit(1)

"""`tracelens exercise`: exercises for students, and their marking."""

from pathlib import Path

import click

from tracelens.errors import UsageError, unwritable
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
@click.option("--replace", is_flag=True, help="Write over the papers that are there already.")
def make(folder: str, kind: str, seed: int, replace: bool) -> None:
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
        if not replace:
            _spare_others(target, papers)
        target.mkdir(parents=True, exist_ok=True)
        for name, text in papers.items():
            (target / name).write_text(text, encoding="utf-8")
    except OSError as error:
        raise unwritable(folder, error) from error
    click.echo(f"{plain(folder)}: {made.title}, {len(made.questions)} questions in exercise.md")


def _spare_others(target: Path, papers: dict[str, str]) -> None:
    """A form that is filled in, or another sheet, is not lost. Raises `UsageError`."""
    for name, text in papers.items():
        path = target / name
        if path.exists() and path.read_bytes() != text.encode():
            raise UsageError(
                "is there already and says something else: found a filled form or another sheet, "
                "expected none",
                place=str(path),
                hint="name another directory, or write over it with --replace",
            )


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

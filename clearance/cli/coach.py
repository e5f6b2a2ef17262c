"""clearance coach: write a coach file from answers, or show one."""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path

import click

from clearance.core.coach import Coach
from clearance.core.coach_items import ITEMS, Item, ItemKind, Value, coach_of, item_value
from clearance.core.errors import UsageError

__all__ = ["command"]

_DEFAULT_FILE = "coach.toml"
_OWN = tuple(item for item in ITEMS if not item.key.startswith("towed."))
_TOWED = tuple(item for item in ITEMS if item.key.startswith("towed."))


@click.group("coach")
def command() -> None:
    """Write or show a coach file, which holds what was measured on the coach."""


@command.command("new")
@click.option(
    "-o",
    "--output",
    metavar="FILE",
    type=click.Path(path_type=Path),
    default=_DEFAULT_FILE,
    show_default=True,
    help="Coach file to write.",
)
@click.option("--force", is_flag=True, help="Replace the file if it exists.")
def new(*, output: Path, force: bool) -> None:
    """Ask for everything about the coach, explaining how to measure it, and write FILE.

    Every answer but the height may be left out with the Enter key; what is left out is not checked, or
    counts as what is safe. Nothing is written before the last answer.
    """
    from clearance import workflow

    if output.exists() and not force:
        # Said before the questions, not after them.
        raise UsageError(f"{output} exists; choose another name with -o, or --force to replace it")
    click.echo("Answers are texts such as 12ft 10in, 12'10\", 3.91m. Enter leaves an answer out.", err=True)
    values: dict[str, Value] = {}
    for item in _OWN:
        _ask(item, values)
    click.echo("\nA car or trailer behind the coach counts in length limits and at dead ends.", err=True)
    towing = click.confirm("Is something towed?", default=False, err=True)
    if towing:
        for item in _TOWED:
            if item.key == "towed.length" and "length" not in values:
                # Limits are judged on the sum, and half of it is not known.
                continue
            _ask(item, values, needed=item.key == "towed.length")
    coach = coach_of(values, towing=towing)
    workflow.write_coach_file(coach, output, replace=force)
    click.echo(f"{output}: written; use it with --coach {output}", err=True)
    click.echo(workflow.coach_text(coach))


def _ask(item: Item, values: dict[str, Value], *, needed: bool = False) -> None:
    """Ask until the answer can be meant, and keep it under its key."""
    click.echo("\n" + "\n".join(item.how), err=True)
    if item.kind is ItemKind.YES_NO:
        safe = bool({field.name: field.default for field in fields(Coach)}[item.field])
        values[item.key] = click.confirm(item.ask, default=safe, err=True)
        return
    while True:
        answer = click.prompt(
            f"{item.ask} (such as {item.example})", default="", show_default=False, err=True
        )
        if not answer.strip():
            if item.needed or needed:
                click.echo("This one is needed: there is no default, a guess could kill.", err=True)
                continue
            return
        try:
            values[item.key] = item_value(item, answer)
        except UsageError as error:
            click.echo(str(error), err=True)
        else:
            return


@command.command("show")
@click.argument("file", type=click.Path(path_type=Path))
def show(*, file: Path) -> None:
    """Check FILE and show what it says, in feet and metres. Every problem is told with its line."""
    from clearance import workflow

    click.echo(workflow.coach_text(workflow.read_coach_file(file)))

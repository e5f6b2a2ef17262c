"""The option by which commands count the owner's records."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from clearance.core.errors import UsageError

__all__ = ["records_from", "records_options"]

F = TypeVar("F", bound=Callable[..., Any])


def records_options(command: F) -> F:
    """Add the choice of the records that count."""
    for option in (
        click.option("--no-records", is_flag=True, help="Count no records of heights seen."),
        click.option(
            "--records",
            metavar="FILE",
            type=click.Path(path_type=Path),
            help="Heights seen that count as measured (see `clearance record`). [default: your own, if any]",
        ),
    ):
        command = option(command)
    return command


def records_from(given: dict[str, Any]) -> Path | None:
    """The file of records that counts; None where there is none or none is wanted.

    Raises UsageError where one is named and none is wanted.
    """
    from clearance import workflow

    named: Path | None = given["records"]
    if given["no_records"]:
        if named is not None:
            raise UsageError("--records names a file, --no-records wants none; leave one of them out")
        return None
    if named is not None:
        return named
    usual = workflow.usual_records_file()
    return usual if usual.exists() else None

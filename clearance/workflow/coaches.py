"""Coach files."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from clearance.core.errors import UsageError

if TYPE_CHECKING:
    from clearance.core.coach import Coach

__all__ = ["coach_text", "read_coach_file", "write_coach_file"]


def read_coach_file(path: Path) -> Coach:
    """The coach of a coach file. Raises InputError listing every problem with its line."""
    from clearance.sources.coach_file import read_coach

    return read_coach(path)


def coach_text(coach: Coach) -> str:
    """A coach as lines for the terminal, in feet and metres."""
    from clearance.outputs.coach_summary import coach_summary

    return coach_summary(coach)


def write_coach_file(coach: Coach, path: Path, *, replace: bool = False) -> None:
    """Write a coach file, whole or not at all.

    Raises UsageError where the file exists and is not to be replaced, OutputError where it cannot be
    written.
    """
    from clearance.outputs.atomic import write_whole
    from clearance.sources.coach_file import coach_text

    if path.exists() and not replace:
        raise UsageError(f"{path} exists; choose another name, or --force to replace it")
    write_whole(path, coach_text(coach))

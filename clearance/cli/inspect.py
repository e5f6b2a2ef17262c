"""clearance inspect: what a line made elsewhere passes."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from clearance.cli.options import (
    coach_from,
    coach_options,
    departure_from,
    drive_options,
    tell_drive,
    wanted_outputs,
)
from clearance.cli.record_options import records_from, records_options

__all__ = ["command"]


@click.command("inspect")
@click.argument("roads", type=click.Path(path_type=Path))
@click.argument("line", type=click.Path(path_type=Path))
@click.option("--mend", is_flag=True, help="Lead the parts that are too low, and only those, another way.")
@coach_options
@records_options
@drive_options
def command(*, roads: Path, line: Path, mend: bool, **given: Any) -> int:
    """Check LINE, made in another program, against the structures of ROADS.

    LINE is a GPX track or route, a GeoJSON line, or a CSV of points in order. It is laid on the roads it
    follows; parts that follow no known road are listed as not checked.

    \b
    Example:
      clearance inspect town.roads track.gpx --coach coach.toml -o checked.html

    The exit code is 3 where the line passes something too low or otherwise closed to the coach.
    """
    from clearance import workflow

    coach = coach_from(given)
    assert coach is not None, "a height is needed here"
    wanted_outputs(given)
    drive = workflow.inspect_file(
        roads,
        line,
        coach,
        unverified=given["unverified"],
        departure=departure_from(given["depart"]),
        mend=mend,
        records=records_from(given),
    )
    return tell_drive(drive, roads, given)

"""clearance drive: a drive for a coach, checked structure by structure."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from clearance.cli.options import coach_from, coach_options, departure_from, units_option
from clearance.core.errors import UsageError

__all__ = ["command"]


@click.command("drive")
@click.argument("roads", type=click.Path(path_type=Path))
@click.option("--from", "start", metavar="PLACE", required=True, help="Where the drive begins.")
@click.option("--to", "end", metavar="PLACE", required=True, help="Where it ends.")
@click.option("--via", metavar="PLACE", multiple=True, help="A stop on the way; more than once, in order.")
@coach_options
@click.option(
    "--unverified",
    type=click.Choice(["avoid", "accept", "refuse"]),
    default="avoid",
    show_default=True,
    help="Structures with no known height: take a detour of up to 15 min for each, take them as they "
    "come, or never drive under one.",
)
@click.option(
    "--depart",
    metavar="TIME",
    help="Local time of departure, 2026-07-04T08:30; times in the map are judged by it.",
)
@click.option("-o", "--output", metavar="FILE", type=click.Path(path_type=Path), help="GeoJSON to write.")
@click.option(
    "--csv", metavar="FILE", type=click.Path(path_type=Path), help="CSV of flagged structures to write."
)
@click.option("--json", "as_json", is_flag=True, help="Print the drive as JSON instead of a summary.")
@units_option
def command(
    *,
    roads: Path,
    start: str,
    end: str,
    via: tuple[str, ...],
    unverified: str,
    depart: str | None,
    output: Path | None,
    csv: Path | None,
    as_json: bool,
    units: str,
    **coach_given: Any,
) -> int:
    """Plan a drive on ROADS, a file made by `clearance get`, and check everything over it.

    A PLACE is LAT,LON or a name from the map data. Lengths carry their unit: 12'10", 154in, 3.91m.

    \b
    Example:
      clearance drive town.roads --from "Mill Street" --to 45.0,-40.1 --height "12'10\\"" -o day.geojson

    The exit code is 3 where no drive fits the coach; the files then tell what stands in the way.
    """
    from clearance import workflow
    from clearance.cli.main import EXIT_BLOCKED

    coach = coach_from(coach_given)
    assert coach is not None, "a height is needed here"
    if output is not None and output.suffix.lower() not in {".geojson", ".json"}:
        raise UsageError(f"-o {output}: a drive is written as .geojson; give --csv FILE for the table")
    departure = departure_from(depart)
    drive = workflow.plan_drive(roads, [start, *via, end], coach, unverified=unverified, departure=departure)
    workflow.write_drive(drive, output, csv, units=units)
    if as_json:
        click.echo(workflow.drive_json(drive, units=units))
    else:
        click.echo(workflow.drive_text(drive, units=units), nl=False)
    for path in filter(None, (output, csv)):
        click.echo(f"written: {path}", err=True)
    return EXIT_BLOCKED if drive.verdict.value == "blocked" else 0

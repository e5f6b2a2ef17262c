"""clearance scout: structures of unknown height to look at first."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from clearance.cli.options import coach_from, coach_options, outputs_option, units_option
from clearance.cli.record_options import records_from, records_options

__all__ = ["command"]


@click.command("scout")
@click.argument("roads", type=click.Path(path_type=Path))
@click.argument("places", type=click.Path(path_type=Path))
@click.option("--from", "home", metavar="PLACE", required=True, help="Where the drives begin and end.")
@outputs_option(
    ".geojson, .csv (to be filled in and read by `clearance record import`), .txt (a list to print)."
)
@click.option("--json", "as_json", is_flag=True, help="Print GeoJSON instead of the list.")
@coach_options
@records_options
@units_option
def command(
    *,
    roads: Path,
    places: Path,
    home: str,
    outputs: tuple[Path, ...],
    as_json: bool,
    units: str,
    **given: Any,
) -> None:
    """List structures of unknown height over ROADS, those first on which most of PLACES hang.

    PLACES is a .csv, .gpx, .geojson or .gpkg file of destinations. For each structure is told what knowing
    that it is high enough would change: destinations that can then be driven to and back past nothing of
    unknown height, and minutes saved on others.

    \b
    Example:
      clearance scout town.roads places.csv --from "Coach Yard" --coach coach.toml -o look.csv -o look.geojson
    """
    from clearance import workflow

    coach = coach_from(given)
    assert coach is not None, "a height is needed here"
    workflow.check_scout_endings(outputs)
    found = workflow.scout_places(roads, places, home, coach, records=records_from(given))
    workflow.write_scout(found, outputs, units=units)
    if as_json:
        click.echo(workflow.scout_json(found, units=units))
    else:
        click.echo(workflow.scout_text(found, units=units), nl=False)
    for path in outputs:
        click.echo(f"written: {path}", err=True)

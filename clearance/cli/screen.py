"""clearance screen: many destinations from one home, there and back, for one coach or several."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from clearance.cli.options import (
    coaches_from,
    coaches_options,
    explain_option,
    explained,
    outputs_option,
    units_option,
)
from clearance.cli.record_options import records_from, records_options
from clearance.core.errors import UsageError

__all__ = ["command"]


@click.command("screen")
@click.argument("roads", type=click.Path(path_type=Path))
@click.argument("places", type=click.Path(path_type=Path))
@click.option("--from", "home", metavar="PLACE", required=True, help="Where every drive begins and ends.")
@outputs_option(
    ".csv, .geojson, .gpkg, .txt (the list), "
    ".html (a page with a map), .pdf (a page for the glove box of each coach), "
    ".json (a report to compare with later)."
)
@click.option(
    "--tallest",
    metavar="FILE",
    multiple=True,
    type=click.Path(path_type=Path),
    help="Map of every road of the area with the tallest coach that gets there and back: .geojson, .gpkg.",
)
@click.option(
    "--since",
    metavar="REPORT",
    type=click.Path(path_type=Path),
    help="JSON report of an earlier screening: tell what changed since, which verdicts moved, and why.",
)
@click.option(
    "--paper",
    type=click.Choice(["a4", "letter"]),
    default="a4",
    show_default=True,
    help="Paper of the page for the glove box.",
)
@click.option("--json", "as_json", is_flag=True, help="Print the report as JSON instead of the list.")
@click.option(
    "--sort",
    "sort_by",
    type=click.Choice(["verdict", "time", "extra", "name", "list"]),
    default="verdict",
    show_default=True,
    help="Worst verdict first, longest drive first, most time beyond a car first, by name, or as listed.",
)
@click.option(
    "--unverified",
    type=click.Choice(["avoid", "accept", "refuse"]),
    default="avoid",
    show_default=True,
    help="Structures with no known height: take a detour of up to 15 min for each, take them as they "
    "come, or never drive under one.",
)
@coaches_options
@records_options
@units_option
@explain_option
def command(
    *,
    roads: Path,
    places: Path,
    home: str,
    outputs: tuple[Path, ...],
    tallest: tuple[Path, ...],
    since: Path | None,
    paper: str,
    as_json: bool,
    sort_by: str,
    unverified: str,
    units: str,
    explain: bool,
    **given: Any,
) -> int:
    """Check every one of PLACES, there and back over ROADS, before a season or a new coach.

    PLACES is a .csv, .gpx, .geojson or .gpkg file of destinations. A row that cannot be used is told with
    its line, and the rest is screened. The exit code is 3 where no destination at all can be driven to.

    \b
    Example:
      clearance screen town.roads places.csv --from "Coach Yard" --coach heron.toml --coach wren.toml \\
          -o season.csv -o season.geojson -o season.json
    """
    from clearance import workflow
    from clearance.cli.main import EXIT_BLOCKED

    if explain:
        click.get_current_context().with_resource(explained())
    workflow.check_screen_endings(outputs)
    for path in tallest:
        workflow.check_tallest_ending(path)
        if path in outputs:
            raise UsageError(
                f"{path} is named for the list and for the map of the tallest coach; give two names"
            )
    coaches = coaches_from(given)
    records = records_from(given)
    found = workflow.screen_places(
        roads,
        places,
        home,
        coaches,
        unverified=unverified,
        sort_by=sort_by,
        records=records,
        since=since,
    )
    if tallest:
        heights = workflow.tallest_on_roads(roads, found.home, coaches, records=records)
        for path in tallest:
            workflow.write_tallest(heights, found.home, path, units=units)
    workflow.write_screen(found, outputs, units=units, roads=roads, paper=paper)
    if as_json:
        click.echo(workflow.screen_as_json(found, units=units))
    else:
        click.echo(workflow.screen_as_text(found, units=units), nl=False)
    for line in workflow.screen_problems(found):
        click.echo(f"not screened: {line}", err=True)
    for path in (*outputs, *tallest):
        click.echo(f"written: {path}", err=True)
    # Also where none could be screened: nobody who asks for the code alone may take it for good news.
    return EXIT_BLOCKED if all(row.verdict.value == "blocked" for row in found.rows) else 0

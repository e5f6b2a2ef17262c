"""clearance structures: everything over or across the roads of an area."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from clearance.cli.options import coach_from, coach_options, units_option
from clearance.cli.record_options import records_from, records_options

__all__ = ["command"]


@click.command("structures")
@click.argument("roads", type=click.Path(path_type=Path))
@click.option(
    "-o",
    "--output",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="File to write: .geojson or .csv, by its ending.",
)
@click.option("--json", "as_json", is_flag=True, help="Print the structures as GeoJSON.")
@coach_options
@records_options
@units_option
def command(*, roads: Path, output: Path | None, as_json: bool, units: str, **given: Any) -> None:
    """List every structure over or across the roads of ROADS, a file made by `clearance get`.

    With --height each has its standing for that coach. Each row names the ways and nodes of the map
    that tell of it.
    """
    from clearance import workflow

    coach = coach_from(given, height_needed=False)
    structures, info = workflow.list_structures(
        roads, records_from(given), tell=lambda note: click.echo(note, err=True)
    )
    if output is not None:
        workflow.write_structures(structures, info, output, units=units, coach=coach)
        click.echo(f"{output}: {len(structures)} structures", err=True)
    if as_json:
        click.echo(workflow.structures_json(structures, info, units=units, coach=coach))
    elif output is None:
        click.echo(workflow.structures_text(structures, info, units=units, coach=coach))

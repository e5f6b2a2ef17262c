"""clearance structures: everything over or across the roads of an area."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from clearance.cli.options import coach_from, coach_options, units_option
from clearance.cli.record_options import records_from, records_options
from clearance.core.errors import UsageError

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
@click.option(
    "--summary", is_flag=True, help="Print how much is known instead: by kind, with what is in doubt."
)
@coach_options
@records_options
@units_option
def command(
    *, roads: Path, output: Path | None, as_json: bool, summary: bool, units: str, **given: Any
) -> None:
    """List every structure over or across the roads of ROADS, a file made by `clearance get`.

    With --height each has its standing for that coach. Each row names the ways and nodes of the map
    that tell of it. With --summary it counts how many structures have a height to rely on, which is the
    honest limit of every answer in this area.
    """
    from clearance import workflow

    if summary and output is not None:
        raise UsageError("--summary is printed, as text or with --json; leave out -o")
    coach = coach_from(given, height_needed=False)
    structures, info = workflow.list_structures(
        roads, records_from(given), coach=coach, tell=lambda note: click.echo(note, err=True)
    )
    if summary:
        told = workflow.summary_json if as_json else workflow.summary_text
        click.echo(told(structures, info))
        return
    if output is not None:
        workflow.write_structures(structures, info, output, units=units, coach=coach)
        click.echo(f"{output}: {len(structures)} structures", err=True)
    if as_json:
        click.echo(workflow.structures_json(structures, info, units=units, coach=coach))
    elif output is None:
        click.echo(workflow.structures_text(structures, info, units=units, coach=coach))

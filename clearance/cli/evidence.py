"""clearance evidence: heights from lists and inventories, added to a road file."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from clearance.cli.progress import progress_on_terminal

if TYPE_CHECKING:
    from clearance.core.matches import EvidenceReport

__all__ = ["command"]

F = TypeVar("F", bound=Callable[..., Any])


@click.group("evidence")
def command() -> None:
    """Add heights from lists and inventories to a road file, and see what became of them.

    A record is matched with a bridge of the map by place, names, kind and direction; what is too far, differs
    or could be of two bridges stays unmatched and is listed with the reason. Where two heights disagree
    the lower counts. The map file is not needed again.
    """


def _told(function: F) -> F:
    """Options of what is told of the result."""
    for option in reversed(
        (
            click.option(
                "--unmatched",
                metavar="FILE",
                type=click.Path(path_type=Path),
                help="Table (.csv) of the records that were not matched and the rows that cannot be used.",
            ),
            click.option("--json", "as_json", is_flag=True, help="Print the whole result as JSON."),
        )
    ):
        function = option(function)
    return function


@command.command("add")
@click.argument("roads", type=click.Path(path_type=Path))
@click.argument("file", metavar="FILE|URL")
@click.option("--height", metavar="COLUMN", required=True, help="Column or property with the height.")
@click.option(
    "--unit",
    type=click.Choice(["m", "cm", "mm", "ft", "in", "ft.in"]),
    required=True,
    help="What a bare number in it means; ft.in is 13.06 for 13'6\". Texts with a unit are read as they say.",
)
@click.option("--lat", metavar="COLUMN", default="lat", show_default=True, help="Latitude, for CSV.")
@click.option("--lon", metavar="COLUMN", default="lon", show_default=True, help="Longitude, for CSV.")
@click.option(
    "--name",
    metavar="COLUMN",
    default="name",
    show_default=True,
    help="Name of the bridge, or of the road under or on it.",
)
@click.option("--date", metavar="COLUMN", default="date", show_default=True, help="When it was measured.")
@click.option("--as-of", metavar="DATE", default="", help="Date of rows that have none: 2024-05.")
@click.option("--source", metavar="NAME", default="", help="What the list is called. [default: its file]")
@_told
def add(
    *,
    roads: Path,
    file: str,
    height: str,
    unit: str,
    lat: str,
    lon: str,
    name: str,
    date: str,
    as_of: str,
    source: str,
    unmatched: Path | None,
    as_json: bool,
) -> None:
    """Add the heights of FILE (.csv, .geojson, .gpkg: a state's, a county's or your own list) to ROADS.

    \b
    Example:
      clearance evidence add county.roads clearances.csv --height MIN_CLR --unit ft --name BRIDGE

    Adding a list of the same name again replaces it. ROADS is replaced only whole and only after success.
    """
    from clearance import workflow

    _check(unmatched)
    columns = {"height": height, "lat": lat, "lon": lon, "name": name, "date": date}
    with progress_on_terminal() as progress:
        report = workflow.add_heights(
            roads, file, unit=unit, columns=columns, source=source, date=as_of, progress=progress
        )
    _tell(report, unmatched, as_json=as_json)


@command.command("inventory")
@click.argument("roads", type=click.Path(path_type=Path))
@click.argument("file", metavar="FILE|URL")
@click.option("--year", metavar="YEAR", type=int, help="Year of the inventory, where its name does not tell.")
@_told
def inventory(*, roads: Path, file: str, year: int | None, unmatched: Path | None, as_json: bool) -> None:
    """Add the heights of a file of the US National Bridge Inventory to ROADS.

    FILE is a yearly file, delimited or of fixed width, or a zip of them; a URL is fetched first.

    \b
    Example:
      clearance evidence inventory state.roads 2024_state.txt --unmatched left.csv
    """
    from clearance import workflow

    _check(unmatched)
    with progress_on_terminal() as progress:
        report = workflow.add_inventory(roads, file, year=year, progress=progress)
    _tell(report, unmatched, as_json=as_json)


@command.command("list")
@click.argument("roads", type=click.Path(path_type=Path))
@_told
def list_(*, roads: Path, unmatched: Path | None, as_json: bool) -> None:
    """Show the lists that ROADS holds, and what became of their records."""
    from clearance import workflow

    _check(unmatched)
    _tell(workflow.list_evidence(roads), unmatched, as_json=as_json)


@command.command("remove")
@click.argument("roads", type=click.Path(path_type=Path))
@click.argument("name")
@_told
def remove(*, roads: Path, name: str, unmatched: Path | None, as_json: bool) -> None:
    """Take the heights of the list called NAME away from ROADS, as if it had never been added."""
    from clearance import workflow

    _check(unmatched)
    _tell(workflow.remove_list(roads, name), unmatched, as_json=as_json)


def _check(unmatched: Path | None) -> None:
    from clearance import workflow

    if unmatched is not None:
        workflow.check_left_over(unmatched)


def _tell(report: EvidenceReport, unmatched: Path | None, *, as_json: bool) -> None:
    from clearance import workflow

    if unmatched is not None:
        workflow.write_left_over(report, unmatched)
    if as_json:
        import json

        click.echo(json.dumps(workflow.evidence_json(report), indent=2, ensure_ascii=False))
    else:
        click.echo(workflow.evidence_text(report))
    if unmatched is not None:
        click.echo(f"written: {unmatched}", err=True)

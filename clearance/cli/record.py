"""clearance record: what the owner saw at structures, kept on this machine."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from clearance.cli.options import units_option

__all__ = ["command"]

F = TypeVar("F", bound=Callable[..., Any])


def _file_option(command: F) -> F:
    return click.option(
        "--records",
        "file",
        metavar="FILE",
        type=click.Path(path_type=Path),
        help="File of records. [default: records.sqlite in your data folder]",
    )(command)


def _file(given: Path | None) -> Path:
    from clearance import workflow

    return given if given is not None else workflow.usual_records_file()


@click.group("record")
def command() -> None:
    """Keep what was seen at structures: heights measured or read on the spot, by whom and when.

    Records stay in one file on this machine; nothing is sent anywhere. Commands that look at structures count
    them as measured heights. A lower height that the map tells still counts.
    """


@command.command("add")
@click.argument("roads", required=False, type=click.Path(path_type=Path))
@click.option(
    "--key", metavar="KEY", help="The structure, by its key in ROADS (see the lists of structures)."
)
@click.option("--at", metavar="LAT,LON", help="Where it is: the structure of ROADS near there.")
@click.option("--height", metavar="LENGTH", required=True, help="Clearance seen: 13'4\", 4.05m.")
@click.option("--who", metavar="NAME", required=True, help="Who saw it.")
@click.option("--date", metavar="DAY", help="Day of the visit, 2027-07-04. [default: today]")
@click.option("--photo", metavar="FILE", default="", help="Name of a photo; the picture itself is not kept.")
@click.option("--note", metavar="TEXT", default="", help="Anything else: lane, side, how it was measured.")
@_file_option
def add(
    *,
    roads: Path | None,
    key: str | None,
    at: str | None,
    height: str,
    who: str,
    date: str | None,
    photo: str,
    note: str,
    file: Path | None,
) -> None:
    """Keep a height seen at a structure of ROADS, a file made by `clearance get`.

    Measure from the road to the lowest point over the lanes, and take the least of several places. Without
    ROADS only the place is kept: such a height counts against whatever is mapped there, and clears nothing.

    \b
    Example:
      clearance record add town.roads --at 45.0123,-40.0456 --height "13'4\\"" --who "Ines" --photo p1.jpg
    """
    from clearance import workflow

    target = _file(file)
    kept = workflow.add_record(
        target,
        height=height,
        who=who,
        date=date,
        roads=roads,
        key=key,
        at=at,
        photo=photo,
        note=note,
    )
    click.echo(workflow.records_lines([kept], units="both"), nl=False)
    if not kept.key:
        click.echo(
            "No structure is told: the height counts against what is mapped there, and clears nothing.",
            err=True,
        )
    click.echo(f"kept in {target}", err=True)


@command.command("list")
@click.option("--all", "removed", is_flag=True, help="Those removed as well.")
@click.option("--json", "as_json", is_flag=True, help="Print GeoJSON.")
@_file_option
@units_option
def list_(*, removed: bool, as_json: bool, file: Path | None, units: str) -> None:
    """List the records, oldest first, with their numbers."""
    from clearance import workflow

    records = workflow.list_records(_file(file), removed=removed)
    if as_json:
        click.echo(workflow.records_document(records))
    else:
        click.echo(workflow.records_lines(records, units=units), nl=False)


@command.command("export")
@click.option(
    "-o",
    "--output",
    metavar="FILE",
    required=True,
    type=click.Path(path_type=Path),
    help="File to write: .csv or .geojson, by its ending.",
)
@click.option(
    "--all", "removed", is_flag=True, help="Those removed as well, with who took them back and why."
)
@_file_option
def export(*, output: Path, removed: bool, file: Path | None) -> None:
    """Write the records to a file for somebody else, or to keep."""
    from clearance import workflow

    records = workflow.list_records(_file(file), removed=removed)
    workflow.write_records(records, output)
    click.echo(f"{output}: {_counted(len(records))}", err=True)


@command.command("import")
@click.argument("source", type=click.Path(path_type=Path))
@click.option("--who", metavar="NAME", default="", help="Who saw it, where SOURCE does not say.")
@_file_option
def import_(*, source: Path, who: str, file: Path | None) -> None:
    """Take in the records of SOURCE, a .csv or .geojson file: exported elsewhere, or written by hand.

    Columns: height (with its unit), date, lat, lon, who, and if wished key, photo, note. All are taken in or
    none. What is there already stays as it is.
    """
    from clearance import workflow

    target = _file(file)
    fresh, known = workflow.import_records(target, source, who=who)
    click.echo(f"{target}: {_counted(len(fresh))} taken in, {known} there already")


@command.command("remove")
@click.argument("number", type=click.IntRange(min=1))
@click.option("--who", metavar="NAME", required=True, help="Who takes it back.")
@click.option("--why", metavar="TEXT", required=True, help="Why.")
@_file_option
def remove(*, number: int, who: str, why: str, file: Path | None) -> None:
    """Let record NUMBER no longer count. It stays in the file, with who took it back and why."""
    from clearance import workflow

    gone = workflow.remove_record(_file(file), number, who=who, why=why)
    click.echo(workflow.records_lines([gone], units="both"), nl=False)


def _counted(count: int) -> str:
    return "1 record" if count == 1 else f"{count} records"

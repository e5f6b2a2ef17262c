"""clearance get: a road file from a place, a box, a band or a local map file."""

from __future__ import annotations

from pathlib import Path

import click

from clearance.cli.progress import progress_on_terminal

__all__ = ["command"]


@click.command("get")
@click.argument("source", required=False)
@click.option(
    "--between",
    "between",
    metavar="PLACE",
    multiple=True,
    help="Download a band along the straight lines between these places (LAT,LON; give two or more).",
)
@click.option("--band", metavar="KM", type=float, default=10.0, show_default=True, help="Width of that band.")
@click.option(
    "-o", "--output", metavar="ROADS", required=True, type=click.Path(path_type=Path), help="File to write."
)
@click.option("--refresh", is_flag=True, help="Ask the server again although an answer is kept.")
@click.option("--offline", is_flag=True, help="Use only kept answers; ask no server.")
@click.option(
    "--deadline", metavar="SECONDS", type=float, default=600.0, show_default=True, help="Longest wait."
)
@click.option("--cache", metavar="FOLDER", type=click.Path(path_type=Path), help="Where answers are kept.")
@click.option(
    "--map-server",
    metavar="URL",
    envvar="CLEARANCE_MAP_SERVER",
    help="Map server to ask, of the Overpass kind. [default: the public one]",
)
@click.option(
    "--name-server",
    metavar="URL",
    envvar="CLEARANCE_NAME_SERVER",
    help="Name server to ask, of the Nominatim kind. [default: the public one]",
)
@click.option(
    "--inventory",
    "inventories",
    metavar="FILE|URL",
    multiple=True,
    help="Bridge inventory of the US to take heights from; more than once for several states.",
)
@click.option("--inventory-year", metavar="YEAR", type=int, help="Its year, where its name does not tell.")
@click.option(
    "--elevation",
    metavar="FILE",
    multiple=True,
    type=click.Path(path_type=Path),
    help="Grid of the bare ground (GeoTIFF, in metres): dips and humps under bridges. "
    "Needs clearance[elevation].",
)
@click.option(
    "--processes",
    metavar="N",
    type=click.IntRange(1),
    help="Processes that read a large .osm.pbf file. [default: one for each core, 4 at most]",
)
@click.option("--json", "as_json", is_flag=True, help="Print what was made as JSON.")
def command(
    *,
    source: str | None,
    between: tuple[str, ...],
    band: float,
    output: Path,
    refresh: bool,
    offline: bool,
    deadline: float,
    cache: Path | None,
    map_server: str | None,
    name_server: str | None,
    inventories: tuple[str, ...],
    inventory_year: int | None,
    elevation: tuple[Path, ...],
    processes: int | None,
    as_json: bool,
) -> int:
    """Make the road file ROADS from SOURCE.

    SOURCE is a local map file (.osm, .osm.bz2, .osm.pbf), a place name to download, or a box
    WEST,SOUTH,EAST,NORTH in degrees to download. Instead of SOURCE, --between names places and
    downloads a band along the straight lines between them.

    \b
    Examples:
      clearance get data_samples/pellowick.osm -o pellowick.roads
      clearance get -- -40.02,44.99,-39.98,45.02 -o box.roads
      clearance get --between 45.0,-40.0 --between 45.1,-40.2 --band 8 -o band.roads
      clearance get state.osm.pbf --inventory 2024_inventory.txt -o state.roads

    Heights of an inventory or another list can also be added later: see `clearance evidence`.
    A road file that exists is replaced only whole and only after success. A download that breaks off or is
    interrupted goes on where it was when the same command is run again.
    """
    from clearance import workflow
    from clearance.cli.main import EXIT_INTERRUPTED

    asked = {
        "refresh": refresh,
        "offline": offline,
        "deadline_s": deadline,
        "cache_dir": cache,
        "overpass_url": map_server,
        "nominatim_url": name_server,
    }
    try:
        with progress_on_terminal() as progress:
            made = workflow.get_roads(
                source,
                output,
                between=between,
                band_km=band,
                download={key: value for key, value in asked.items() if value is not None},
                heights=workflow.Heights(
                    inventories=inventories, inventory_year=inventory_year, elevation=elevation
                ),
                processes=processes,
                progress=progress,
            )
    except KeyboardInterrupt:
        click.echo(
            f"clearance: interrupted; {output} is not half written, and finished parts of a download are "
            "kept: run it again to go on",
            err=True,
        )
        return EXIT_INTERRUPTED
    if as_json:
        import json

        click.echo(json.dumps(made.as_dict(), indent=2, ensure_ascii=False))
        return 0
    click.echo(made.text(), err=True)
    return 0

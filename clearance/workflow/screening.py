"""Many destinations screened from one home, and what is written of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from clearance.core.errors import InputError, UsageError
from clearance.routing.ran import stage

if TYPE_CHECKING:
    from clearance.core.coach import Coach
    from clearance.core.mapline import MapLine
    from clearance.core.places import Place
    from clearance.core.screening import RoadHeights, Screening
    from clearance.sources.progress import Progress

__all__ = [
    "SCREEN_ENDINGS",
    "TALLEST_ENDINGS",
    "check_screen_endings",
    "check_tallest_ending",
    "screen_as_json",
    "screen_as_text",
    "screen_bytes",
    "screen_places",
    "screen_problems",
    "tallest_on_roads",
    "write_screen",
    "write_tallest",
]

#: What the ending of a file says of the format a screening is written in.
SCREEN_ENDINGS = {
    ".csv": "csv",
    ".geojson": "geojson",
    ".gpkg": "gpkg",
    ".htm": "page",
    ".html": "page",
    ".json": "json",
    ".pdf": "sheet",
    ".txt": "text",
}
TALLEST_ENDINGS = (".geojson", ".gpkg")


def screen_places(
    roads: Path,
    places: Path,
    home: str | Place,
    coaches: Sequence[Coach],
    *,
    unverified: str = "avoid",
    sort_by: str = "verdict",
    records: Path | None = None,
    since: Path | None = None,
    most: int | None = None,
    tell: Progress | None = None,
) -> Screening:
    """The destinations in the file `places` for every coach, there and back from `home`.

    `home` is ``lat,lon``, a name or a place, `sort_by` a value of `core.screening.SortBy`. Heights in the
    file `records` count as measured. With `since`, a JSON report of an earlier screening,
    `Screening.changes` tells what is other than then. Rows that cannot be used are among the problems, with
    their line. `tell` is told how far it is.

    Raises InputError where no row can be used, there are more than `most` or the report cannot be read,
    PlaceError where home cannot be found or lies far from any road.
    """
    with stage("load"):
        from clearance.assess.changes import compare
        from clearance.assess.screen import screen
        from clearance.core.drive import Unverified
        from clearance.core.place_text import find_place
        from clearance.core.screening import SortBy
        from clearance.outputs.screen_words import names_of
        from clearance.sources.screen_report import read_report
        from clearance.workflow.destinations import read_some_destinations
        from clearance.workflow.recorded import roads_with_records

    earlier = None if since is None else read_report(since)
    recorded = roads_with_records(roads, records)
    network = recorded.network
    start = find_place(home, network.places) if isinstance(home, str) else home
    destinations, problems, notes = read_some_destinations(network, places)
    if most is not None and len(destinations) > most:
        raise InputError(f"{places}: holds {len(destinations):,} destinations, more than {most:,}; cut it up")
    found = screen(
        network,
        coaches,
        start,
        destinations,
        unverified=Unverified(unverified),
        sort_by=SortBy(sort_by),
        tell=None if tell is None else lambda done, total: tell("screening", done, total),
    )
    return replace(
        found,
        problems=(*problems, *found.problems),
        notes=(*notes, *found.notes, *recorded.notes),
        changes=None if earlier is None else compare(earlier, found, names_of(coaches)),
    )


def check_screen_endings(outputs: Sequence[Path]) -> None:
    """Raise UsageError for a file whose ending says no format of a screening."""
    for path in outputs:
        if path.suffix.lower() not in SCREEN_ENDINGS:
            raise UsageError(f"{path}: the ending says the format, one of {', '.join(SCREEN_ENDINGS)}")


def write_screen(
    found: Screening, outputs: Sequence[Path], *, units: str, roads: Path, paper: str = "a4"
) -> None:
    """Write a screening to each of `outputs`, by its ending; everything is made before anything is written.

    The page draws the lines of the file `roads` beneath the destinations.

    Raises UsageError for another ending, OutputError where a file cannot be written.
    """
    from clearance.outputs.atomic import write_whole

    check_screen_endings(outputs)
    with stage("write"):
        made = [(path, _as(found, path, units, roads, paper)) for path in outputs]
        for path, content in made:
            write_whole(path, content)


def screen_bytes(found: Screening, ending: str, *, units: str, roads: Path, paper: str = "a4") -> bytes:
    """A screening in the format that an ending such as ``.csv`` says, for whoever writes no file of it.

    Raises UsageError for another ending.
    """
    path = Path(f"screening{ending}")
    check_screen_endings([path])
    made = _as(found, path, units, roads, paper)
    return made.encode() if isinstance(made, str) else made


def _as(found: Screening, path: Path, units: str, roads: Path, paper: str) -> str | bytes:
    import json

    from clearance.outputs.measures import Units

    shown = Units(units)
    match SCREEN_ENDINGS[path.suffix.lower()]:
        case "csv":
            from clearance.outputs.screen_csv import screen_csv

            return screen_csv(found, shown)
        case "geojson":
            from clearance.outputs.screen_geojson import screen_geojson

            return json.dumps(screen_geojson(found, shown), ensure_ascii=False, indent=1) + "\n"
        case "gpkg":
            from clearance.outputs.screen_gpkg import screen_gpkg

            return screen_gpkg(found, shown)
        case "page":
            from clearance.outputs.screen_page import screen_page

            return screen_page(found, _lines(found, roads), shown)
        case "sheet":
            from clearance.outputs.screen_sheet import screen_sheet
            from clearance.outputs.sheet_canvas import Paper

            return screen_sheet(found, shown, paper=Paper(paper))
        case "text":
            return screen_as_text(found, units=units)
    return screen_as_json(found, units=units) + "\n"


#: Beyond so many pieces of road lesser ones would not fit on the page anyway.
_MANY_PIECES = 200_000
_LARGER = ("motorway", "trunk", "primary", "secondary", "tertiary")


def _lines(found: Screening, roads: Path) -> Sequence[MapLine]:
    """The roads around the destinations, of a large area the larger ones alone."""
    from clearance.network.maplines import map_lines
    from clearance.network.roadfile import open_road_file
    from clearance.workflow.opened import OpenRoads

    places = [found.home, *(row.place for row in found.rows)]
    lons, lats = [p.lon for p in places], [p.lat for p in places]
    box = (min(lons) - 0.05, min(lats) - 0.03, max(lons) + 0.05, max(lats) + 0.03)
    network = open_road_file(roads)
    if network.geom_ptr.size <= _MANY_PIECES:
        return map_lines(network, box)
    kinds, names = OpenRoads(network).highways
    return map_lines(network, box, (kinds, [name.removesuffix("_link") in _LARGER for name in names]))


def screen_as_json(found: Screening, *, units: str) -> str:
    """A screening as a JSON text, which a later one can be compared with."""
    import json

    from clearance.outputs.measures import Units
    from clearance.outputs.screen_json import screen_json

    return json.dumps(screen_json(found, Units(units)), ensure_ascii=False, indent=1)


def screen_as_text(found: Screening, *, units: str) -> str:
    """A screening as a table for the terminal."""
    from clearance.outputs.measures import Units
    from clearance.outputs.screen_table import screen_text

    return screen_text(found, Units(units))


def screen_problems(found: Screening) -> list[str]:
    """A line for each destination that was not screened, with where it was read."""
    from clearance.outputs.screen_words import coach_names, problem_text

    names = coach_names(found)
    return [problem_text(problem, names) for problem in found.problems]


# --- the tallest coach on every road ------------------------------------------------------------------


def tallest_on_roads(
    roads: Path, home: Place, coaches: Sequence[Coach], *, records: Path | None = None
) -> list[RoadHeights]:
    """The greatest clearance on every road for the other limits of each coach, see `assess.tallest`.

    Raises PlaceError where home lies far from any road.
    """
    from clearance.assess.reach import Ground
    from clearance.assess.tallest import road_heights
    from clearance.workflow.recorded import roads_with_records

    network = roads_with_records(roads, records).network
    ground = Ground(network)
    return [road_heights(network, coach, home, ground) for coach in coaches]


def check_tallest_ending(path: Path) -> None:
    """Raise UsageError where the ending says no format of a map of the tallest coach."""
    if path.suffix.lower() not in TALLEST_ENDINGS:
        raise UsageError(f"{path}: the ending says the format, one of {', '.join(TALLEST_ENDINGS)}")


def write_tallest(heights: Sequence[RoadHeights], home: Place, path: Path, *, units: str) -> None:
    """Write the roads as GeoJSON or GeoPackage, whole or not at all.

    Raises UsageError for another ending, OutputError where the file cannot be written.
    """
    import json

    from clearance.outputs.atomic import write_whole
    from clearance.outputs.measures import Units
    from clearance.outputs.tallest import tallest_geojson, tallest_gpkg

    check_tallest_ending(path)
    if path.suffix.lower() == ".gpkg":
        write_whole(path, tallest_gpkg(heights, home, Units(units)))
        return
    found = tallest_geojson(heights, home, Units(units))
    write_whole(path, json.dumps(found, ensure_ascii=False, separators=(",", ":")) + "\n")

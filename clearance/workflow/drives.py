"""Drives planned and lines inspected, and what is written of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

from clearance.core.errors import InputError, PlaceError, UsageError
from clearance.routing.ran import stage

if TYPE_CHECKING:
    from datetime import datetime

    from clearance.assess.day import Halt
    from clearance.core.coach import Coach
    from clearance.core.drive import Drive
    from clearance.core.places import StopRequest
    from clearance.network.network import Network

__all__ = [
    "DRIVE_ENDINGS",
    "check_drive_endings",
    "drive_bytes",
    "drive_json",
    "drive_text",
    "inspect_file",
    "plan_drive",
    "read_day",
    "write_drive",
]


#: What the ending of a file says of the format a drive is written in.
DRIVE_ENDINGS = {
    ".geojson": "geojson",
    ".json": "geojson",
    ".csv": "csv",
    ".gpx": "gpx",
    ".html": "page",
    ".htm": "page",
    ".pdf": "sheet",
}


def plan_drive(
    roads: Path,
    places: Sequence[str | StopRequest],
    coach: Coach,
    *,
    unverified: str = "avoid",
    departure: datetime | None = None,
    stay_min: float = 0.0,
    reorder: bool = False,
    along: Sequence[str] = (),
    detour_min: float = 10.0,
    records: Path | None = None,
) -> Drive:
    """The drive of `coach` through `places` in order, each ``lat,lon``, a name, or a stop read.

    `stay_min` minutes are spent at each stop between the ends that tells no time of its own, none at the
    start: the coach leaves it at `departure`. With `reorder` the stops between the ends are driven in the
    best order found, and a note says which and how surely. `along` names kinds of facilities (see
    `core.facility.FacilityKind`) to list where going there takes no more than `detour_min` minutes.
    Heights in the file `records` count as measured.

    Raises UsageError where two places that follow each other are the same, PlaceError where one cannot
    be found or lies far from any road, NoWayError where not even a car gets there.
    """
    with stage("load"):
        from clearance.assess.day import Along, plan_day, reordered
        from clearance.core.drive import Unverified
        from clearance.core.facility import FacilityKind
        from clearance.workflow.recorded import roads_with_records

    recorded = roads_with_records(roads, records)
    network = recorded.network
    halts = [_halt(network, place, stay_min) for place in places]
    halts[:1] = [replace(halt, stay_s=0.0) for halt in halts[:1]]
    _refuse_standing_still(halts)
    policy = Unverified(unverified)
    note = ""
    if reorder and len(halts) > 3:
        halts, note = reordered(network, coach, halts, unverified=policy, departure=departure)
    near = None
    if along:
        near = Along(kinds=tuple(FacilityKind(kind) for kind in along), detour_s=detour_min * 60)
    drive = plan_day(network, coach, halts, unverified=policy, departure=departure, along=near)
    return replace(drive, notes=(*drive.notes, *filter(None, [note]), *recorded.notes))


def _halt(network: Network, asked: str | StopRequest, stay_min: float) -> Halt:
    from clearance.assess.day import Halt
    from clearance.core.place_text import find_place
    from clearance.core.places import Place

    if isinstance(asked, str):
        return Halt(place=find_place(asked, network.places), stay_s=stay_min * 60)
    if isinstance(asked.place, Place):
        place = asked.place
    else:
        try:
            place = find_place(asked.place, network.places)
        except PlaceError as error:
            raise type(error)(f"{asked.where}: {error}" if asked.where else str(error)) from None
    return Halt(place=place, stay_s=(asked.minutes or stay_min) * 60)


def _refuse_standing_still(halts: Sequence[Halt]) -> None:
    for before, after in pairwise(halts):
        if (before.place.lon, before.place.lat) == (after.place.lon, after.place.lat):
            raise UsageError(
                f"{after.place.lat:.6f},{after.place.lon:.6f} is given as start and end of one leg; "
                "give two places"
            )


def read_day(path: Path) -> tuple[StopRequest, ...]:
    """The stops of a day from a CSV, GPX or GeoJSON file of places, in order.

    Raises InputError with every row that cannot be read, and for a file without two places.
    """
    from clearance.sources.place_list import read_stops

    listed = read_stops(path)
    if listed.problems:
        raise InputError("; ".join([f"{path}: the day's stops cannot all be read", *listed.problems]))
    return listed.stops


def inspect_file(
    roads: Path,
    line: Path,
    coach: Coach,
    *,
    unverified: str = "avoid",
    departure: datetime | None = None,
    mend: bool = False,
    records: Path | None = None,
) -> Drive:
    """What the line in a GPX, GeoJSON or CSV file passes, see `assess.inspect`.

    Heights in the file `records` count as measured.

    Raises InputError for a line that cannot be read or that lies wholly outside the area.
    """
    from clearance.assess.inspect import inspect_line
    from clearance.core.drive import Unverified
    from clearance.sources.line_file import read_line
    from clearance.workflow.recorded import roads_with_records

    read = read_line(line)
    recorded = roads_with_records(roads, records)
    network = recorded.network
    drive = inspect_line(
        network, coach, read, unverified=Unverified(unverified), departure=departure, mend=mend
    )
    if not drive.pieces:
        raise InputError(
            f"{line}: no part of the line lies on a road of {roads}; get the roads of its area, or check "
            "the order of its coordinates"
        )
    return replace(drive, notes=(*drive.notes, *recorded.notes))


def write_drive(
    drive: Drive,
    outputs: Sequence[Path],
    *,
    units: str,
    roads: Path,
    paper: str = "a4",
    tiles: str | None = None,
) -> None:
    """Write a drive to each of `outputs`, in the format its ending says; see `DRIVE_ENDINGS`.

    Everything is made before the first file is written, and each file is written whole or not at all.
    Raises UsageError for another ending, OutputError where a file cannot be written.
    """
    from clearance.outputs.atomic import write_whole

    with stage("write"):
        made = [
            (path, _drive_as(drive, path, units=units, roads=roads, paper=paper, tiles=tiles))
            for path in outputs
        ]
        for path, content in made:
            write_whole(path, content)


def drive_bytes(drive: Drive, ending: str, *, units: str, roads: Path, paper: str = "a4") -> bytes:
    """A drive in the format that an ending such as ``.gpx`` says, for whoever writes no file of it.

    Raises UsageError for another ending.
    """
    made = _drive_as(drive, Path(f"drive{ending}"), units=units, roads=roads, paper=paper, tiles=None)
    return made.encode() if isinstance(made, str) else made


def check_drive_endings(outputs: Sequence[Path]) -> None:
    """Raise UsageError for a file whose ending says no format of a drive."""
    for path in outputs:
        if path.suffix.lower() not in DRIVE_ENDINGS:
            known = ", ".join(DRIVE_ENDINGS)
            raise UsageError(f"{path}: the ending says the format of a drive, one of {known}")


def _drive_as(
    drive: Drive, path: Path, *, units: str, roads: Path, paper: str, tiles: str | None
) -> str | bytes:
    from clearance.outputs.measures import Units

    check_drive_endings([path])
    shown = Units(units)
    match DRIVE_ENDINGS[path.suffix.lower()]:
        case "csv":
            from clearance.outputs.csv_table import drive_csv

            return drive_csv(drive, shown)
        case "gpx":
            from clearance.outputs.gpx import drive_gpx

            return drive_gpx(drive, shown)
        case "page":
            from clearance.network.maplines import map_lines
            from clearance.network.roadfile import open_road_file
            from clearance.outputs.page import drive_page

            lines = map_lines(open_road_file(roads), _around(drive))
            return drive_page(drive, lines, shown, tiles=tiles)
        case "sheet":
            from clearance.outputs.sheet import drive_sheet
            from clearance.outputs.sheet_canvas import Paper

            return drive_sheet(drive, shown, paper=Paper(paper))
    import json

    from clearance.outputs.geojson import drive_geojson

    return json.dumps(drive_geojson(drive, shown), ensure_ascii=False, indent=1) + "\n"


def _around(drive: Drive) -> tuple[float, float, float, float]:
    """The box of a drive with room around it: west, south, east, north."""
    points = [(p.lon, p.lat) for p in drive.places]
    points += [point for piece in drive.pieces for point in piece.points]
    points += list(drive.car.points) if drive.car else []
    points += [(f.lon, f.lat) for f in drive.in_the_way]
    points += [(f.lon, f.lat) for f in drive.along]
    lons, lats = zip(*points, strict=True)
    return min(lons) - 0.05, min(lats) - 0.03, max(lons) + 0.05, max(lats) + 0.03


def drive_text(drive: Drive, *, units: str) -> str:
    """A drive as a short text for the terminal."""
    from clearance.outputs.measures import Units
    from clearance.outputs.report import drive_text as text

    return text(drive, Units(units))


def drive_json(drive: Drive, *, units: str) -> str:
    """A drive as a JSON text for programs."""
    import json

    from clearance.outputs.json_report import drive_json as document
    from clearance.outputs.measures import Units

    return json.dumps(document(drive, Units(units)), ensure_ascii=False, indent=1)

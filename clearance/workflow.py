"""The use cases: what the commands and any other front calls. Each does one job from files to a result."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

from clearance.core.errors import InputError, PlaceError, UsageError

if TYPE_CHECKING:
    from datetime import datetime

    from clearance.assess.day import Halt
    from clearance.core.coach import Coach
    from clearance.core.drive import Drive
    from clearance.core.extract import Extract, ExtractInfo
    from clearance.core.places import StopRequest
    from clearance.core.structure import Structure
    from clearance.network.network import Network
    from clearance.sources.progress import Progress

__all__ = [
    "DRIVE_ENDINGS",
    "Made",
    "check_drive_endings",
    "coach_text",
    "get_roads",
    "inspect_file",
    "list_structures",
    "network_of",
    "read_coach_file",
    "structures_json",
    "structures_text",
    "write_coach_file",
    "write_structures",
]

#: Endings that mark a text as a file's name, so that a misspelt file is not looked up as a place.
_FILE_ENDINGS = (".osm", ".pbf", ".bz2", ".gz", ".xml", ".o5m", ".zip", ".roads")


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """What a road file holds, for whoever made it."""

    path: Path
    info: ExtractInfo
    roads: int
    nodes: int
    arcs: int
    structures: int
    over_roads: int
    without_height: int
    places: int
    kinds: tuple[tuple[str, int], ...]

    def text(self) -> str:
        """A few lines for the terminal."""
        date = self.info.data_date or "not known"
        lines = [
            f"{self.path}: {self.roads} roads, {self.arcs} directed pieces, {self.places} named places "
            f"from {self.info.source}",
            f"structures: {self.structures}, of them {self.over_roads} over or across a road, "
            f"{self.without_height} of those with no usable height",
            "  " + ", ".join(f"{count} {kind}" for kind, count in self.kinds) if self.kinds else "",
            f"date of the data: {date}; {self.info.attribution}",
        ]
        lines += [f"note: {warning}" for warning in self.info.warnings[:_NOTES_SHOWN]]
        more = len(self.info.warnings) - _NOTES_SHOWN
        if more > 0:
            lines.append(f"note: and {more} more about the data; --json lists them all")
        return "\n".join(line for line in lines if line)

    def as_dict(self) -> dict[str, Any]:
        """The same for programs; counts are numbers, `kinds` counts structures by kind."""
        return {
            "path": str(self.path),
            "source": self.info.source,
            "data_date": self.info.data_date,
            "read_date": self.info.read_date,
            "attribution": self.info.attribution,
            "roads": self.roads,
            "nodes": self.nodes,
            "directed_pieces": self.arcs,
            "structures": self.structures,
            "structures_over_roads": self.over_roads,
            "structures_over_roads_without_height": self.without_height,
            "places": self.places,
            "kinds": dict(self.kinds),
            "warnings": list(self.info.warnings),
        }


_NOTES_SHOWN = 5

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


def get_roads(
    source: str | None,
    output: Path,
    *,
    between: Sequence[str] = (),
    band_km: float = 10.0,
    download: Mapping[str, Any] | None = None,
    progress: Progress | None = None,
) -> Made:
    """Make the road file `output` from a local map file, a place, a box or a band; what it holds.

    `download` are fields of `sources.download.DownloadSettings` that differ from their defaults.

    Raises UsageError where the source cannot be meant, InputError or DataUnavailableError where it
    cannot be had, OutputError where the road file cannot be written; then an old one still stands.
    """
    from clearance.network.roadfile import write_road_file

    extract = _extract(source, between, band_km=band_km, settings=download or {}, progress=progress)
    if progress is not None:
        progress("finding structures", 0, 0)
    network = network_of(extract)
    if progress is not None:
        progress("writing the road file", 0, 0)
    write_road_file(network, output)
    return _made(network, output)


def _extract(
    source: str | None,
    between: Sequence[str],
    *,
    band_km: float,
    settings: Mapping[str, Any],
    progress: Progress | None,
) -> Extract:
    from clearance.core.place_text import parse_lat_lon

    if bool(source) == bool(between):
        raise UsageError("give one SOURCE (a file, place or box), or --between for each place of a band")
    if source:
        path = Path(source)
        if path.exists() or source.lower().endswith(_FILE_ENDINGS):
            from clearance.sources.osm_file import read_osm

            return read_osm(path, progress)

    from clearance.sources.area import Area, Band, parse_area
    from clearance.sources.download import DownloadSettings, download

    area: Area
    if source:
        area = parse_area(source)
    else:
        points = []
        for text in between:
            place = parse_lat_lon(text)
            if place is None:
                raise UsageError(
                    f"--between {text!r}: give LAT,LON; names need a road file to look them up in"
                )
            points.append((place.lon, place.lat))
        area = Band(points=tuple(points), side_m=band_km * 500)
    return download(area, DownloadSettings(**settings), progress)


def network_of(extract: Extract) -> Network:
    """The network of an extract with its structures and named places."""
    from clearance.network.build import build_network
    from clearance.sources.place_names import named_places
    from clearance.structures.find import find_structures

    return build_network(extract, find_structures(extract), named_places(extract))


def _made(network: Network, path: Path) -> Made:
    over = [s for s in network.structures if s.spans or s.nodes]
    return Made(
        path=path,
        info=network.info,
        roads=len(network.ways),
        nodes=len(network.node_osm),
        arcs=len(network.arc_tail),
        structures=len(network.structures),
        over_roads=len(over),
        without_height=sum(s.lowest() is None for s in over),
        places=len(network.places),
        kinds=tuple(Counter(str(s.kind) for s in over).most_common()),
    )


def read_coach_file(path: Path) -> Coach:
    """The coach of a coach file. Raises InputError listing every problem with its line."""
    from clearance.sources.coach_file import read_coach

    return read_coach(path)


def coach_text(coach: Coach) -> str:
    """A coach as lines for the terminal, in feet and metres."""
    from clearance.outputs.coach_summary import coach_summary

    return coach_summary(coach)


def write_coach_file(coach: Coach, path: Path, *, replace: bool = False) -> None:
    """Write a coach file, whole or not at all.

    Raises UsageError where the file exists and is not to be replaced, OutputError where it cannot be
    written.
    """
    from clearance.outputs.atomic import write_whole
    from clearance.sources.coach_file import coach_text

    if path.exists() and not replace:
        raise UsageError(f"{path} exists; choose another name, or --force to replace it")
    write_whole(path, coach_text(coach))


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
) -> Drive:
    """The drive of `coach` through `places` in order, each ``lat,lon``, a name, or a stop read.

    `stay_min` minutes are spent at each stop between the ends that tells no time of its own. With `reorder`
    the stops between the ends are driven in the best order found, and a note says which and how surely.
    `along` names kinds of facilities (see `core.facility.FacilityKind`) to list where going there takes no
    more than `detour_min` minutes.

    Raises UsageError where two places that follow each other are the same, PlaceError where one cannot
    be found or lies far from any road, NoWayError where not even a car gets there.
    """
    from clearance.assess.day import Along, plan_day, reordered
    from clearance.core.drive import Unverified
    from clearance.core.facility import FacilityKind
    from clearance.network.roadfile import open_road_file

    network = open_road_file(roads)
    halts = [_halt(network, place, stay_min) for place in places]
    _refuse_standing_still(halts)
    policy = Unverified(unverified)
    note = ""
    if reorder and len(halts) > 3:
        halts, note = reordered(network, coach, halts, unverified=policy, departure=departure)
    near = None
    if along:
        near = Along(kinds=tuple(FacilityKind(kind) for kind in along), detour_s=detour_min * 60)
    drive = plan_day(network, coach, halts, unverified=policy, departure=departure, along=near)
    return replace(drive, notes=(*drive.notes, note)) if note else drive


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
) -> Drive:
    """What the line in a GPX, GeoJSON or CSV file passes, see `assess.inspect`.

    Raises InputError for a line that cannot be read or that lies wholly outside the area.
    """
    from clearance.assess.inspect import inspect_line
    from clearance.core.drive import Unverified
    from clearance.network.roadfile import open_road_file
    from clearance.sources.line_file import read_line

    read = read_line(line)
    network = open_road_file(roads)
    drive = inspect_line(
        network, coach, read, unverified=Unverified(unverified), departure=departure, mend=mend
    )
    if not drive.pieces:
        raise InputError(
            f"{line}: no part of the line lies on a road of {roads}; get the roads of its area, or check "
            "the order of its coordinates"
        )
    return drive


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

    made = [
        (path, _drive_as(drive, path, units=units, roads=roads, paper=paper, tiles=tiles)) for path in outputs
    ]
    for path, content in made:
        write_whole(path, content)


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


def list_structures(roads: Path) -> tuple[tuple[Structure, ...], ExtractInfo]:
    """Every structure of a road file, and where its data came from."""
    from clearance.network.roadfile import open_road_file

    network = open_road_file(roads)
    return tuple(network.structures), network.info


def write_structures(
    structures: Sequence[Structure], info: ExtractInfo, output: Path, *, units: str, coach: Coach | None
) -> None:
    """Write structures as GeoJSON or CSV, by the ending of `output`.

    Raises UsageError for another ending, OutputError where the file cannot be written.
    """
    from clearance.outputs.atomic import write_whole
    from clearance.outputs.csv_table import structures_csv

    ending = output.suffix.lower()
    if ending in {".geojson", ".json"}:
        write_whole(output, structures_json(structures, info, units=units, coach=coach) + "\n")
    elif ending == ".csv":
        write_whole(output, structures_csv(structures, info, coach))
    else:
        raise UsageError(f"-o {output}: the ending says the format, .geojson or .csv")


def structures_json(
    structures: Sequence[Structure], info: ExtractInfo, *, units: str, coach: Coach | None
) -> str:
    """Structures as a GeoJSON text."""
    import json

    from clearance.outputs.geojson import structures_geojson
    from clearance.outputs.measures import Units

    return json.dumps(structures_geojson(structures, info, Units(units), coach), ensure_ascii=False, indent=1)


def structures_text(
    structures: Sequence[Structure], info: ExtractInfo, *, units: str, coach: Coach | None
) -> str:
    """Structures as a table for the terminal."""
    from clearance.outputs.listing import structures_text as table
    from clearance.outputs.measures import Units

    return table(structures, info, Units(units), coach)

"""The use cases: what the commands and any other front calls. Each does one job from files to a result."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

from clearance.core.errors import UsageError

if TYPE_CHECKING:
    from datetime import datetime

    from clearance.core.coach import Coach
    from clearance.core.drive import Drive
    from clearance.core.extract import Extract, ExtractInfo
    from clearance.core.structure import Structure
    from clearance.network.network import Network
    from clearance.sources.progress import Progress

__all__ = [
    "Made",
    "coach_text",
    "get_roads",
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
    places: Sequence[str],
    coach: Coach,
    *,
    unverified: str = "avoid",
    departure: datetime | None = None,
) -> Drive:
    """The drive of `coach` through `places` (``lat,lon`` or names from the map data) in order.

    Raises UsageError where two places that follow each other are the same, PlaceError where one cannot
    be found or lies far from any road, NoWayError where not even a car gets there.
    """
    from clearance.assess.day import Halt, plan_day
    from clearance.core.drive import Unverified
    from clearance.core.place_text import find_place
    from clearance.network.roadfile import open_road_file

    network = open_road_file(roads)
    halts = [Halt(place=find_place(text, network.places)) for text in places]
    for before, after in pairwise(halts):
        if (before.place.lon, before.place.lat) == (after.place.lon, after.place.lat):
            raise UsageError(
                f"{after.place.lat:.6f},{after.place.lon:.6f} is given as start and end of one leg; "
                "give two places"
            )
    return plan_day(network, coach, halts, unverified=Unverified(unverified), departure=departure)


def write_drive(drive: Drive, output: Path | None, csv: Path | None, *, units: str) -> None:
    """Write a drive as GeoJSON to `output` and its flagged structures as CSV to `csv`, each whole or not.

    Raises UsageError for another ending, OutputError where a file cannot be written.
    """
    import json

    from clearance.outputs.atomic import write_whole
    from clearance.outputs.csv_table import drive_csv
    from clearance.outputs.geojson import drive_geojson
    from clearance.outputs.measures import Units

    if output is not None:
        document = drive_geojson(drive, Units(units))
        write_whole(output, json.dumps(document, ensure_ascii=False, indent=1) + "\n")
    if csv is not None:
        write_whole(csv, drive_csv(drive, Units(units)))


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

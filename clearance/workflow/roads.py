"""From map data to a road file."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from clearance.core.errors import UsageError

if TYPE_CHECKING:
    from clearance.core.extract import Extract, ExtractInfo
    from clearance.network.network import Network
    from clearance.sources.progress import Progress

__all__ = ["Made", "get_roads", "network_of"]


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

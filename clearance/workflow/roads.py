"""From map data to a road file."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from clearance.core.collector import without_collector
from clearance.core.errors import InputError, UsageError

if TYPE_CHECKING:
    from clearance.core.extract import Extract, ExtractInfo
    from clearance.core.matches import EvidenceReport
    from clearance.core.structure import Structure
    from clearance.network.kept import Kept
    from clearance.network.network import Network
    from clearance.sources.elevation import ElevationGrid
    from clearance.sources.progress import Progress

__all__ = ["Heights", "Made", "get_roads", "mapped_structures", "network_of"]


#: Endings that mark a text as a file's name, so that a misspelt file is not looked up as a place.
_FILE_ENDINGS = (".osm", ".pbf", ".bz2", ".gz", ".xml", ".o5m", ".zip", ".roads")
#: One process reads ways about four times as long as another takes up what it read (measured).
_MOST_PROCESSES = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """What a road file holds, for whoever made it; `evidence` tells what became of lists of heights."""

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
    profiles: int = 0
    evidence: EvidenceReport | None = None

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
        if self.profiles:
            lines.append(f"ground heights: the road's profile is known under {self.profiles} structures")
        if self.evidence is not None:
            from clearance.outputs.evidence import evidence_text

            lines.append(evidence_text(self.evidence))
        return "\n".join(line for line in lines if line)

    def as_dict(self) -> dict[str, Any]:
        """The same for programs; counts are numbers, `kinds` counts structures by kind.

        `evidence` is null or what `outputs.evidence.evidence_json` gives.
        """
        from clearance.outputs.evidence import evidence_json

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
            "profiles": self.profiles,
            "evidence": None if self.evidence is None else evidence_json(self.evidence),
            "warnings": list(self.info.warnings),
        }


_NOTES_SHOWN = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Heights:
    """Where heights come from beside the map: bridge inventories (files or web addresses) with their year,
    and grids of the bare ground.
    """

    inventories: Sequence[str] = ()
    inventory_year: int | None = None
    elevation: Sequence[Path] = ()

    def check(self) -> None:
        """Raise InputError for a file that is not there, before anything long begins."""
        from clearance.sources.web_file import is_web_address

        for place in self.inventories:
            if not is_web_address(place) and not Path(place).is_file():
                raise InputError(f"{place}: no such file; check the name and the folder")


def get_roads(
    source: str | None,
    output: Path,
    *,
    between: Sequence[str] = (),
    band_km: float = 10.0,
    download: Mapping[str, Any] | None = None,
    heights: Heights | None = None,
    processes: int | None = None,
    progress: Progress | None = None,
) -> Made:
    """Make the road file `output` from a local map file, a place, a box or a band; what it holds.

    `download` are fields of `sources.download.DownloadSettings` that differ from their defaults. So many
    `processes` read the ways of a large map file, by default one for each core, four at most; in a script,
    more than one want the guard that `multiprocessing` asks for.

    Raises UsageError where the source cannot be meant or an optional package is missing, InputError or
    DataUnavailableError where it or a list of heights cannot be had, OutputError where the road file
    cannot be written; then an old one still stands.
    """
    from clearance.core.whole_file import only_writer
    from clearance.network.roadfile import write_road_file
    from clearance.sources.elevation import ElevationGrid

    heights = heights or Heights()
    heights.check()
    tell = progress or (lambda _what, _done, _total: None)
    with ExitStack() as open_files:
        grids = [open_files.enter_context(ElevationGrid(path)) for path in heights.elevation]
        extract = _extract(
            source,
            between,
            band_km=band_km,
            settings=download or {},
            processes=processes or _usual_processes(),
            progress=progress,
        )
        tell("finding structures", 0, 0)
        network, kept, evidence = _with_heights(extract, heights, grids, progress)
    tell("writing the road file", 0, 0)
    with only_writer(output, waiting=lambda: tell(f"waiting for a program that is changing {output}", 0, 0)):
        write_road_file(network, output, kept)
    return replace(_made(network, output), evidence=evidence)


@without_collector()
def _with_heights(
    extract: Extract, heights: Heights, grids: Sequence[ElevationGrid], progress: Progress | None
) -> tuple[Network, Kept, EvidenceReport | None]:
    """The network of an extract with all that is told of heights, and what is kept for more."""
    from clearance.network.build import build_network
    from clearance.network.kept import Kept
    from clearance.network.structure_arrays import read_only
    from clearance.sources.elevation import first_known
    from clearance.sources.place_names import named_places
    from clearance.structures.ground import fusion_ground
    from clearance.structures.sag import road_profiles, with_profile_warnings
    from clearance.workflow.evidence import evidence_report, fused_with, read_inventory_list

    structures = mapped_structures(extract)
    ground = fusion_ground(structures, extract)
    told: dict[str, Any] = {}
    if grids:
        profiles = road_profiles(structures, extract, first_known(grids))
        structures = with_profile_warnings(structures, profiles)
        told = {"profile_structure": profiles.structure, "profile_height": profiles.height}
        names = ", ".join(grid.path.name for grid in grids)
        extract = replace(
            extract, info=replace(extract.info, source=f"{extract.info.source}; ground heights from {names}")
        )
    read = [
        read_inventory_list(place, ground, year=heights.inventory_year, progress=progress)
        for place in heights.inventories
    ]
    lists = tuple(each.evidence for each in read)
    fused = fused_with(lists, structures, ground)
    network = build_network(extract, fused.structures, named_places(extract))
    network = read_only(replace(network, **told))
    report = None
    if lists:
        unused = tuple(row for each in read for row in each.unused)
        report = evidence_report(lists, fused, structures, unused=unused)
    return network, Kept(ground=ground, lists=lists), report


def _extract(
    source: str | None,
    between: Sequence[str],
    *,
    band_km: float,
    settings: Mapping[str, Any],
    processes: int,
    progress: Progress | None,
) -> Extract:
    from clearance.core.place_text import parse_lat_lon

    if bool(source) == bool(between):
        raise UsageError("give one SOURCE (a file, place or box), or --between for each place of a band")
    if source:
        path = Path(source)
        if path.exists() or source.lower().endswith(_FILE_ENDINGS):
            from clearance.sources.osm_file import read_osm

            return read_osm(path, progress, processes)

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


def _usual_processes() -> int:
    """One for each core that this process may use, and no more than one taker-up keeps busy."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return min(cores, _MOST_PROCESSES)


def mapped_structures(extract: Extract) -> tuple[Structure, ...]:
    """The structures of an extract with all that the map and the rules of its country tell of them."""
    from clearance.sources.boundaries import country_finder
    from clearance.structures.find import find_structures
    from clearance.structures.implied import with_implied
    from clearance.structures.sag import with_sag_warnings

    found = with_implied(find_structures(extract), extract, country_finder())
    return with_sag_warnings(found, extract)


def network_of(extract: Extract) -> Network:
    """The network of an extract with its structures and named places."""
    from clearance.network.build import build_network
    from clearance.sources.place_names import named_places

    return build_network(extract, mapped_structures(extract), named_places(extract))


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
        profiles=len(network.profile_structure),
    )

"""What a map of the whole area shows and is asked for: its box, the roads in view, its named places."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from clearance.core.errors import PlaceError
from clearance.core.places import Place

if TYPE_CHECKING:
    from clearance.core.extract import ExtractInfo

__all__ = ["AreaInfo", "about_area", "area_map", "place_at", "place_named", "suggest_places"]

Box = tuple[float, float, float, float]

#: Classes of roads (see `outputs.basemap.CLASSES`) and the zoom of the page's map from which each is drawn.
_FROM_ZOOM = {"major": 0, "middle": 10, "rail": 10, "minor": 12, "service": 14}


@dataclass(frozen=True, slots=True, kw_only=True)
class AreaInfo:
    """A road file in a few facts. `box` is west, south, east, north of its roads, in WGS84 degrees."""

    info: ExtractInfo
    box: Box
    roads: int
    structures: int
    places: int


def about_area(roads: Path) -> AreaInfo:
    """What a road file holds. Raises RoadFileError where it is none or holds no road."""
    from clearance.core.errors import RoadFileError
    from clearance.workflow.opened import opened

    network = opened(roads).network
    if not network.node_lon.size:
        raise RoadFileError(f"{roads}: holds no road; make it of a larger area with `clearance get`")
    west, east = float(network.node_lon.min()), float(network.node_lon.max())
    south, north = float(network.node_lat.min()), float(network.node_lat.max())
    return AreaInfo(
        info=network.info,
        box=(west, south, east, north),
        roads=len(network.ways),
        structures=len(network.structures),
        places=len(network.places),
    )


def area_map(roads: Path, box: Box, zoom: float) -> dict[str, Any]:
    """The roads in a box, those that the page's map draws at `zoom`, packed for it.

    The keys are those of the data of a page: `names`, and `roads` as in `outputs.basemap.BaseMap`; `left_out`
    counts lines that did not fit.
    """
    from clearance.network.maplines import map_lines
    from clearance.outputs.basemap import base_map, class_of
    from clearance.workflow.opened import opened

    area = opened(roads)
    kinds, known = area.highways
    wanted = [_FROM_ZOOM[class_of(highway)] <= zoom for highway in known]
    lines = map_lines(area.network, box, (kinds, wanted), with_rails=zoom >= _FROM_ZOOM["rail"])
    west, south, east, north = box
    across = [((west, lat), (east, lat)) for lat in (south, (south + north) / 2, north)]
    packed = base_map(lines, across)
    return {"names": list(packed.names), "roads": packed.lines, "left_out": packed.left_out}


def suggest_places(roads: Path, text: str, most: int = 8) -> list[Place]:
    """Named places that a text may mean, the likeliest first; none where it names nothing.

    Names that begin with it come first, then those with a word that does, then those that hold it.
    """
    from clearance.core.place_text import folded
    from clearance.workflow.opened import opened

    wanted = folded(text[:200])
    if not wanted:
        return []
    ranks: list[list[tuple[str, Place]]] = [[], [], [], []]
    for name, place in opened(roads).named:
        if wanted not in name:
            continue
        rank = 0 if name == wanted else 1 if name.startswith(wanted) else 2 if f" {wanted}" in name else 3
        ranks[rank].append((name, place))
    found: list[Place] = []
    for pairs in ranks:
        for _, place in sorted(pairs, key=lambda pair: (len(pair[0]), pair[0])):
            if not any(_one_spot(place, other) for other in found):
                found.append(place)
            if len(found) >= most:
                return found
    return found


def _one_spot(one: Place, other: Place) -> bool:
    """Whether two entries are one thing mapped in pieces: one name and kind, 150 m apart at most."""
    return (
        one.name == other.name
        and one.kind == other.kind
        and abs(one.lat - other.lat) < 0.0014
        and abs(one.lon - other.lon) < 0.002
    )


def place_named(roads: Path, text: str) -> Place:
    """The place that a text means. Raises PlaceError as `core.place_text.find_place` does."""
    from clearance.core.place_text import find_place
    from clearance.workflow.opened import opened

    return find_place(text, [place for _, place in opened(roads).named])


def place_at(roads: Path, lat_lon: str, name: str) -> Place:
    """The named place at ``lat,lon``, with all that is known of it; a bare point where there is none."""
    from clearance.core.place_text import lat_lon_text, parse_lat_lon
    from clearance.workflow.opened import opened

    point = parse_lat_lon(lat_lon)
    if point is None:
        raise PlaceError(f"place {lat_lon!r} is no latitude and longitude")
    return opened(roads).at.get((name, lat_lon_text(point)), point)

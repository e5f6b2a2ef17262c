"""Structures told by an outline that a road runs into: buildings, roofs, car parks, fuel canopies."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from clearance.core.heights import has_height, read_heights
from clearance.core.structure import Kind, Span, Structure
from clearance.structures.crossings import road_name
from clearance.structures.kinds import area_kind, way_kind
from clearance.structures.levels import Order, order_over_area
from clearance.structures.outlines import Outline, lines_of, outlines

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from shapely import STRtree
    from shapely.geometry import LineString
    from shapely.geometry.base import BaseGeometry

    from clearance.core.extract import Extract, Way

__all__ = ["area_structures"]

#: A road must run this far inside an outline to be under it; less is a sloppy corner. Degrees, about 0.5 m.
_LEAST_INSIDE = 5e-6
#: A roof this near a filling station's node or outline is its canopy. Degrees, about 30 m.
_STATION_REACH = 3e-4


@dataclass(frozen=True, slots=True)
class _Stations:
    """Filling stations of the extract, by shape, and an index of the shapes."""

    elements: tuple[str, ...]
    tags: tuple[Mapping[str, str], ...]
    shapes: tuple[BaseGeometry, ...]
    tree: STRtree

    def near(self, shape: BaseGeometry) -> int | None:
        """The index of the station whose place is nearest to `shape` within reach; None if none is."""
        within = self.tree.query(shape, predicate="dwithin", distance=_STATION_REACH).tolist()
        return min(within, key=lambda i: (shape.distance(self.shapes[i]), i), default=None)


def _stations(extract: Extract) -> _Stations:
    import shapely

    found = [(o.element, o.tags, o.shape) for o in outlines(extract, lambda t: t.get("amenity") == "fuel")]
    for ref, tags in sorted(extract.node_tags.items()):
        if tags.get("amenity") == "fuel":
            at = int(np.searchsorted(extract.node_ids, ref))
            found.append((f"node/{ref}", tags, shapely.Point(extract.lon[at], extract.lat[at])))
    elements, all_tags, shapes = zip(*found, strict=True) if found else ((), (), ())
    return _Stations(elements, all_tags, shapes, shapely.STRtree(shapes))


def area_structures(extract: Extract, roads: Sequence[Way]) -> list[Structure]:
    """Every one of `roads` inside the outline of what may be over it, and areas with a height.

    A road whose own tags name a tunnel, passage or cover is left to those tags, unless the outline is
    a car park or a canopy, which say more. Where nothing tells whether the road runs through, over or
    under the outline the order is ambiguous. Car-park decks and filling stations with a height are
    listed even where no road runs into them.
    """
    import shapely

    def wanted(tags: Mapping[str, str]) -> bool:
        return area_kind(tags) is not None

    areas = outlines(extract, wanted)
    roads = [way for way in roads if way.tags.get("area") != "yes"]
    stations = _stations(extract)
    structures: list[Structure] = []
    met: set[str] = set()
    if areas and roads:
        lines = lines_of(extract, roads)
        tree = shapely.STRtree([a.shape for a in areas])
        line_index, area_index = tree.query(lines, predicate="intersects")
        for i, j in sorted(zip(line_index.tolist(), area_index.tolist(), strict=True)):
            made = _under(extract, roads[i], lines[i], areas[j], stations)
            if made is not None:
                met.update(made.tags)
                structures.append(made)
    return _one_canopy_a_way(structures) + _beside_the_road(extract, areas, stations, met)


def _one_canopy_a_way(structures: list[Structure]) -> list[Structure]:
    """Drop what a station's whole area says of a lane whose roof is mapped and says it too."""
    roofed = {
        span.way
        for s in structures
        if s.kind is Kind.FUEL_CANOPY and "building" in s.tags.get(s.upper, {})
        for span in s.spans
    }
    return [
        s
        for s in structures
        if s.kind is not Kind.FUEL_CANOPY
        or "building" in s.tags.get(s.upper, {})
        or all(span.way not in roofed for span in s.spans)
    ]


def _under(
    extract: Extract, road: Way, line: LineString, area: Outline, stations: _Stations
) -> Structure | None:
    kind = area_kind(area.tags)
    inside = line.intersection(area.shape)
    if kind is None or inside.length < _LEAST_INSIDE:
        return None
    order = order_over_area(road.tags, area.tags)
    if order is Order.BELOW:
        return None
    if kind is Kind.BRIDGE and order is Order.UNTOLD:
        return None  # the deck outline of the bridge that the road itself runs on
    area_tags = {area.element: dict(area.tags)}
    station = stations.near(area.shape) if kind in {Kind.COVERED, Kind.FUEL_CANOPY} else None
    if station is not None:
        kind = Kind.FUEL_CANOPY
        area_tags[stations.elements[station]] = dict(stations.tags[station])
    elif way_kind(road.tags) is not None and kind is not Kind.CAR_PARK:
        return None

    date = extract.info.data_date
    road_id = f"way/{road.id}"
    told = [read_heights(tags, element, date) for element, tags in area_tags.items()]
    own = read_heights(road.tags, road_id, date)
    untold = order is Order.UNTOLD and kind not in {Kind.CAR_PARK, Kind.FUEL_CANOPY}
    warnings = own.warnings + tuple(w for t in told for w in t.warnings)
    if untold:
        warnings += (
            f"{road_id} runs inside the outline of {area.element} and nothing tells whether it goes "
            "through, under or over it",
        )
    start, end = _reach(line, inside)
    middle = line.interpolate((start[1] + end[1]) / 2)
    spans = [Span(way=road.id, start=start[0], end=end[0], whole_way=bool(own.evidence or own.warnings))]
    return Structure(
        key=f"{road_id}:{area.element}:area",
        kind=kind,
        lon=round(middle.x, 7),
        lat=round(middle.y, 7),
        name=area.tags.get("name", ""),
        road=road_name(road),
        evidence=own.evidence + tuple(e for t in told for e in t.evidence),
        spans=tuple(spans),
        upper=area.element,
        ambiguous_order=untold,
        tags={road_id: dict(road.tags), **area_tags},
        warnings=warnings,
    )


def _reach(line: LineString, inside: BaseGeometry) -> tuple[tuple[float, float], tuple[float, float]]:
    """First and last place of `inside` on `line`, each as (node intervals, degrees along the line)."""
    import shapely

    points = shapely.points(shapely.get_coordinates(inside))
    along = shapely.line_locate_point(line, points)
    nodes = shapely.get_coordinates(line)
    at_nodes = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(nodes, axis=0).T))))
    first, last = float(along.min()), float(along.max())
    intervals = np.interp([first, last], at_nodes, np.arange(len(nodes), dtype=np.float64))
    return (float(intervals[0]), first), (float(intervals[1]), last)


def _beside_the_road(
    extract: Extract, areas: list[Outline], stations: _Stations, met: set[str]
) -> list[Structure]:
    """Car-park decks and areas with a height that no road of the extract runs into."""
    listed = {a.element: (a.tags, a.shape) for a in areas if area_kind(a.tags) is Kind.CAR_PARK}
    listed |= {a.element: (a.tags, a.shape) for a in areas if has_height(a.tags)}
    for element, tags, shape in zip(stations.elements, stations.tags, stations.shapes, strict=True):
        # A station that is a node is told by the node itself.
        if has_height(tags) and not element.startswith("node/"):
            listed[element] = (tags, shape)
    structures: list[Structure] = []
    for element, (tags, shape) in sorted(listed.items()):
        if element in met:
            continue
        told = read_heights(tags, element, extract.info.data_date)
        fuel = tags.get("amenity") == "fuel"
        point = shape.representative_point()
        structures.append(
            Structure(
                key=f"{element}:own",
                kind=Kind.FUEL_CANOPY if fuel else area_kind(tags) or Kind.LIMIT,
                lon=round(point.x, 7),
                lat=round(point.y, 7),
                name=tags.get("name", ""),
                evidence=told.evidence,
                tags={element: dict(tags)},
                warnings=told.warnings,
            )
        )
    return structures

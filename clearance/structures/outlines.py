"""Outlines as polygons: buildings, roofs, car parks, filling stations, bridge decks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from shapely.geometry import LineString
    from shapely.geometry.base import BaseGeometry

    from clearance.core.extract import Extract, Way

__all__ = ["Outline", "line_of", "outlines"]


@dataclass(frozen=True, slots=True)
class Outline:
    """An area with its tags; `shape` is a (multi)polygon in (lon, lat) degrees."""

    element: str
    tags: Mapping[str, str]
    shape: BaseGeometry


def _coordinates(extract: Extract, nodes: Sequence[int]) -> list[tuple[float, float]]:
    index = np.searchsorted(extract.node_ids, np.array(nodes, dtype=np.int64))
    return list(zip(extract.lon[index].tolist(), extract.lat[index].tolist(), strict=True))


def line_of(extract: Extract, way: Way) -> LineString:
    """The way as a line in (lon, lat) degrees."""
    import shapely

    return shapely.LineString(_coordinates(extract, way.nodes))


def outlines(extract: Extract, wanted: Callable[[Mapping[str, str]], bool]) -> list[Outline]:
    """The closed ways and multipolygon relations whose tags are `wanted`, as valid shapes.

    A multipolygon whose rings do not close within the extract is left out: it has no inside.
    """
    import shapely

    found: list[Outline] = []
    for way in extract.ways:
        closed = len(way.nodes) > 3 and way.nodes[0] == way.nodes[-1]
        if closed and wanted(way.tags):
            shape = shapely.make_valid(shapely.Polygon(_coordinates(extract, way.nodes)))
            found.append(Outline(f"way/{way.id}", way.tags, shape))
    by_id = {w.id: w for w in extract.ways}
    for relation in extract.relations:
        if relation.tags.get("type") != "multipolygon" or not wanted(relation.tags):
            continue
        rings: dict[bool, list[LineString]] = {False: [], True: []}
        for member in relation.members:
            way_of_ring = by_id.get(member.ref) if member.kind == "w" else None
            if way_of_ring is not None and len(way_of_ring.nodes) > 1:
                rings[member.role == "inner"].append(line_of(extract, way_of_ring))
        outer, inner = (shapely.union_all(list(shapely.polygonize(lines).geoms)) for lines in rings.values())
        shape = outer.difference(inner)
        if not shape.is_empty:
            found.append(Outline(f"relation/{relation.id}", relation.tags, shape))
    return found

"""Outlines as polygons: buildings, roofs, car parks, filling stations, bridge decks."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import chain
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    import numpy.typing as npt
    from shapely.geometry import LineString
    from shapely.geometry.base import BaseGeometry

    from clearance.core.extract import Extract, Relation, Way

__all__ = ["Outline", "lines_of", "outlines"]


@dataclass(frozen=True, slots=True)
class Outline:
    """An area with its tags; `shape` is a (multi)polygon in (lon, lat) degrees."""

    element: str
    tags: Mapping[str, str]
    shape: BaseGeometry


def _points(extract: Extract, ways: Sequence[Way]) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.intp]]:
    """The (lon, lat) of all nodes of all ways, (m, 2), and the index of the way of each, (m,)."""
    counts = np.fromiter((len(way.nodes) for way in ways), dtype=np.int64, count=len(ways))
    refs = np.fromiter(chain.from_iterable(w.nodes for w in ways), dtype=np.int64, count=int(counts.sum()))
    index = np.searchsorted(extract.node_ids, refs)
    return np.stack((extract.lon[index], extract.lat[index]), axis=1), np.repeat(np.arange(len(ways)), counts)


def lines_of(extract: Extract, ways: Sequence[Way]) -> list[LineString]:
    """The ways, of two nodes or more each, as lines in (lon, lat) degrees."""
    import shapely

    points, way = _points(extract, ways)
    lines: list[LineString] = shapely.linestrings(points, indices=way).tolist() if len(points) else []
    return lines


def outlines(extract: Extract, wanted: Callable[[Mapping[str, str]], bool]) -> list[Outline]:
    """The closed ways and multipolygon relations whose tags are `wanted`, as valid shapes.

    A multipolygon whose rings do not close within the extract is left out: it has no inside.
    """
    closed = [
        way
        for way in extract.ways
        if len(way.nodes) > 3 and way.nodes[0] == way.nodes[-1] and wanted(way.tags)
    ]
    found = [
        Outline(f"way/{way.id}", way.tags, shape)
        for way, shape in zip(closed, _polygons(extract, closed), strict=True)
    ]
    relations = [r for r in extract.relations if r.tags.get("type") == "multipolygon" and wanted(r.tags)]
    if not relations:
        return found
    members = {m.ref for relation in relations for m in relation.members if m.kind == "w"}
    by_id = {way.id: way for way in extract.ways if way.id in members and len(way.nodes) > 1}
    for relation in relations:
        shape = _multipolygon(extract, relation, by_id)
        if not shape.is_empty:
            found.append(Outline(f"relation/{relation.id}", relation.tags, shape))
    return found


def _polygons(extract: Extract, closed: Sequence[Way]) -> list[BaseGeometry]:
    """Closed ways as valid shapes."""
    import shapely

    if not closed:
        return []
    points, way = _points(extract, closed)
    shapes = shapely.polygons(shapely.linearrings(points, indices=way))
    amiss = ~shapely.is_valid(shapes)
    shapes[amiss] = shapely.make_valid(shapes[amiss])
    valid: list[BaseGeometry] = shapes.tolist()
    return valid


def _multipolygon(extract: Extract, relation: Relation, by_id: Mapping[int, Way]) -> BaseGeometry:
    """The shape of a relation from those of its member ways that are in the extract; may be empty."""
    import shapely

    rings: dict[bool, list[Way]] = {False: [], True: []}
    for member in relation.members:
        if member.kind == "w" and member.ref in by_id:
            rings[member.role == "inner"].append(by_id[member.ref])
    outer, inner = (
        shapely.union_all(list(shapely.polygonize(lines_of(extract, ways)).geoms)) for ways in rings.values()
    )
    return outer.difference(inner)

"""The places in an extract that a user may name: streets, roads by number, facilities, towns."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence

import numpy as np
import numpy.typing as npt

from clearance.core.extract import Extract, Relation, Way
from clearance.core.facility import FACILITY_TAGS, facility_kinds
from clearance.core.places import Place
from clearance.sources.wanted import FACILITY_VALUES, NAMED_KEYS, is_building, is_facility

__all__ = ["named_places"]

#: Pieces of one street name this near to each other are one street (judgement, no source).
_ONE_STREET_M = 300.0
#: Not driven: a coach cannot start or end there, so their names are no use.
_NOT_DRIVEN = frozenset(
    {
        "bridleway",
        "bus_stop",
        "construction",
        "corridor",
        "cycleway",
        "elevator",
        "emergency_bay",
        "footway",
        "path",
        "pedestrian",
        "platform",
        "proposed",
        "raceway",
        "steps",
        "via_ferrata",
    }
)

XY = npt.NDArray[np.float64]


def named_places(extract: Extract) -> tuple[Place, ...]:
    """Every place in the extract that has a name, and facilities without one, sorted by name.

    Kinds: ``street`` (roads of one name that are joined or within 300 m: a point on the road near the
    middle), ``road`` (the same for road numbers), ``fuel``, ``dump station``, ``camp site`` and the
    like after the facility's tag, ``city``, ``town``, ``village`` and the like after the place's tag.
    A facility without a name goes by its brand or operator, or has an empty name.
    """
    found = [*_roads(extract), *_of_nodes(extract), *_of_areas(extract)]
    return tuple(sorted(found, key=lambda place: (place.name, place.kind, place.osm)))


def _roads(extract: Extract) -> Iterator[Place]:
    """Streets and numbered roads, one place for each cluster of ways of one name."""
    by_name: dict[tuple[str, str], list[Way]] = defaultdict(list)
    for way in extract.ways:
        if way.tags.get("highway", "footway") in _NOT_DRIVEN:
            continue
        if "name" in way.tags:
            by_name["street", way.tags["name"]].append(way)
        for ref in way.tags.get("ref", "").split(";"):
            if ref.strip():
                by_name["road", ref.strip()].append(way)
    for (kind, name), ways in by_name.items():
        lines = [_lon_lat(extract, way.nodes) for way in ways]
        # metres on a plane, good enough within one street; the mean latitude sets the scale of longitude
        scale = (
            np.array([np.cos(np.radians(np.mean([line[:, 1].mean() for line in lines]))), 1.0]) * 111_200.0
        )
        for rows in _clusters(ways, [line * scale for line in lines]):
            row, spot = _middle([lines[i] * scale for i in rows])
            lon, lat = spot / scale
            yield Place(
                lon=round(float(lon), 7),
                lat=round(float(lat), 7),
                name=name,
                kind=kind,
                osm=f"way/{ways[rows[row]].id}",
            )


def _clusters(ways: Sequence[Way], lines: Sequence[XY]) -> list[list[int]]:
    """Indices of ways, together where they share a node or come within 300 m, directly or by others."""
    if len(ways) == 1:
        return [[0]]
    parent = list(range(len(ways)))

    def root(i: int) -> int:
        while parent[i] != i:
            parent[i] = parent[parent[i]]
            i = parent[i]
        return i

    seen: dict[int, int] = {}
    for i, way in enumerate(ways):
        for node in way.nodes:
            parent[root(i)] = root(seen.setdefault(node, i))
    if len({root(i) for i in range(len(ways))}) > 1:
        import shapely

        shapes = [shapely.LineString(line) for line in lines]
        pairs = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=_ONE_STREET_M)
        for i, j in pairs.T.tolist():
            parent[root(i)] = root(j)
    groups: dict[int, list[int]] = defaultdict(list)
    for i in range(len(ways)):
        groups[root(i)].append(i)
    return list(groups.values())


def _middle(lines: Sequence[XY]) -> tuple[int, XY]:
    """The point on the lines nearest to their centre of mass, and which of the lines it is on."""
    owner = np.repeat(np.arange(len(lines)), [len(line) - 1 for line in lines])
    start = np.concatenate([line[:-1] for line in lines])
    step = np.concatenate([np.diff(line, axis=0) for line in lines])
    length = np.hypot(step[:, 0], step[:, 1])
    weight = length if length.sum() > 0 else np.ones(len(length))
    centre = np.average(start + step / 2, axis=0, weights=weight)
    square = np.where(length > 0, length**2, 1.0)
    along = np.clip(((centre - start) * step).sum(axis=1) / square, 0.0, 1.0)
    spots = start + step * along[:, None]
    best = int(np.argmin(np.hypot(*(spots - centre).T)))
    return int(owner[best]), spots[best]


def _of_nodes(extract: Extract) -> Iterator[Place]:
    """Facilities, stations, towns and other named places drawn as a node."""
    refs = sorted(extract.node_tags)
    spots = _lon_lat(extract, refs)
    for ref, (lon, lat) in zip(refs, spots.tolist(), strict=True):
        tags = extract.node_tags[ref]
        kind = _kind(tags)
        if kind:
            yield Place(lon=lon, lat=lat, name=_name(tags), kind=kind, osm=f"node/{ref}", tags=_kept(tags))


def _of_areas(extract: Extract) -> Iterator[Place]:
    """The same drawn as an outline: a closed way, or a multipolygon."""
    ways = {way.id: way for way in extract.ways}
    for way in extract.ways:
        kind = "" if "highway" in way.tags else _kind(way.tags)
        if kind:
            lon, lat = _inside([_lon_lat(extract, way.nodes)])
            yield Place(
                lon=lon,
                lat=lat,
                name=_name(way.tags),
                kind=kind,
                osm=f"way/{way.id}",
                tags=_kept(way.tags),
            )
    for relation in extract.relations:
        kind = _kind(relation.tags)
        rings = [_lon_lat(extract, way.nodes) for way in _outline(relation, ways)]
        if kind and rings:
            lon, lat = _inside(rings)
            yield Place(
                lon=lon,
                lat=lat,
                name=_name(relation.tags),
                kind=kind,
                osm=f"relation/{relation.id}",
                tags=_kept(relation.tags),
            )


def _outline(relation: Relation, ways: Mapping[int, Way]) -> Iterable[Way]:
    return (ways[m.ref] for m in relation.members if m.kind == "w" and m.ref in ways and m.role != "inner")


def _inside(lines: Sequence[XY]) -> tuple[float, float]:
    """A point inside what the lines enclose; the middle of their box where they enclose nothing."""
    import shapely

    areas = shapely.polygonize([shapely.LineString(line) for line in lines])
    if not areas.is_empty:
        spot = max(areas.geoms, key=shapely.area).representative_point()
        return round(float(spot.x), 7), round(float(spot.y), 7)
    points = np.concatenate(lines)
    lon, lat = (points.min(axis=0) + points.max(axis=0)) / 2
    return round(float(lon), 7), round(float(lat), 7)


def _kind(tags: Mapping[str, str]) -> str:
    """What the tags name, in plain words; empty where they name nothing a user would ask for."""
    if is_facility(tags):
        for key, values in FACILITY_VALUES.items():
            if tags.get(key) in values:
                return _words(tags[key])
        return next((_words(tags[key]) for key in NAMED_KEYS if key in tags), "facility")
    if "name" not in tags:
        return ""
    if "place" in tags:
        return _words(tags["place"])
    if tags.get("railway") in ("halt", "station"):
        return "railway station"
    return "building" if is_building(tags) else ""


def _kept(tags: Mapping[str, str]) -> tuple[tuple[str, str], ...]:
    """What a coach wants to know of a facility, sorted; nothing of other places."""
    if not facility_kinds(tags):
        return ()
    return tuple(sorted((key, value) for key, value in tags.items() if key.startswith(FACILITY_TAGS)))


def _words(value: str) -> str:
    return value.replace("sanitary_dump_station", "dump station").replace("_", " ")


def _name(tags: Mapping[str, str]) -> str:
    return next((tags[key] for key in ("name", "brand", "operator") if tags.get(key)), "")


def _lon_lat(extract: Extract, refs: Sequence[int]) -> XY:
    """Longitude and latitude of nodes that are in the extract, shape (n, 2)."""
    rows = np.searchsorted(extract.node_ids, np.asarray(refs, dtype=np.int64))
    return np.stack([extract.lon[rows], extract.lat[rows]], axis=1)

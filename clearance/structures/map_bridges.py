"""The bridges of the map as an inventory counts them: one deck over all roads beneath, with what is on it.

The map has a structure for each road under each way; an inventory has one record for the whole bridge.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from clearance.core.access import Vehicle, is_road
from clearance.core.oneway import directions
from clearance.core.structure import Kind
from clearance.structures.kinds import line_kind
from clearance.structures.levels import is_bridge
from clearance.structures.names import Names, joined, map_names
from clearance.structures.outlines import outlines
from clearance.structures.segments import segments_of

if TYPE_CHECKING:
    import numpy.typing as npt

    from clearance.core.extract import Extract, Way
    from clearance.core.structure import Structure

    F64 = npt.NDArray[np.float64]

__all__ = ["M_PER_DEGREE", "MapBridge", "map_bridges"]

#: Metres of a degree of latitude, about; good to half a percent, enough to compare distances.
M_PER_DEGREE = 111_195.0
#: Crossings under one deck that lie further apart than this are taken for several bridges: a viaduct is
#: one line on the map and many structures in an inventory. Judgement, no source.
_ONE_BRIDGE_M = 150.0
#: Tracks this near to each other over one road share a bridge: the next line's bridge stands farther off
#: (common practice, no source: tracks lie some 4 to 5 m apart).
_TRACKS_M = 8.0
#: A short tunnel with a single deck over it is the underpass of that deck. Judgement, no source.
_UNDERPASS_M = 100.0
#: This much of a deck inside a bridge outline makes it a part of that bridge. Judgement, no source.
_INSIDE_SHARE = 0.8
#: Directions of one-way decks within this angle are one direction, in degrees.
_ONE_WAY_ANGLE = 60.0

#: Roads that an inventory of public roads may leave out when it measures beneath a bridge.
_BYWAYS = frozenset({"service", "track", "footway", "path", "cycleway", "bridleway", "pedestrian"})
_RAILS = frozenset({Kind.RAIL_BRIDGE, Kind.RAIL_TRESTLE})
_ON_OWN_WAY = frozenset({Kind.TUNNEL, Kind.COVERED, Kind.BUILDING_PASSAGE})


@dataclass(frozen=True, slots=True, kw_only=True)
class MapBridge:
    """One bridge, tunnel or other thing over roads, as found in the map.

    `under` are indices of the structures that it makes over roads beneath, `on` of those on its own deck;
    `deck` are ids of the roads on it. `over_names` is what it carries, `under_names` what passes beneath.
    `public` tells whether a public road, not only a service road or track, passes beneath; `unsure` that
    nothing in the map says which of the two is above.

    All coordinates are (lon, lat) in WGS84 degrees. `points` (k, 2) are where roads pass; `gates` (g, 2) is
    where to look for it, its ends among them; `lines` (s, 4) the pieces of its deck, lon lat lon lat.
    `by_line` tells that its place is all along its line rather than at its points. `length_m` is the
    length of the deck. `heading` is the direction of travel on it in degrees from north where it is
    one-way, `oneway` None where there is no road on it. `below` (lon lat lon lat) is the piece of the
    first road beneath at the crossing.
    """

    under: tuple[int, ...] = ()
    on: tuple[int, ...] = ()
    deck: tuple[int, ...] = ()
    kinds: frozenset[Kind] = frozenset()
    over_names: Names = field(default_factory=Names)
    under_names: Names = field(default_factory=Names)
    public: bool = False
    unsure: bool = False
    points: F64
    gates: F64
    lines: F64
    by_line: bool = False
    length_m: float
    heading: float | None = None
    oneway: bool | None = None
    below: tuple[float, float, float, float] | None = None


class _Groups:
    """Union of things that belong together."""

    def __init__(self) -> None:
        self._parent: dict[Hashable, Hashable] = {}

    def root(self, key: Hashable) -> Hashable:
        parent = self._parent
        parent.setdefault(key, key)
        while parent[key] != key:
            parent[key] = parent[parent[key]]
            key = parent[key]
        return key

    def join(self, one: Hashable, other: Hashable) -> None:
        self._parent[self.root(one)] = self.root(other)


class _Lines:
    """The pieces of ways as rows of (lon, lat, lon, lat), looked up once for all of them."""

    def __init__(self, extract: Extract, ways: Sequence[Way]) -> None:
        found = segments_of(extract, ways)
        self._all = np.stack([found.ax, found.ay, found.bx, found.by], axis=1) / 1e7
        self._start = np.searchsorted(found.way, np.arange(len(ways) + 1))
        self._row = {way.id: row for row, way in enumerate(ways)}

    def of(self, way: int) -> F64:
        row = self._row[way]
        return self._all[self._start[row] : self._start[row + 1]]


def metres(lines: F64) -> F64:
    """The length of each piece (s, 4), in metres."""
    x = (lines[:, 2] - lines[:, 0]) * np.cos(np.radians(lines[:, 1]))
    return np.asarray(np.hypot(x, lines[:, 3] - lines[:, 1]) * M_PER_DEGREE)


def map_bridges(structures: Sequence[Structure], extract: Extract) -> list[MapBridge]:
    """Every bridge of the map: over a road, carrying one, or both; and every other structure by itself.

    Decks that are mapped in several ways, one behind the other, are one bridge, and so are decks within
    one bridge outline, and tracks side by side; crossings further than 150 m apart are not.
    """
    return _Builder(structures, extract).built()


class _Builder:
    def __init__(self, structures: Sequence[Structure], extract: Extract) -> None:
        self._structures = structures
        self._extract = extract
        self._ways = {way.id: way for way in extract.ways}
        self._decks = {
            way.id: way
            for way in extract.ways
            if len(way.nodes) > 1 and is_bridge(way.tags) and (is_road(way.tags) or line_kind(way.tags))
        }
        self._groups = _Groups()
        needed = dict(self._decks)
        for s in structures:
            needed |= {span.way: self._ways[span.way] for span in s.spans if span.way in self._ways}
        self._lines = _Lines(extract, list(needed.values()))
        self._names: dict[int, Names] = {}

    def built(self) -> list[MapBridge]:
        self._join_decks()
        self._join_outlines()
        keys = [self._key(structure, index) for index, structure in enumerate(self._structures)]
        self._join_tracks()
        keys = self._underpasses(keys)
        members: dict[Hashable, list[int]] = defaultdict(list)
        for index, key in enumerate(keys):
            members[self._groups.root(key)].append(index)
        decks: dict[Hashable, list[int]] = defaultdict(list)
        for way in self._decks:
            decks[self._groups.root(("deck", way))].append(way)
        bridges: list[MapBridge] = []
        for key in {**members, **decks}:
            for indices, ways in self._apart(members.get(key, []), decks.get(key, [])):
                bridges.append(self._bridge(indices, ways))
        return bridges

    def _join_decks(self) -> None:
        """Decks of one sort that share an end are one bridge."""
        for way in self._decks.values():
            sort = "road" if is_road(way.tags) else "rail" if "railway" in way.tags else "other"
            for node in (way.nodes[0], way.nodes[-1]):
                self._groups.join(("deck", way.id), (sort, node))

    def _join_outlines(self) -> None:
        """Decks that lie within the outline of a bridge are parts of it."""
        import shapely

        areas = outlines(self._extract, lambda tags: tags.get("man_made") == "bridge")
        if not areas or not self._decks:
            return
        ids = list(self._decks)
        shapes = [
            shapely.MultiLineString([[(a, b), (c, d)] for a, b, c, d in self._lines.of(way).tolist()])
            for way in ids
        ]
        tree = shapely.STRtree([area.shape for area in areas])
        for i, j in tree.query(shapes, predicate="intersects").T.tolist():
            inside = shapes[i].intersection(areas[j].shape).length
            if inside >= _INSIDE_SHARE * shapes[i].length:
                self._groups.join(("deck", ids[i]), ("area", areas[j].element))

    def _key(self, structure: Structure, index: int) -> Hashable:
        """What a structure belongs to before groups are joined."""
        kind, upper = structure.kind, structure.upper
        own = structure.spans[0].way if structure.spans else None
        if upper.startswith("way/") and int(upper[4:]) in self._decks:
            return ("deck", int(upper[4:]))
        if upper:
            return ("area", upper)
        if own in self._decks and kind in {Kind.COVERED_BRIDGE, Kind.LIMIT}:
            return ("deck", own)
        if own is not None and kind is Kind.TUNNEL:
            for span in structure.spans:
                way = self._ways[span.way]
                self._groups.join(("tunnel", way.nodes[0]), ("tunnel", way.nodes[-1]))
            return ("tunnel", self._ways[own].nodes[0])
        return ("structure", index)

    def _join_tracks(self) -> None:
        """Tracks side by side over one road are one bridge."""
        import shapely

        tracks = [
            s
            for s in self._structures
            if s.kind in _RAILS and s.upper.startswith("way/") and int(s.upper[4:]) in self._decks
        ]
        if not tracks:
            return
        at = np.array([(s.lon, s.lat) for s in tracks])
        dy = np.full(len(at), _TRACKS_M / M_PER_DEGREE)
        dx = dy / np.cos(np.radians(at[:, 1]))
        boxes = shapely.box(at[:, 0] - dx, at[:, 1] - dy, at[:, 0] + dx, at[:, 1] + dy)
        for one, other in shapely.STRtree(shapely.points(at)).query(boxes).T.tolist():
            if one < other and _distances_m(at[[other]], at[one])[0] <= _TRACKS_M:
                a, b = (int(tracks[i].upper[4:]) for i in (one, other))
                self._groups.join(("deck", a), ("deck", b))

    def _underpasses(self, keys: list[Hashable]) -> list[Hashable]:
        """A short tunnel or cover with a single bridge over it is how some map that bridge: one thing."""
        over: dict[int, set[Hashable]] = defaultdict(set)
        for structure, key in zip(self._structures, keys, strict=True):
            if structure.upper and structure.spans:
                over[structure.spans[0].way].add(self._groups.root(key))
        for index, structure in enumerate(self._structures):
            if structure.kind not in _ON_OWN_WAY or structure.upper or not structure.spans:
                continue
            ways = [span.way for span in structure.spans]
            decks = set().union(*(over[way] for way in ways))
            length = sum(float(metres(self._lines.of(way)).sum()) for way in ways)
            if len(decks) == 1 and length <= _UNDERPASS_M:
                keys[index] = next(iter(decks))
        return keys

    def _apart(self, indices: list[int], ways: list[int]) -> list[tuple[list[int], list[int]]]:
        """Structures and decks of one group, parted where crossings lie far from each other."""
        if len(indices) < 2:
            return [(indices, ways)]
        at = np.array([(self._structures[i].lon, self._structures[i].lat) for i in indices])
        labels = _clusters(at, _ONE_BRIDGE_M)
        parts: dict[int, tuple[list[int], list[int]]] = {label: ([], []) for label in labels}
        for index, label in zip(indices, labels, strict=True):
            parts[label][0].append(index)
        for way in ways:
            lines = self._lines.of(way)
            near = _distances_m(at, (lines[:, :2].mean(axis=0) + lines[:, 2:].mean(axis=0)) / 2)
            parts[labels[int(np.argmin(near))]][1].append(way)
        return list(parts.values())

    def _bridge(self, indices: list[int], ways: list[int]) -> MapBridge:
        structures = [self._structures[i] for i in indices]
        on = tuple(i for i in indices if self._on_deck(self._structures[i]))
        under = tuple(i for i in indices if i not in on)
        roads = tuple(w for w in ways if is_road(self._decks[w].tags))
        points = np.array([(s.lon, s.lat) for s in structures if not self._on_deck(s)]).reshape(-1, 2)
        own = [s.spans[0].way for s in structures if s.spans and not self._on_deck(s)]
        if any(s.upper for s in structures):
            own = []
        along = list(dict.fromkeys([*ways, *own]))
        lines = np.concatenate([self._lines.of(w) for w in along]) if along else np.empty((0, 4))
        gates = np.concatenate([points, lines[:, :2], lines[:, 2:]])
        oneway, heading = self._travel(roads)
        beneath = [self._ways[s.spans[0].way] for s in structures if s.spans and not self._on_deck(s)]
        return MapBridge(
            under=under,
            on=on,
            deck=roads,
            kinds=self._kinds(structures, ways),
            over_names=self._over_names(structures, ways),
            under_names=joined([self._name(way.id) for way in beneath]),
            unsure=bool(under) and all(self._structures[i].ambiguous_order for i in under),
            public=any(way.tags.get("highway") not in _BYWAYS for way in beneath),
            points=points,
            gates=gates,
            lines=lines,
            by_line=bool(own) or not len(points),
            length_m=float(metres(lines).sum()) if len(lines) else 0.0,
            heading=heading,
            oneway=oneway,
            below=self._below(structures),
        )

    def _on_deck(self, structure: Structure) -> bool:
        own = structure.spans[0].way if structure.spans else None
        return (
            not structure.upper and own in self._decks and structure.kind in {Kind.COVERED_BRIDGE, Kind.LIMIT}
        )

    def _name(self, way: int) -> Names:
        if way not in self._names:
            self._names[way] = map_names(self._ways[way].tags)
        return self._names[way]

    def _over_names(self, structures: Iterable[Structure], ways: Iterable[int]) -> Names:
        uppers = {s.upper: s.tags.get(s.upper, {}) for s in structures}
        return joined([*map(self._name, ways), *map(map_names, uppers.values())])

    def _kinds(self, structures: Iterable[Structure], ways: Iterable[int]) -> frozenset[Kind]:
        """Kinds by what is above: also where the map does not tell which is above."""
        kinds = {line_kind(self._decks[w].tags) or Kind.BRIDGE for w in ways}
        for s in structures:
            if s.kind is Kind.UNKNOWN_CROSSING:
                kinds.add(line_kind(s.tags.get(s.upper, {})) or Kind.UNKNOWN_CROSSING)
            else:
                kinds.add(s.kind)
        return frozenset(kinds)

    def _travel(self, roads: Sequence[int]) -> tuple[bool | None, float | None]:
        """Whether the deck is one-way, and then its direction of travel in degrees from north."""
        if not roads:
            return None, None
        east = north = 0.0
        for road in roads:
            ahead, back = directions(self._decks[road].tags, Vehicle.CAR)
            if ahead == back:
                return False, None
            line = self._lines.of(road)
            x = (line[-1, 2] - line[0, 0]) * np.cos(np.radians(line[0, 1]))
            y = line[-1, 3] - line[0, 1]
            size = float(np.hypot(x, y)) or 1.0
            sign = 1.0 if ahead else -1.0
            east, north = east + sign * float(x) / size, north + sign * float(y) / size
        if np.hypot(east, north) < len(roads) * np.cos(np.radians(_ONE_WAY_ANGLE)):
            return False, None
        return True, float(np.degrees(np.arctan2(east, north)) % 360)

    def _below(self, structures: Iterable[Structure]) -> tuple[float, float, float, float] | None:
        for s in structures:
            if s.upper and s.spans:
                line = self._lines.of(s.spans[0].way)
                a, b, c, d = line[min(int(s.spans[0].start), len(line) - 1)].tolist()
                return a, b, c, d
        return None


def _distances_m(points: F64, place: F64) -> F64:
    x = (points[:, 0] - place[0]) * np.cos(np.radians(place[1]))
    return np.asarray(np.hypot(x, points[:, 1] - place[1]) * M_PER_DEGREE)


def _clusters(points: F64, reach_m: float) -> list[int]:
    """A label for each point: the same for points joined by steps of at most `reach_m`."""
    labels = [-1] * len(points)
    for first in range(len(points)):
        if labels[first] >= 0:
            continue
        waiting = [first]
        labels[first] = first
        while waiting:
            at = waiting.pop()
            for near in np.flatnonzero(_distances_m(points, points[at]) <= reach_m).tolist():
                if labels[near] < 0:
                    labels[near] = first
                    waiting.append(near)
    return labels

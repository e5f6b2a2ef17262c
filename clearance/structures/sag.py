"""Where the road dips or humps beneath a structure: profiles from heights of the ground, and what tags tell.

What a coach loses to a profile is in `core.profile`.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from clearance.core.access import is_road
from clearance.core.lengths import Length
from clearance.core.profile import PROFILE_REACH_M, STATIONS_M, Profile, lost_under, with_sag
from clearance.core.structure import Kind, Structure
from clearance.structures.map_bridges import M_PER_DEGREE

if TYPE_CHECKING:
    import numpy.typing as npt

    from clearance.core.extract import Extract, Way

    F64 = npt.NDArray[np.float64]

__all__ = [
    "RoadProfiles",
    "profile_under",
    "road_profiles",
    "with_profile_warnings",
    "with_sag_warnings",
]

#: A long coach: 8 m between the axles, 1 m before and 4 m behind them (common practice, no source).
_LONG_COACH = {"wheelbase_m": 8.0, "front_m": 1.0, "rear_m": 4.0}
#: Less than this is not worth a warning: grids of the ground err by as much. Judgement, no source.
_WORTH_SAYING = Length.from_metres("0.03")

#: Heights of the ground for places: (lon, lat) in WGS84 degrees, arrays (k,), to metres (k,), NaN for none.
Heights = Callable[["F64", "F64"], "F64"]


# --- a profile from heights of the ground -------------------------------------------------------------


def profile_under(
    structure: Structure, extract: Extract, heights: Heights, *, reach_m: float, step_m: float = 1.0
) -> tuple[Profile, float] | None:
    """The road's profile `reach_m` to either side of a structure, and where on it the structure stands.

    `heights` tells the height of the bare ground; a model that shows the bridge itself, or the railway's
    bank across the road, shows a hump that is none. None where the structure is at no place of a road,
    the road ends before, or the ground is not known everywhere.
    """
    return _profile(structure, _Neighbours(extract), heights, reach_m, step_m)


def _profile(
    structure: Structure, roads: _Neighbours, heights: Heights, reach_m: float, step_m: float
) -> tuple[Profile, float] | None:
    found = _road_line(structure, roads, reach_m) if structure.spans else None
    if found is None:
        return None
    lon, lat, along, at = found
    stations = np.arange(at - reach_m, at + reach_m + step_m / 2, step_m)
    ground = heights(np.interp(stations, along, lon), np.interp(stations, along, lat))
    if not np.isfinite(ground).all():
        return None
    return Profile(stations - stations[0], ground), at - float(stations[0])


def _road_line(
    structure: Structure, roads: _Neighbours, reach_m: float
) -> tuple[F64, F64, F64, float] | None:
    """Longitudes, latitudes and distances along the road through a structure, and the structure's own.

    At a junction it goes straight on. None where the road ends within reach.
    """
    span = structure.spans[0]
    if span.way not in roads.ways:
        return None
    nodes = list(roads.ways[span.way].nodes)
    position = (span.start + span.end) / 2
    for _ in range(200):
        lon, lat = roads.places(nodes)
        along = _along(lon, lat)
        at = float(np.interp(position, np.arange(len(nodes)), along))
        if at < reach_m:
            before = roads.onward(nodes[1], nodes[0], set(nodes))
            if not before:
                return None
            nodes = [*reversed(before), *nodes]
            position += len(before)
        elif along[-1] - at < reach_m + 1:
            after = roads.onward(nodes[-2], nodes[-1], set(nodes))
            if not after:
                return None
            nodes += after
        else:
            return lon, lat, along, at
    return None


def _along(lon: F64, lat: F64) -> F64:
    x = np.diff(lon) * np.cos(np.radians(lat[:-1]))
    return np.concatenate(([0.0], np.cumsum(np.hypot(x, np.diff(lat)) * M_PER_DEGREE)))


class _Neighbours:
    """Which node of a road comes after another."""

    def __init__(self, extract: Extract) -> None:
        self._extract = extract
        self._next: dict[int, set[int]] = defaultdict(set)
        self.ways: dict[int, Way] = {}
        for way in extract.ways:
            if is_road(way.tags) and len(way.nodes) > 1:
                self.ways[way.id] = way
                for a, b in zip(way.nodes, way.nodes[1:], strict=False):
                    self._next[a].add(b)
                    self._next[b].add(a)

    def places(self, nodes: Sequence[int]) -> tuple[F64, F64]:
        rows = np.searchsorted(self._extract.node_ids, np.array(nodes, dtype=np.int64))
        return self._extract.lon[rows], self._extract.lat[rows]

    def onward(self, before: int, at: int, seen: set[int]) -> list[int]:
        """The next node, straightest on from `before` through `at`, in a list; empty at an end."""
        choices = sorted(self._next[at] - seen - {before})
        if not choices:
            return []
        lon, lat = self.places([before, at, *choices])
        x, y = (lon - lon[1]) * math.cos(math.radians(float(lat[1]))), lat - lat[1]
        size = np.hypot(x, y)
        straight = -(x[2:] * x[0] + y[2:] * y[0]) / np.where(size[2:] * size[0] > 0, size[2:] * size[0], 1.0)
        # Sharper than a right angle is a turn off the road.
        return [choices[int(np.argmax(straight))]] if straight.max() > 0 else []


@dataclass(frozen=True, slots=True)
class RoadProfiles:
    """Heights of the road under structures: `structure` (m,) their indices, `height` (m, s) in metres at
    `core.profile.STATIONS_M` from each.
    """

    structure: npt.NDArray[np.int32]
    height: F64


def road_profiles(structures: Sequence[Structure], extract: Extract, heights: Heights) -> RoadProfiles:
    """The profile of the road under every structure that stands above a road and whose ground is known.

    See `profile_under` for what `heights` must be.
    """
    roads = _Neighbours(extract)
    found: list[int] = []
    rows: list[F64] = []
    for index, structure in enumerate(structures):
        # A step more than is kept, so that rounding leaves the profile long enough.
        told = _profile(structure, roads, heights, PROFILE_REACH_M + 1, 1.0) if structure.upper else None
        if told is not None:
            profile, at = told
            found.append(index)
            rows.append(profile.at(at + STATIONS_M))
    height = np.array(rows, dtype=np.float64).reshape(-1, len(STATIONS_M))
    return RoadProfiles(np.array(found, dtype=np.int32), height)


def with_profile_warnings(structures: Sequence[Structure], profiles: RoadProfiles) -> tuple[Structure, ...]:
    """The structures, those over a dip or hump that costs a long coach height with a warning that says so.

    For those whose coach has no wheelbase told; what a coach of known measures loses is reckoned when it
    drives.
    """
    lost = lost_under(profiles.height, **_LONG_COACH)
    found = list(structures)
    for index, tenths in zip(profiles.structure.tolist(), lost.tolist(), strict=True):
        if tenths >= _WORTH_SAYING.tenths:
            bare = replace(structures[index], evidence=())
            warned = with_sag(bare, Length(tenths), wheelbase_m=_LONG_COACH["wheelbase_m"])
            found[index] = replace(structures[index], warnings=warned.warnings)
    return tuple(found)


# --- what tags tell -----------------------------------------------------------------------------------

_RAILS = frozenset({Kind.RAIL_BRIDGE, Kind.RAIL_TRESTLE})


def with_sag_warnings(structures: Sequence[Structure], extract: Extract) -> tuple[Structure, ...]:
    """The structures, railway bridges over a dip or a hump of the road with a warning.

    Tags that tell: ``hazard=ground_clearance`` (OSM wiki, Item:Q22968) on the road or a node of it, and
    ``incline`` (OSM wiki, Key:incline, from memory) that falls towards the bridge on one side and rises
    behind it, or the reverse. Without such tags nothing is said, and nothing is known.
    """
    rails = [s for s in structures if s.kind in _RAILS and s.spans]
    if not rails:
        return tuple(structures)
    ways = {way.id: way for way in extract.ways}
    ends: dict[int, list[Way]] = defaultdict(list)
    for way in extract.ways:
        if is_road(way.tags) and len(way.nodes) > 1:
            for node in {way.nodes[0], way.nodes[-1]}:
                ends[node].append(way)
    warned: dict[str, tuple[str, ...]] = {}
    for s in rails:
        road = ways.get(s.spans[0].way)
        if road is not None:
            texts = tuple(_told(road, ends, extract.node_tags))
            if texts:
                warned[s.key] = texts
    return tuple(
        replace(s, warnings=s.warnings + warned[s.key]) if s.key in warned else s for s in structures
    )


def _told(
    road: Way, ends: Mapping[int, Sequence[Way]], node_tags: Mapping[int, Mapping[str, str]]
) -> Iterator[str]:
    element = f"way/{road.id}"
    if any(
        tags.get("hazard") == "ground_clearance"
        for tags in (road.tags, *(node_tags.get(n, {}) for n in road.nodes))
    ):
        yield (
            f"{element}: low ground clearance is signed here (hazard=ground_clearance): on a hump or in a "
            "dip a long coach stands higher than on the level"
        )
    if _grade(road.tags) != 0:
        return
    before = _one(ends[road.nodes[0]], road)
    after = _one(ends[road.nodes[-1]], road)
    if before is None or after is None:
        return
    towards = _grade(before.tags) * (1 if before.nodes[-1] == road.nodes[0] else -1)
    onward = _grade(after.tags) * (1 if after.nodes[0] == road.nodes[-1] else -1)
    if towards < 0 < onward:
        yield f"{element}: the road falls towards the bridge and rises behind it; a long coach loses height"
    elif onward < 0 < towards:
        yield f"{element}: the road rises towards the bridge and falls behind it; overhangs lose height"


def _one(ways: Sequence[Way], but: Way) -> Way | None:
    others = [way for way in ways if way.id != but.id]
    named = [way for way in others if way.tags.get("name") and way.tags.get("name") == but.tags.get("name")]
    found = named or others
    return found[0] if len(found) == 1 else None


def _grade(tags: Mapping[str, str]) -> int:
    """1 where the way rises in its direction, -1 where it falls, 0 where nothing tells."""
    text = tags.get("incline", "").strip().lower()
    if text in ("up", "down"):
        return 1 if text == "up" else -1
    try:
        value = float(text.rstrip("%° ").replace(",", "."))
    except ValueError:
        return 0
    return (value > 0) - (value < 0)

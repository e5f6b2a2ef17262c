"""Where the road dips or humps beneath a structure: the headroom that a long coach loses to it.

Between its axles a coach is a stiff chord over the road, so in a dip its roof comes nearer to what is
above; in front of and behind its axles the same happens on a hump. In the United Kingdom headroom over a
dip is measured above a chord of 25 m (Traffic Signs Manual, chapter 4, 2013, paragraphs 7.1 and 7.10).

Heights and distances are in metres. Distances are taken along the level and the coach's height upright: on a
grade of 10 % a roof 4 m high reaches 2 cm higher than that.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from clearance.core.access import is_road
from clearance.core.errors import UsageError
from clearance.core.lengths import Length
from clearance.core.structure import Evidence, EvidenceClass, Kind, Structure
from clearance.structures.map_bridges import M_PER_DEGREE

if TYPE_CHECKING:
    import numpy.typing as npt

    from clearance.core.extract import Extract, Way

    F64 = npt.NDArray[np.float64]

__all__ = [
    "UK_CHORD_M",
    "Profile",
    "lost_headroom",
    "profile_under",
    "sag_of_circle",
    "sag_of_parabola",
    "with_profiles",
    "with_sag",
    "with_sag_warnings",
]

#: Headroom in the United Kingdom is measured above a chord of this length.
UK_CHORD_M = 25.0

#: Heights of the ground for places: (lon, lat) in WGS84 degrees, arrays (k,), to metres (k,), NaN for none.
Heights = Callable[["F64", "F64"], "F64"]


@dataclass(frozen=True, slots=True)
class Profile:
    """A road seen from the side: distances along it and heights, in metres, arrays (n,), at least two.

    Between its points the road is straight. Raises UsageError where the distances do not rise or a value
    is no number.
    """

    distance: F64
    height: F64

    def __post_init__(self) -> None:
        """Refuse what is no profile."""
        if len(self.distance) != len(self.height) or len(self.distance) < 2:
            raise UsageError("a profile needs two points or more, each with a distance and a height")
        if not (np.isfinite(self.distance).all() and np.isfinite(self.height).all()):
            raise UsageError("a profile needs numbers; a height of the ground is missing")
        if not (np.diff(self.distance) > 0).all():
            raise UsageError("the distances of a profile must rise from point to point")

    def at(self, distance: F64) -> F64:
        """Heights at these distances."""
        return np.interp(distance, self.distance, self.height)


def _rounded_up(metres: float) -> Length:
    # A millionth of a millimetre is noise of the arithmetic.
    return Length(max(math.ceil(round(metres * 10_000, 6)), 0))


def sag_of_circle(wheelbase_m: float, radius_m: float) -> Length:
    """Headroom lost midway between the axles in a dip of this radius: R - sqrt(R^2 - L^2 / 4).

    Rounded up to a tenth of a millimetre. Raises UsageError where the chord does not fit the circle.
    """
    if not 0 < wheelbase_m <= 2 * radius_m:
        raise UsageError(f"a wheelbase of {wheelbase_m:g} m does not fit in a dip of radius {radius_m:g} m")
    half = wheelbase_m / 2
    return _rounded_up(half * half / (radius_m + math.sqrt(radius_m * radius_m - half * half)))


def sag_of_parabola(wheelbase_m: float, grade_change: float, curve_m: float) -> Length:
    """Headroom lost anywhere in a parabolic dip: A L^2 / (8 C), for a change of grade A over a curve C.

    `grade_change` is a ratio (0.1 for a change by 10 %), `curve_m` the length of the curve. Holds while
    the coach stands on the curve. Rounded up to a tenth of a millimetre. Raises UsageError otherwise.
    """
    if not (0 < wheelbase_m <= curve_m and grade_change >= 0):
        raise UsageError(
            "the wheelbase must be above zero and fit on the curve, the change of grade not negative"
        )
    return _rounded_up(grade_change * wheelbase_m**2 / (8 * curve_m))


def lost_headroom(
    profile: Profile,
    at_m: float,
    *,
    wheelbase_m: float,
    front_m: float = 0.0,
    rear_m: float = 0.0,
    chord_m: float = 0.0,
) -> Length:
    """The most by which the roof of a coach is nearer to what is above at `at_m` than the road's height says.

    Over all places of the coach on the profile, in either direction of travel: exact for the profile as
    given. `front_m` and `rear_m` are what stands out beyond the axles. `chord_m` is the chord that the
    headroom there was measured above, so that only what goes beyond its own loss is lost again. Never
    negative; rounded up to a tenth of a millimetre.

    Raises UsageError where a measure cannot be meant or the profile does not reach a coach's length to
    either side.
    """
    if not (0 < wheelbase_m < 100 and 0 <= front_m < 30 and 0 <= rear_m < 30 and 0 <= chord_m < 100):
        raise UsageError("wheelbase, overhangs and chord must be lengths of a road vehicle, in metres")
    reach = max(wheelbase_m + max(front_m, rear_m), chord_m)
    first, last = float(profile.distance[0]), float(profile.distance[-1])
    if not first + reach <= at_m <= last - reach:
        raise UsageError(
            f"the profile, {first:g} to {last:g} m, does not reach {reach:g} m to either side of {at_m:g} m"
        )
    lost = max(
        _lost(profile, at_m, wheelbase_m, front_m, rear_m),
        _lost(profile, at_m, wheelbase_m, rear_m, front_m),
    )
    counted = _lost(profile, at_m, chord_m, 0.0, 0.0) if chord_m else 0.0
    return _rounded_up(lost - max(counted, 0.0))


def _lost(profile: Profile, at_m: float, base: float, front: float, rear: float) -> float:
    """The greatest height of the chord through the axles above the road at `at_m`.

    With the rear axle at a, that is z(a) + (z(a + L) - z(a)) (p - a) / L - z(p): between the points of
    the profile a parabola in a, greatest at an end of its stretch or at its vertex.
    """
    low, high = at_m - base - front, at_m + rear
    knots = np.concatenate([profile.distance, profile.distance - base, [low, high]])
    knots = np.unique(knots[(knots >= low) & (knots <= high)])
    a, b = knots[:-1], knots[1:]
    rise_a = (profile.at(b) - profile.at(a)) / (b - a)
    rise_b = (profile.at(b + base) - profile.at(a + base)) / (b - a)
    # h(a + t) = z + rise_a t + (d + (rise_b - rise_a) t) (p - a - t) / L, with d the rise of the chord.
    z, d = profile.at(a), profile.at(a + base) - profile.at(a)
    bend = (rise_b - rise_a) / base
    slope = rise_a + bend * (at_m - a) - d / base
    with np.errstate(divide="ignore", invalid="ignore"):
        vertex = np.where(bend > 0, slope / (2 * bend), 0.0)
    t = np.stack([np.zeros_like(a), np.clip(vertex, 0.0, b - a), b - a])
    above = z + rise_a * t + (d / base + bend * t) * (at_m - a - t)
    return float(above.max() - profile.at(np.array([at_m]))[0])


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


def with_sag(
    structure: Structure, lost: Length, *, wheelbase_m: float, source: str, date: str = ""
) -> Structure:
    """The structure with what is left of its lowest figure for a coach of this wheelbase.

    The figure may condemn and never clear; with nothing lost, or no figure to lose from, the structure
    gets a warning at most.
    """
    if lost <= Length(0):
        return structure
    text = (
        f"the road dips or humps here: a coach with a wheelbase of {wheelbase_m:g} m loses {lost} of height"
    )
    warnings = (*structure.warnings, text)
    lowest = structure.lowest()
    if lowest is None:
        return replace(structure, warnings=warnings)
    left = Evidence(
        evidence_class=EvidenceClass.MEASURED,
        figure=lowest - lost,
        key="vertical profile",
        raw=f"{lowest} less {lost}",
        can_clear=False,
        note=text,
        source=source,
        date=date,
    )
    return replace(structure, evidence=(*structure.evidence, left), warnings=warnings)


def with_profiles(
    structures: Sequence[Structure],
    extract: Extract,
    heights: Heights,
    *,
    wheelbase_m: float,
    front_m: float = 0.0,
    rear_m: float = 0.0,
    chord_m: float = 0.0,
    source: str,
    date: str = "",
) -> tuple[Structure, ...]:
    """The structures, each with what a coach of these measures loses of its headroom to the road's profile.

    Every structure above a road that `heights` knows the ground of; see `profile_under`, `lost_headroom`
    and `with_sag`. Raises UsageError for measures that cannot be meant.
    """
    roads = _Neighbours(extract)
    # A step more than lost_headroom asks for, so that rounding leaves the profile long enough.
    reach = max(wheelbase_m + max(front_m, rear_m), chord_m) + 2.0
    found = []
    for structure in structures:
        profile = _profile(structure, roads, heights, reach, 1.0) if structure.upper else None
        if profile is not None:
            lost = lost_headroom(
                *profile, wheelbase_m=wheelbase_m, front_m=front_m, rear_m=rear_m, chord_m=chord_m
            )
            found.append(with_sag(structure, lost, wheelbase_m=wheelbase_m, source=source, date=date))
        else:
            found.append(structure)
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

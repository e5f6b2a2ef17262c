"""Structures told by geometry: a road under a line that crosses it, with no node in common."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from clearance.core.heights import read_heights
from clearance.core.structure import Direction, Evidence, Kind, Span, Structure
from clearance.structures.kinds import is_slight, line_kind
from clearance.structures.levels import Order, is_bridge, is_tunnel, order_over_line
from clearance.structures.segments import cross, segments_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from clearance.core.extract import Extract, Way

__all__ = ["bridge_way_evidence", "line_crossings", "road_name"]

#: Two meetings of the same pair of ways closer than this are one structure (a bridge drawn with a
#: node over the road, a zigzag). In node intervals would be wrong, so in 1e-7 degrees: about 20 m.
_SAME_PLACE = 2_000
#: A tunnel up to this long may be one street under another. Judgement, no source.
_UNDERPASS_M = 75.0
#: Mean radius of the Earth (IUGG 1980, R1; from memory).
_EARTH_RADIUS_M = 6_371_008.8


@dataclass(frozen=True, slots=True)
class _Meeting:
    road: Way
    upper: Way
    position: float
    x: float
    y: float


def road_name(way: Way) -> str:
    """What people call the road: its name, else its number, else nothing."""
    return way.tags.get("name") or way.tags.get("ref") or ""


def bridge_way_evidence(upper: Way, date: str) -> tuple[tuple[Evidence, ...], tuple[str, ...]]:
    """What a height on the bridge way itself tells of the road below: it may condemn, never clear.

    Such a tag belongs on the road that passes under (wiki.openstreetmap.org/wiki/Key:maxheight);
    on the bridge it may mean either road, so it is counted for both.
    """
    told = read_heights(upper.tags, f"way/{upper.id}", date)
    note = "posted on the bridge way itself: it may mean the road on the bridge or the one under it"
    evidence = tuple(
        replace(e, can_clear=False, direction=Direction.BOTH, note="; ".join(filter(None, (e.note, note))))
        for e in told.evidence
    )
    warnings = told.warnings
    if evidence:
        warnings += (f"way/{upper.id}: height is {note}",)
    return evidence, warnings


def line_crossings(extract: Extract, roads: Sequence[Way]) -> list[Structure]:
    """Every place where a road runs, or may run, under another way that shares no node with it there.

    `roads` are the ways of the extract that are roads. The upper thing is a road, railway, footbridge,
    aqueduct, pipeline, conveyor or gantry. Which is above is decided by layer, bridge and tunnel; where
    they do not tell, each road of the pair gets a structure of unknown order. The height is what the road
    below carries; a height on the bridge way is added with a warning.
    """
    of_roads = {way.id for way in roads}
    of_lines = {way.id for way in extract.ways if len(way.nodes) > 1 and line_kind(way.tags) is not None}
    ways = [way for way in extract.ways if way.id in of_roads or way.id in of_lines]
    is_road = np.fromiter((way.id in of_roads for way in ways), dtype=np.bool_, count=len(ways))
    segments = segments_of(extract, ways)
    found = cross(segments, is_road[segments.way])

    meetings: list[_Meeting] = []
    for i, j, t, u in zip(
        found.first.tolist(), found.second.tolist(), found.t.tolist(), found.u.tolist(), strict=True
    ):
        x, y = (
            _between(int(segments.ax[i]), int(segments.bx[i]), t),
            _between(int(segments.ay[i]), int(segments.by[i]), t),
        )
        for lower, upper, fraction in ((i, j, t), (j, i, u)):
            a, b = int(segments.way[lower]), int(segments.way[upper])
            if is_road[a] and ways[b].id in of_lines:
                meetings.append(_Meeting(ways[a], ways[b], int(segments.position[lower]) + fraction, x, y))
    return _structures(extract, meetings)


def _between(a: int, b: int, share: float) -> float:
    return a + share * (b - a)


def _structures(extract: Extract, meetings: list[_Meeting]) -> list[Structure]:
    structures: list[Structure] = []
    last: dict[tuple[int, int], list[_Meeting]] = {}
    for meeting in sorted(meetings, key=lambda m: (m.road.id, m.upper.id, m.position)):
        order = order_over_line(meeting.road.tags, meeting.upper.tags)
        if order is Order.BELOW or _ground_over_tunnel(extract, meeting):
            continue
        before = last.setdefault((meeting.road.id, meeting.upper.id), [])
        if any(max(abs(m.x - meeting.x), abs(m.y - meeting.y)) < _SAME_PLACE for m in before):
            continue
        before.append(meeting)
        structures.append(_structure(extract, meeting, order, len(before)))
    return structures


def _ground_over_tunnel(extract: Extract, meeting: _Meeting) -> bool:
    """Whether the road is in a tunnel and the upper way lies on the ground over it.

    The tunnel is then what limits the road, not each street above. A bridge, a railway, or a street over a
    tunnel no longer than an underpass counts on its own: a short tunnel is how many draw a road under them.
    """
    upper = meeting.upper.tags
    if not is_tunnel(meeting.road.tags) or is_bridge(upper) or "railway" in upper:
        return False
    return line_kind(upper) is Kind.FOOTBRIDGE or _length_m(extract, meeting.road) > _UNDERPASS_M


def _length_m(extract: Extract, way: Way) -> float:
    """Metres along a way, on a sphere: good enough to tell an underpass from a tunnel."""
    at = np.searchsorted(extract.node_ids, np.array(way.nodes))
    lon, lat = np.radians(extract.lon[at]), np.radians(extract.lat[at])
    east = np.diff(lon) * np.cos((lat[:-1] + lat[1:]) / 2)
    return float(np.hypot(east, np.diff(lat)).sum() * _EARTH_RADIUS_M)


def _structure(extract: Extract, meeting: _Meeting, order: Order, number: int) -> Structure:
    road, upper = meeting.road, meeting.upper
    date = extract.info.data_date
    lower_id, upper_id = f"way/{road.id}", f"way/{upper.id}"
    told = read_heights(road.tags, lower_id, date)
    above, above_warnings = bridge_way_evidence(upper, date)
    warnings = told.warnings + above_warnings
    kind = line_kind(upper.tags)
    untold = order is Order.UNTOLD
    if kind is None or untold:
        kind = Kind.UNKNOWN_CROSSING
    if untold:
        warnings += (
            f"{lower_id} and {upper_id} cross without a shared node and neither layer, bridge nor "
            "tunnel tells which is above",
        )
    span = Span(
        way=road.id,
        start=meeting.position,
        end=meeting.position,
        whole_way=bool(told.evidence or told.warnings),
    )
    return Structure(
        key=f"{lower_id}:{upper_id}:{number}",
        kind=kind,
        lon=round(meeting.x / 1e7, 7),
        lat=round(meeting.y / 1e7, 7),
        name=upper.tags.get("bridge:name") or road_name(upper),
        road=road_name(road),
        evidence=told.evidence + above,
        spans=(span,),
        upper=upper_id,
        ambiguous_order=untold,
        slight=untold and is_slight(upper.tags),
        tags={lower_id: dict(road.tags), upper_id: dict(upper.tags)},
        warnings=warnings,
    )

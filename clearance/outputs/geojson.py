"""Drives and structures as GeoJSON (RFC 7946), with simplestyle 1.1 properties for viewers that read them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise
from typing import Any

from clearance.core.coach import Coach
from clearance.core.drive import Drive, Finding, Piece, Stop, TurnOff
from clearance.core.extract import ExtractInfo
from clearance.core.facility import Facility
from clearance.core.lengths import Length
from clearance.core.places import Place
from clearance.core.standing import standing
from clearance.core.structure import Direction, Standing, Structure
from clearance.outputs.elements import elements_of
from clearance.outputs.marks import (
    CAR_LINE,
    DRIVE_LINE,
    FACILITY_MARK,
    FULL_TANK_MARK,
    MARKS,
    PLACE_MARK,
    TURN_OFF_MARK,
    UNCHECKED_LINE,
)
from clearance.outputs.measures import Units, clearance_text, coach_text, distance_text, duration_text
from clearance.outputs.times import moment_at, stop_text
from clearance.outputs.wording import (
    CAUTIONS,
    advice,
    area_text,
    clearance_or_none,
    coach_line,
    evidence_lines,
    facility_text,
    facility_title,
    finding_title,
    headroom_text,
    in_out_text,
    kind_text,
    obstacle_text,
    off_road_text,
    place_text,
    plain,
    standing_text,
    structure_text,
    turn_off_text,
    unchecked_text,
    verdict_sentence,
    verdict_word,
)

__all__ = ["collection_of", "drive_geojson", "feature_of", "line_of", "point_of", "structures_geojson"]

#: RFC 7946 section 11.2 advises against needless digits; OpenStreetMap keeps seven.
_DIGITS = 7

Feature = dict[str, Any]
Point = tuple[float, float]


def drive_geojson(drive: Drive, units: Units = Units.FEET) -> dict[str, Any]:
    """A drive as one FeatureCollection.

    The property `role` of a feature is ``drive`` (the whole line), ``piece`` (a stretch on one road),
    ``start``, ``stop``, ``end``, ``facility`` (along the way), ``finding``, ``turn-off``, ``in the way``
    (what blocks), ``unchecked`` (a part that no road was found for), ``car drive`` or ``on the car drive``
    (what the coach avoids there).
    Numbers are metres (`..._m`), seconds (`..._s`) and exact decimals for heights; texts follow `units`.
    `arrives` and `leaves` of a place are local times (ISO 8601), null where no departure is set.
    Verdict, coach, cautions, data date and attribution are members of the collection itself
    (foreign members, RFC 7946 section 6.1).
    """
    features = _drive_lines(drive, units)
    features += _places(drive, units)
    features += [_facility(n, f, drive.coach, units) for n, f in enumerate(drive.along, 1)]
    for role, found in (("finding", drive.findings), ("in the way", drive.in_the_way)):
        features += [_finding(role, f, drive.coach, units) for f in found]
    features += [_turn_off(f, f.turn_off, units) for f in drive.findings if f.turn_off is not None]
    if drive.car is not None:
        features += [_finding("on the car drive", f, drive.coach, units) for f in drive.car.differences]
    return collection_of(
        features,
        drive.info,
        {
            "verdict": drive.verdict.value,
            "verdict_text": f"{verdict_word(drive.verdict)}. {verdict_sentence(drive, units)}",
            "coach": coach_line(drive.coach, units),
            "coach_height_m": _metres(drive.coach.height),
            "coach_need_m": _metres(drive.coach.need),
            "distance_m": round(drive.distance_m, 1),
            "duration_s": round(drive.duration_s, 1),
            "ceiling_m": _metres(drive.ceiling),
            "gets_through_m": _metres(drive.gets_through),
            "departure": drive.departure.isoformat() if drive.departure else None,
            "other_limits": [obstacle_text(o) for o in drive.obstacles],
            "known_of_the_area": area_text(drive.area),
            "notes": [plain(n) for n in drive.notes],
        },
    )


def structures_geojson(
    structures: Sequence[Structure], info: ExtractInfo, units: Units = Units.FEET, coach: Coach | None = None
) -> dict[str, Any]:
    """The structures of an area as a FeatureCollection of points.

    With a coach each has its standing, for the worse direction. Without structures the collection is
    empty and has no bounding box.
    """
    return collection_of([_structure(s, units, coach) for s in structures], info, {})


def collection_of(features: list[Feature], info: ExtractInfo, members: Mapping[str, Any]) -> dict[str, Any]:
    """A FeatureCollection with its box, `members` of its own, cautions, and where the map data came from."""
    collection: dict[str, Any] = {"type": "FeatureCollection"}
    if box := _bbox(p for f in features for p in _positions(f["geometry"])):
        collection["bbox"] = box
    return collection | {
        "features": features,
        **members,
        "cautions": list(CAUTIONS),
        "source": plain(info.source),
        "data_date": info.data_date,
        "attribution": info.attribution,
        "data_warnings": [plain(w) for w in info.warnings],
    }


def feature_of(ref: str, geometry: Mapping[str, Any], properties: Mapping[str, Any]) -> Feature:
    """A feature with an id that is unique in its collection."""
    return {"type": "Feature", "id": ref, "geometry": geometry, "properties": properties}


def _metres(length: Length | None) -> float | None:
    return None if length is None else float(length.metres)


# ------------------------------------------------------------------------------------------- features


def _drive_lines(drive: Drive, units: Units) -> list[Feature]:
    features = []
    line = _joined(p.points for p in drive.pieces)
    if line:
        properties = {
            "role": "drive",
            "title": " to ".join(place_text(p) for p in drive.places),
            "description": f"{verdict_word(drive.verdict)}. {verdict_sentence(drive, units)}",
            "verdict": drive.verdict.value,
            "distance": distance_text(drive.distance_m, units),
            "time": duration_text(drive.duration_s),
            "distance_m": round(drive.distance_m, 1),
            "duration_s": round(drive.duration_s, 1),
            "lowest_clearance": "" if drive.ceiling is None else clearance_text(drive.ceiling, units),
            "lowest_clearance_m": _metres(drive.ceiling),
        }
        features.append(feature_of("drive", line_of(line), properties | DRIVE_LINE.properties()))
    features += [
        _piece(n, piece, drive.findings, units) for n, piece in enumerate(drive.pieces, 1) if piece.points
    ]
    for n, part in enumerate(drive.unchecked, 1):
        if part.points:
            properties = {
                "role": "unchecked",
                "title": unchecked_text(part, units),
                "length_m": round(part.length_m, 1),
                "distance_m": round(part.distance_m, 1),
            }
            features.append(
                feature_of(f"unchecked/{n}", line_of(part.points), properties | UNCHECKED_LINE.properties())
            )
    if drive.car is not None and drive.car.points:
        properties = {
            "role": "car drive",
            "title": "What a car would drive; the coach may not follow it",
            "distance": distance_text(drive.car.distance_m, units),
            "time": duration_text(drive.car.duration_s),
            "distance_m": round(drive.car.distance_m, 1),
            "duration_s": round(drive.car.duration_s, 1),
        }
        features.append(
            feature_of("car drive", line_of(drive.car.points), properties | CAR_LINE.properties())
        )
    return features


def _piece(number: int, piece: Piece, findings: Iterable[Finding], units: Units) -> Feature:
    end = piece.distance_m + piece.length_m
    there = [f for f in findings if piece.distance_m <= f.distance_m <= end]
    worst = _worst(f.standing for f in there)
    properties = {
        "role": "piece",
        "title": plain(piece.road) or "unnamed road",
        "standing": worst.value if worst else "",
        "findings": ", ".join(str(f.number) for f in there),
        "highway": piece.highway,
        "length": distance_text(piece.length_m, units),
        "length_m": round(piece.length_m, 1),
        "duration_s": round(piece.duration_s, 1),
        "distance_m": round(piece.distance_m, 1),
        "after_s": round(piece.seconds, 1),
        "ways": " ".join(map(str, piece.ways)),
    }
    look = MARKS[worst][1] if worst else DRIVE_LINE
    return feature_of(f"piece/{number}", line_of(piece.points), properties | look.properties())


def _worst(standings: Iterable[Standing]) -> Standing | None:
    """The gravest of the standings; None where there is none: nothing found is not the same as clear."""
    return min(standings, key=list(MARKS).index, default=None)


def _places(drive: Drive, units: Units) -> list[Feature]:
    known: Sequence[tuple[Place, Stop | None]] = (
        [(stop.place, stop) for stop in drive.stops]
        if drive.stops
        else [(place, None) for place in drive.places]
    )
    features = []
    for n, (place, stop) in enumerate(known):
        role = "start" if n == 0 else "end" if n == len(known) - 1 else "stop"
        properties: dict[str, Any] = {
            "role": role,
            "title": f"{role.capitalize()}: {place_text(place)}",
            "kind": place.kind,
            "element": place.osm,
        }
        if stop is not None:
            properties |= {
                "distance": distance_text(stop.distance_m, units),
                "distance_m": round(stop.distance_m, 1),
                "arrives_s": round(stop.arrives_s, 1),
                "leaves_s": round(stop.leaves_s, 1),
                "arrives": _moment(drive, stop.arrives_s),
                "leaves": _moment(drive, stop.leaves_s),
                "off_road_m": round(stop.off_road_m, 1),
            }
            told = [stop_text(drive, stop, units)]
            if stop.in_out is not None:
                told.append(in_out_text(stop.in_out, units))
                properties |= {"in_and_out": stop.in_out.answer.value, "serious": stop.in_out.serious}
            told.append(off_road_text(stop, units))
            properties["description"] = " ".join(text for text in told if text)
        features.append(
            feature_of(f"{role}/{n}", point_of(place.lon, place.lat), properties | PLACE_MARK.properties())
        )
    return features


def _facility(number: int, facility: Facility, coach: Coach, units: Units) -> Feature:
    canopy = facility.canopy
    properties = {
        "role": "facility",
        "title": facility_title(facility),
        "description": facility_text(facility, coach, units),
        "kind": facility.kind.value,
        "name": plain(facility.place.name),
        "element": facility.place.osm,
        "full_tank": facility.full_tank,
        "distance": distance_text(facility.distance_m, units),
        "distance_m": round(facility.distance_m, 1),
        "detour": duration_text(facility.detour_s),
        "detour_s": round(facility.detour_s, 1),
        "in_and_out": facility.in_out.answer.value,
        "serious": facility.in_out.serious,
        "canopy": "" if canopy is None else clearance_text(canopy, units),
        "canopy_m": _metres(canopy),
        "facts": "\n".join(plain(note) for note in facility.notes),
    }
    mark = FULL_TANK_MARK if facility.full_tank else FACILITY_MARK
    at = point_of(facility.place.lon, facility.place.lat)
    return feature_of(f"facility/{number}", at, properties | mark.properties())


def _moment(drive: Drive, seconds: float) -> str | None:
    """Local time as ISO 8601 without a zone; None where no departure is set."""
    moment = moment_at(drive, seconds)
    return None if moment is None else moment.isoformat()


def _finding(role: str, finding: Finding, coach: Coach, units: Units) -> Feature:
    properties = {
        "role": role,
        "title": finding_title(finding, units),
        "description": advice(finding, coach, units),
        "number": finding.number,
        "standing": finding.standing.value,
        "label": standing_text(finding.standing),
        "kind": kind_text(finding.structure.kind),
        "name": plain(finding.structure.name),
        "road": plain(finding.road or finding.structure.road),
        "clearance": clearance_or_none(finding, units),
        "clearance_m": _metres(finding.clearance),
        "headroom": headroom_text(finding, units),
        "headroom_m": _metres(finding.headroom),
        "needs": coach_text(coach.need, units),
        "distance": distance_text(finding.distance_m, units),
        "distance_m": round(finding.distance_m, 1),
        "time": duration_text(finding.seconds),
        "after_s": round(finding.seconds, 1),
        "direction": finding.direction.value,
        **_knowledge(finding.structure, units),
    }
    return feature_of(
        f"{role}/{finding.number}",
        point_of(finding.lon, finding.lat),
        properties | MARKS[finding.standing][0].properties(),
    )


def _turn_off(finding: Finding, turn: TurnOff, units: Units) -> Feature:
    properties = {
        "role": "turn-off",
        "title": f"Last turn-off before {finding.number}",
        "description": turn_off_text(finding, units),
        "finding": finding.number,
        "road": plain(turn.road),
        "onto": plain(turn.onto),
        "distance_m": round(turn.distance_m, 1),
        "before": distance_text(turn.before_m, units),
        "before_m": round(turn.before_m, 1),
        "extra": duration_text(turn.extra_s),
        "extra_s": round(turn.extra_s, 1),
        "leads_on": turn.leads_on,
    }
    return feature_of(
        f"turn-off/{finding.number}", point_of(turn.lon, turn.lat), properties | TURN_OFF_MARK.properties()
    )


def _structure(structure: Structure, units: Units, coach: Coach | None) -> Feature:
    lowest = structure.lowest()
    forward, backward = (structure.lowest(d) for d in (Direction.FORWARD, Direction.BACKWARD))
    height = "no height" if lowest is None else clearance_text(lowest, units)
    properties: dict[str, Any] = {
        "role": "structure",
        "title": f"{structure_text(structure)}, {height}",
        "kind": kind_text(structure.kind),
        "name": plain(structure.name),
        "road": plain(structure.road),
        "clearance": height,
        "clearance_m": _metres(lowest),
        "clearance_forward_m": _metres(forward),
        "clearance_backward_m": _metres(backward),
        "verified": structure.verified(),
        **_knowledge(structure, units),
    }
    if coach is not None:
        stands = standing(structure, Direction.BOTH, coach)
        properties |= {"standing": stands.value, "label": standing_text(stands)}
    else:
        stands = Standing.CLEAR if structure.verified() else Standing.UNVERIFIED
    mark = MARKS[stands][0].properties()
    return feature_of(structure.key, point_of(structure.lon, structure.lat), properties | mark)


def _knowledge(structure: Structure, units: Units) -> dict[str, Any]:
    """What is known of a structure and by which elements, the same in every feature about one."""
    elements = elements_of(structure)
    return {
        "evidence": "\n".join(evidence_lines(structure, units)),
        "order_not_told": structure.ambiguous_order,
        "upper": structure.upper,
        "ways": " ".join(map(str, elements.ways)),
        "nodes": " ".join(map(str, elements.nodes)),
        "relations": " ".join(map(str, elements.relations)),
    }


# ------------------------------------------------------------------------------------------- geometry


def _round(value: float) -> float:
    return round(value, _DIGITS) + 0.0  # + 0.0 turns -0.0 into 0.0


def point_of(lon: float, lat: float) -> dict[str, Any]:
    """A Point, seven decimals."""
    return {"type": "Point", "coordinates": [_round(lon), _round(lat)]}


def _joined(lines: Iterable[Sequence[Point]]) -> list[Point]:
    """One line out of pieces; the point that two pieces share stands there once."""
    points: list[Point] = []
    for line in lines:
        points += line[1:] if points and line and points[-1] == line[0] else line
    return points


def line_of(points: Sequence[Point]) -> dict[str, Any]:
    """A LineString, or a MultiLineString cut where it crosses 180 degrees (RFC 7946 section 3.1.9).

    A single point becomes a line of no length: a LineString has at least two positions (section 3.1.4).
    """
    parts: list[list[Point]] = [[points[0]]]
    for (lon, lat), (next_lon, next_lat) in pairwise(points):
        if abs(next_lon - lon) > 180:
            edge = 180.0 if lon > 0 else -180.0
            beyond = next_lon + 2 * edge
            share = (edge - lon) / (beyond - lon) if beyond != lon else 0.0
            crossing = lat + share * (next_lat - lat)
            parts[-1].append((edge, crossing))
            parts.append([(-edge, crossing)])
        parts[-1].append((next_lon, next_lat))
    drawn = [[[_round(lon), _round(lat)] for lon, lat in part] for part in parts]
    drawn = [part if len(part) > 1 else part * 2 for part in drawn]
    if len(drawn) == 1:
        return {"type": "LineString", "coordinates": drawn[0]}
    return {"type": "MultiLineString", "coordinates": drawn}


def _positions(geometry: Mapping[str, Any]) -> list[list[float]]:
    coordinates = geometry["coordinates"]
    if geometry["type"] == "Point":
        return [coordinates]
    if geometry["type"] == "LineString":
        return list(coordinates)
    return [position for part in coordinates for position in part]


def _bbox(positions: Iterable[Sequence[float]]) -> list[float]:
    """[west, south, east, north]; west > east where the box spans 180 degrees (RFC 7946 section 5.2).

    The box leaves out the widest stretch of longitude that holds nothing. Empty without positions.
    """
    points = list(positions)
    if not points:
        return []
    lons = sorted({p[0] for p in points})
    lats = [p[1] for p in points]
    west, east = lons[0], lons[-1]
    gap, before, after = max(
        ((b - a, a, b) for a, b in pairwise(lons)), default=(0.0, east, west), key=lambda g: g[0]
    )
    if gap > 360 - (east - west):
        west, east = after, before
    return [west, min(lats), east, max(lats)]

"""A drive as plain JSON values for other programs: every fact, exact, under stable names."""

from __future__ import annotations

from typing import Any

from clearance.core.drive import Drive, Finding, Piece, Stop, TurnOff
from clearance.core.facility import Facility
from clearance.core.lengths import Length
from clearance.outputs.json_values import (
    clearance_value,
    coach_value,
    data_value,
    in_out_value,
    length_value,
    place_value,
    structure_value,
)
from clearance.outputs.measures import Units
from clearance.outputs.times import moment_at
from clearance.outputs.wording import (
    CAUTIONS,
    advice,
    area_text,
    facility_text,
    facility_title,
    off_road_text,
    verdict_sentence,
)

__all__ = ["FORMAT", "FORMAT_VERSION", "drive_json"]

FORMAT = "clearance drive"
#: Raised when a key goes or changes its meaning; new keys may come without.
FORMAT_VERSION = 1


def drive_json(drive: Drive, units: Units = Units.FEET) -> dict[str, Any]:
    """A drive as values that json.dumps takes as they are.

    Top level:

    - `format`, `format_version`
    - `verdict` (``clear``, ``care``, ``blocked``), `verdict_text`
    - `places`: [place]; place is `name`, `kind`, `osm`, `lon`, `lat`
    - `coach`: `name`, `height`, `margin`, `need`, `comfort`, `width`, `length`, `wheelbase` (lengths),
      `weight_kg`, `towing`, `tow_reversible`, `propane`
    - `unverified`: the policy, ``avoid``, ``accept`` or ``refuse``; `policy_seconds`: what it added when ways
      were compared, no driving time
    - `distance_m`, `duration_s`, `ceiling` (length), `departure` (ISO 8601 or null)
    - `pieces`: [`road`, `highway`, `points`, `length_m`, `duration_s`, `distance_m`, `seconds`, `ways`,
      `roundabout`, `exit`]; `exit` counts from 1 where the drive leaves a roundabout, 0 where not told
    - `findings`: [finding]
    - `car`: null or `distance_m`, `duration_s`, `points`, `differences`: [finding]
    - `in_the_way`: [finding], `gets_through` (length)
    - `obstacles`: [`kind`, `element`, `raw`, `road`, `lon`, `lat`]
    - `stops`: [`place`, `lon`, `lat`, `off_road_m`, `distance_m`, `arrives_s`, `leaves_s`, `arrives`,
      `leaves`, `off_road_text`, `in_out`]; times in seconds are from the start, `arrives` and `leaves` local
      times (ISO 8601) or null; `off_road_text` is empty where the place lies beside the road
    - `along`: [`kind` (``fuel``, ``dump``, ``camp``, ``water``, ``propane``), `place`, `lon`, `lat` (where
      the coach meets its road), `distance_m`, `detour_s`, `in_out`, `canopy` (length), `notes`,
      `full_tank`, `text`], in the order of the drive
    - `unchecked`: [`points`, `length_m`, `distance_m`, `reason`]
    - `area`: null or `crossings`, bridges and tunnels over the roads of the whole area, `known`, how many of
      them have a height to rely on, and `text`, a sentence of it
    - `notes`, `cautions`: [text]
    - `data`: `source`, `data_date`, `read_date`, `attribution`, `warnings`

    A finding is `number`, `standing` (``too low``, ``unverified``, ``tight``, ``clear``), `direction` along
    the way, `distance_m`, `seconds`, `lon`, `lat`, `road`, `clearance`, `headroom` (lengths), `advice`,
    `turn_off` (null or `lon`, `lat`, `road`, `onto`, `distance_m`, `before_m`, `extra_s`,
    `leads_on`) and `structure`:
    `key`, `kind`, `name`, `road`, `lon`, `lat`, `upper`, `order_not_told`, `ways`, `nodes`, `relations`,
    `warnings` and `evidence`: [`class`, `figure` (length), `direction`, `element`, `key`, `raw`,
    `condition`, `can_clear`, `note`, `source`, `date`, `implied` (length: what a country's rule promises of a
    structure without a sign, never a figure)].

    `in_out` of a stop is null or `answer`, `reason`, `serious`, `dead_end_m` and `turn` (null or `kind`,
    `lon`, `lat`, `metres` from the stop).

    A length is null or `metres` (exact, four decimals), `tenths_of_mm` (the same, whole) and `feet` (text:
    clearances and headroom rounded down, measures and needs of the coach up). Other numbers are
    metres, seconds, and WGS84 degrees; `points` are [lon, lat]. Texts of the map stand as they are
    mapped; `verdict_text` and `advice` are for reading and follow `units`.
    """
    coach = drive.coach
    return {
        "format": FORMAT,
        "format_version": FORMAT_VERSION,
        "verdict": drive.verdict.value,
        "verdict_text": verdict_sentence(drive, units),
        "places": [place_value(p) for p in drive.places],
        "coach": coach_value(coach),
        "unverified": drive.unverified.value,
        "policy_seconds": drive.policy_seconds,
        "distance_m": drive.distance_m,
        "duration_s": drive.duration_s,
        "ceiling": clearance_value(drive.ceiling),
        "departure": drive.departure.isoformat() if drive.departure else None,
        "pieces": [_piece(p) for p in drive.pieces],
        "findings": [_finding(f, drive, units) for f in drive.findings],
        "car": None
        if drive.car is None
        else {
            "distance_m": drive.car.distance_m,
            "duration_s": drive.car.duration_s,
            "points": _points(drive.car.points),
            "differences": [_finding(f, drive, units) for f in drive.car.differences],
        },
        "in_the_way": [_finding(f, drive, units) for f in drive.in_the_way],
        "gets_through": clearance_value(drive.gets_through),
        "obstacles": [
            {
                "kind": o.kind,
                "element": o.element,
                "raw": o.raw,
                "road": o.road,
                "lon": o.lon,
                "lat": o.lat,
            }
            for o in drive.obstacles
        ],
        "stops": [_stop(s, drive, units) for s in drive.stops],
        "along": [_facility(f, drive, units) for f in drive.along],
        "unchecked": [
            {
                "points": _points(u.points),
                "length_m": u.length_m,
                "distance_m": u.distance_m,
                "reason": u.reason,
            }
            for u in drive.unchecked
        ],
        "area": None
        if drive.area is None
        else {
            "crossings": drive.area.crossings,
            "known": drive.area.known,
            "text": area_text(drive.area),
        },
        "notes": list(drive.notes),
        "cautions": list(CAUTIONS),
        "data": data_value(drive.info),
    }


def _points(points: tuple[tuple[float, float], ...]) -> list[list[float]]:
    return [[lon, lat] for lon, lat in points]


def _piece(piece: Piece) -> dict[str, Any]:
    return {
        "road": piece.road,
        "highway": piece.highway,
        "points": _points(piece.points),
        "length_m": piece.length_m,
        "duration_s": piece.duration_s,
        "distance_m": piece.distance_m,
        "seconds": piece.seconds,
        "ways": list(piece.ways),
        "roundabout": piece.roundabout,
        "exit": piece.exit,
    }


def _finding(finding: Finding, drive: Drive, units: Units) -> dict[str, Any]:
    return {
        "number": finding.number,
        "standing": finding.standing.value,
        "direction": finding.direction.value,
        "distance_m": finding.distance_m,
        "seconds": finding.seconds,
        "lon": finding.lon,
        "lat": finding.lat,
        "road": finding.road,
        "clearance": clearance_value(finding.clearance),
        "headroom": _headroom(finding.headroom),
        "advice": advice(finding, drive.coach, units),
        "turn_off": _turn_off(finding.turn_off),
        "structure": structure_value(finding.structure),
    }


def _headroom(length: Length | None) -> dict[str, Any] | None:
    """A length that may be negative; its feet text then bears the sign before the whole: ``-0'6"``."""
    if length is None:
        return None
    feet, inches = length.floor_inches()
    whole = feet * 12 + inches
    sign = "-" if whole < 0 else ""
    return length_value(length, f"{sign}{abs(whole) // 12}'{abs(whole) % 12}\"")


def _turn_off(turn: TurnOff | None) -> dict[str, Any] | None:
    if turn is None:
        return None
    return {
        "lon": turn.lon,
        "lat": turn.lat,
        "road": turn.road,
        "onto": turn.onto,
        "distance_m": turn.distance_m,
        "before_m": turn.before_m,
        "extra_s": turn.extra_s,
        "leads_on": turn.leads_on,
    }


def _stop(stop: Stop, drive: Drive, units: Units) -> dict[str, Any]:
    arrives, leaves = (moment_at(drive, s) for s in (stop.arrives_s, stop.leaves_s))
    return {
        "place": place_value(stop.place),
        "lon": stop.lon,
        "lat": stop.lat,
        "off_road_m": stop.off_road_m,
        "distance_m": stop.distance_m,
        "arrives_s": stop.arrives_s,
        "leaves_s": stop.leaves_s,
        "arrives": None if arrives is None else arrives.isoformat(),
        "leaves": None if leaves is None else leaves.isoformat(),
        "off_road_text": off_road_text(stop, units),
        "in_out": in_out_value(stop.in_out),
    }


def _facility(facility: Facility, drive: Drive, units: Units) -> dict[str, Any]:
    return {
        "kind": facility.kind.value,
        "place": place_value(facility.place),
        "lon": facility.lon,
        "lat": facility.lat,
        "distance_m": facility.distance_m,
        "detour_s": facility.detour_s,
        "in_out": in_out_value(facility.in_out),
        "canopy": clearance_value(facility.canopy),
        "notes": list(facility.notes),
        "full_tank": facility.full_tank,
        "text": f"{facility_title(facility)}, {facility_text(facility, drive.coach, units)}",
    }

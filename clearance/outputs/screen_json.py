"""A screening as plain JSON values for other programs, and for a later screening to be compared with."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from clearance.core.screening import Admitted, Flag, Row, Screening, Trip, totals
from clearance.core.structure import Direction, Structure
from clearance.outputs.json_values import (
    clearance_value,
    coach_value,
    data_value,
    in_out_value,
    place_value,
)
from clearance.outputs.measures import Units
from clearance.outputs.screen_changes import changes_json
from clearance.outputs.screen_words import by_key, coach_names, reason_parts, verdict_of_row
from clearance.outputs.wording import CAUTIONS, evidence_lines, structure_text

__all__ = ["FORMAT", "FORMAT_VERSION", "screen_json"]

FORMAT = "clearance screening"
#: Raised when a key goes or changes its meaning; new keys may come without.
FORMAT_VERSION = 1


def screen_json(screening: Screening, units: Units = Units.FEET) -> dict[str, Any]:
    """A screening as values that json.dumps takes as they are.

    Top level:

    - `format`, `format_version`
    - `home`: place; place is `name`, `kind`, `osm`, `lon`, `lat`
    - `unverified`: the policy, ``avoid``, ``accept`` or ``refuse``
    - `coaches`: [`label` and the measures of a coach as in the document of a drive]; rows tell theirs by its
      index
    - `totals`: [`coach`, `clear`, `care`, `blocked`, `problems`, `distance_m`, `duration_s`, `extra_s`,
      `unverified`, `not_through`]
    - `rows`: [`number`, `place`, `where`, `coach`, `verdict`, `verdict_text`, `why`, `distance_m`,
      `duration_s`, `extra_s`, `ceiling`, `ceiling_key`, `there`, `back`, `unverified`, `tight` (keys),
      `in_out`, `blocked` (null, ``there`` or ``back``), `in_the_way`: [flag], `gets_through`, `obstacles`,
      `off_road_m`, `tallest`, `tallest_verified`, `notes`]
    - `problems`: [`where`, `name`, `text`, `coach` (null: all)]
    - `structures`: [`key`, `kind`, `text`, `name`, `road`, `lon`, `lat`, `forward`, `backward`, `evidence`
      (texts), `passed_by`: numbers of the destinations that pass it unverified]; `forward` and `backward`
      along the mapped way are `clearance` (length) and `verified`
    - `changes`: null, or what changed since an earlier screening, see `outputs.screen_changes.changes_json`
    - `notes`, `cautions`: [text]
    - `data`: `source`, `data_date`, `read_date`, `attribution`, `warnings`

    A trip (`there`, `back`) is null or `distance_m`, `duration_s`, `car_distance_m`, `car_duration_s`,
    `extra_s`, `ceiling`, `ceiling_key`, `passed` and `avoided` (on a car's way, closed to the coach): [flag];
    a flag is `key`, `standing`, `clearance`. `tallest` (unverified structures passable) and
    `tallest_verified` (closed) are `way` and `clearance`, null where no known figure limits it. Lengths,
    metres, seconds and degrees are as in the document of a drive.
    """
    known, names = by_key(screening), coach_names(screening)
    passed: dict[str, list[int]] = {}
    for row in screening.rows:
        for key in row.unverified:
            passed.setdefault(key, []).append(row.number)
    return {
        "format": FORMAT,
        "format_version": FORMAT_VERSION,
        "home": place_value(screening.home),
        "unverified": screening.unverified.value,
        "coaches": [
            {"label": name} | coach_value(coach) for name, coach in zip(names, screening.coaches, strict=True)
        ],
        "totals": [asdict(sums) for sums in totals(screening)],
        "rows": [_row(row) | {"why": " ".join(reason_parts(row, known, units))} for row in screening.rows],
        "problems": [
            {"where": p.where, "name": p.name, "text": p.text, "coach": p.coach} for p in screening.problems
        ],
        "structures": [
            _structure(s) | {"passed_by": sorted(set(passed.get(s.key, [])))} for s in screening.structures
        ],
        "changes": changes_json(screening.changes, known, units),
        "notes": list(screening.notes),
        "cautions": list(CAUTIONS),
        "data": data_value(screening.info),
    }


def _row(row: Row) -> dict[str, Any]:
    return {
        "number": row.number,
        "place": place_value(row.place),
        "where": row.where,
        "coach": row.coach,
        "verdict": row.verdict.value,
        "verdict_text": verdict_of_row(row),
        "distance_m": row.distance_m,
        "duration_s": row.duration_s,
        "extra_s": row.extra_s,
        "ceiling": clearance_value(row.ceiling),
        "ceiling_key": row.ceiling_key,
        "there": _trip(row.there),
        "back": _trip(row.back),
        "unverified": list(row.unverified),
        "tight": list(row.tight),
        "in_out": in_out_value(row.in_out),
        "blocked": None if row.blocked is None else row.blocked.value,
        "in_the_way": [_flag(flag) for flag in row.in_the_way],
        "gets_through": clearance_value(row.gets_through),
        "obstacles": [asdict(obstacle) for obstacle in row.obstacles],
        "off_road_m": row.off_road_m,
        "tallest": _admitted(row.tallest),
        "tallest_verified": _admitted(row.tallest_verified),
        "notes": list(row.notes),
    }


def _trip(trip: Trip | None) -> dict[str, Any] | None:
    if trip is None:
        return None
    return {
        "distance_m": trip.distance_m,
        "duration_s": trip.duration_s,
        "car_distance_m": trip.car_distance_m,
        "car_duration_s": trip.car_duration_s,
        "extra_s": trip.extra_s,
        "ceiling": clearance_value(trip.ceiling),
        "ceiling_key": trip.ceiling_key,
        "passed": [_flag(flag) for flag in trip.passed],
        "avoided": [_flag(flag) for flag in trip.avoided],
    }


def _flag(flag: Flag) -> dict[str, Any]:
    return {
        "key": flag.key,
        "standing": flag.standing.value,
        "clearance": clearance_value(flag.clearance),
    }


def _admitted(admitted: Admitted) -> dict[str, Any]:
    return {"way": admitted.way, "clearance": clearance_value(admitted.clearance)}


def _structure(structure: Structure) -> dict[str, Any]:
    return {
        "key": structure.key,
        "kind": structure.kind.value,
        "text": structure_text(structure),
        "name": structure.name,
        "road": structure.road,
        "lon": structure.lon,
        "lat": structure.lat,
        **{
            direction.value: {
                "clearance": clearance_value(structure.lowest(direction)),
                "verified": structure.verified(direction),
            }
            for direction in (Direction.FORWARD, Direction.BACKWARD)
        },
        "evidence": evidence_lines(structure),
    }

"""Values of the core as plain JSON values, alike in every document for other programs."""

from __future__ import annotations

from typing import Any

from clearance.core.coach import Coach
from clearance.core.drive import InOut
from clearance.core.extract import ExtractInfo
from clearance.core.lengths import Length
from clearance.core.places import Place
from clearance.core.structure import Evidence, Structure
from clearance.outputs.elements import elements_of
from clearance.outputs.measures import clearance_text, coach_text

__all__ = [
    "clearance_value",
    "coach_value",
    "data_value",
    "evidence_value",
    "in_out_value",
    "length_value",
    "measure_value",
    "place_value",
    "structure_value",
]


def length_value(length: Length, feet: str) -> dict[str, Any]:
    """A length: exact metres, the same in whole tenths of a millimetre, and a text in feet."""
    return {"metres": float(length.metres), "tenths_of_mm": length.tenths, "feet": feet}


def clearance_value(length: Length | None) -> dict[str, Any] | None:
    """A clearance, its feet rounded down; None where it is None."""
    return None if length is None else length_value(length, clearance_text(length))


def measure_value(length: Length | None) -> dict[str, Any] | None:
    """A measure of the coach, its feet rounded up; None where it is None."""
    return None if length is None else length_value(length, coach_text(length))


def coach_value(coach: Coach) -> dict[str, Any]:
    """The measures of a coach that a drive is judged by."""
    return {
        "name": coach.name,
        "height": measure_value(coach.height),
        "margin": measure_value(coach.margin),
        "need": measure_value(coach.need),
        "comfort": measure_value(coach.comfort_or_need),
        "width": measure_value(coach.width),
        "length": measure_value(coach.length),
        "wheelbase": measure_value(coach.wheelbase),
        "weight_kg": coach.weight_kg,
        "towing": coach.towing,
        "tow_reversible": coach.tow_reversible,
        "propane": coach.propane,
    }


def place_value(place: Place) -> dict[str, Any]:
    """A place."""
    return {"name": place.name, "kind": place.kind, "osm": place.osm, "lon": place.lon, "lat": place.lat}


def structure_value(structure: Structure) -> dict[str, Any]:
    """A structure with its evidence."""
    elements = elements_of(structure)
    return {
        "key": structure.key,
        "kind": structure.kind.value,
        "name": structure.name,
        "road": structure.road,
        "lon": structure.lon,
        "lat": structure.lat,
        "upper": structure.upper,
        "order_not_told": structure.ambiguous_order,
        "ways": list(elements.ways),
        "nodes": list(elements.nodes),
        "relations": list(elements.relations),
        "evidence": [evidence_value(e) for e in structure.evidence],
        "warnings": list(structure.warnings),
    }


def evidence_value(evidence: Evidence) -> dict[str, Any]:
    """One piece of evidence."""
    return {
        "class": evidence.evidence_class.value,
        "figure": clearance_value(evidence.figure),
        "direction": evidence.direction.value,
        "element": evidence.element,
        "key": evidence.key,
        "raw": evidence.raw,
        "condition": evidence.condition,
        "can_clear": evidence.can_clear,
        "note": evidence.note,
        "source": evidence.source,
        "date": evidence.date,
        "implied": clearance_value(evidence.implied),
    }


def in_out_value(in_out: InOut | None) -> dict[str, Any] | None:
    """The way in and out of a stop; None where it is None."""
    if in_out is None:
        return None
    turn = {"kind": in_out.turn_kind, "lon": in_out.turn_lon, "lat": in_out.turn_lat, "metres": in_out.turn_m}
    return {
        "answer": in_out.answer.value,
        "reason": in_out.reason,
        "serious": in_out.serious,
        "dead_end_m": in_out.dead_end_m,
        "turn": turn if in_out.turn_kind else None,
    }


def data_value(info: ExtractInfo) -> dict[str, Any]:
    """Where the map data came from."""
    return {
        "source": info.source,
        "data_date": info.data_date,
        "read_date": info.read_date,
        "attribution": info.attribution,
        "warnings": list(info.warnings),
    }

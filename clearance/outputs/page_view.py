"""What the page of a drive tells: its texts in both units, and the data of its map."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from clearance.core.drive import CarDrive, Drive, Finding, Obstacle, Stop, Unchecked, Verdict
from clearance.core.extract import ATTRIBUTION
from clearance.core.facility import Facility
from clearance.core.lengths import Length
from clearance.core.mapline import MapLine
from clearance.core.structure import Standing
from clearance.outputs.basemap import base_map
from clearance.outputs.directions import Step, directions, length_text, step_text
from clearance.outputs.legs import halts, legs, lines, stop_letter
from clearance.outputs.measures import (
    Units,
    clearance_text,
    clock_text,
    coach_text,
    distance_text,
    duration_text,
)
from clearance.outputs.times import clock_at, times_text
from clearance.outputs.turns import ROTATION
from clearance.outputs.wording import (
    CAUTIONS,
    advice,
    area_text,
    clearance_or_none,
    coach_line,
    evidence_lines,
    facility_text,
    facility_title,
    in_out_text,
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

if TYPE_CHECKING:
    from markupsafe import Markup

__all__ = ["dual", "page_data", "page_texts", "sign_of", "slug_of"]

Point = tuple[float, float]

#: A sign beside a finding's number: the text of a mark tells its standing as its shape does.
_SIGNS = {Standing.TOO_LOW: "×", Standing.UNVERIFIED: "?", Standing.TIGHT: "!", Standing.CLEAR: ""}
_SLUGS = {
    Standing.TOO_LOW: "too-low",
    Standing.UNVERIFIED: "unverified",
    Standing.TIGHT: "tight",
    Standing.CLEAR: "clear",
}
_KEY_WORDS = {
    Standing.TOO_LOW: "too low: do not pass",
    Standing.UNVERIFIED: "not verified: stop and read the sign",
    Standing.TIGHT: "tight: go slowly",
    Standing.CLEAR: "clear",
}
_OSM_COPYRIGHT = "https://www.openstreetmap.org/copyright"


def page_texts(drive: Drive) -> dict[str, Any]:
    """The values that the template of the page is filled with, texts of the map not yet escaped."""
    coach, pieces, info = drive.coach, bool(drive.pieces), drive.info
    return {
        "title": _title(drive),
        "place_names": [place_text(place) for place in drive.places],
        "departure": _departure(drive),
        "verdict": drive.verdict.value,
        "verdict_word": verdict_word(drive.verdict),
        "sentence": dual(lambda u: verdict_sentence(drive, u)),
        "height": dual(lambda u: coach_text(coach.height, u)),
        "need": dual(lambda u: coach_text(coach.need, u)),
        "ceiling": _clearance(drive.ceiling),
        "gets_through": _clearance(drive.gets_through) if drive.verdict is Verdict.BLOCKED else None,
        "distance": dual(lambda u: distance_text(drive.distance_m, u)) if pieces else None,
        "duration": duration_text(drive.duration_s),
        "coach": dual(lambda u: _capital(f"{plain(coach.name)}: {coach_line(coach, u)}.")),
        "has_pieces": pieces,
        "findings": [_finding(drive, f, "finding") for f in drive.findings],
        "in_the_way": [_finding(drive, f, "way") for f in drive.in_the_way],
        "key": [
            {"slug": _SLUGS[standing], "sign": sign_of(standing), "words": words}
            for standing, words in _KEY_WORDS.items()
            if any(f.standing is standing for f in drive.findings)
        ],
        "unchecked": [_unchecked(part) for part in drive.unchecked],
        "obstacles": [_obstacle(obstacle) for obstacle in drive.obstacles],
        "stops": [_stop(drive, index, stop) for index, stop in enumerate(halts(drive))],
        "along": [_facility(drive, n, f) for n, f in enumerate(drive.along, 1)],
        "steps": [_step(step) for step in directions(drive)],
        "car": _car(drive, drive.car) if drive.car is not None else None,
        "cautions": [*filter(None, [area_text(drive.area)]), *CAUTIONS],
        "data_date": plain(info.data_date)[:10] or "a date not known",
        "source": plain(info.source),
        "attribution": plain(info.attribution),
        "attribution_link": _OSM_COPYRIGHT if info.attribution == ATTRIBUTION else None,
        "notes": [plain(text) for text in (*drive.notes, *info.warnings)],
    }


def page_data(drive: Drive, roads: Sequence[MapLine]) -> dict[str, Any]:
    """What the map draws, ready for JSON: [lat, lon] points in degrees, roads packed (see BaseMap)."""
    car = [] if drive.car is None else [_latlon(p) for p in drive.car.points]
    stops = halts(drive)
    found = [
        *((f, "finding") for f in drive.findings),
        *((f, "way") for f in drive.in_the_way),
        *((f, "car") for f in (drive.car.differences if drive.car is not None else ())),
    ]
    about = [
        *(piece.points for piece in drive.pieces),
        *(() if drive.car is None else (drive.car.points,)),
        *(part.points for part in drive.unchecked),
        *(((s.lon, s.lat),) for s in stops),
        *(((f.lon, f.lat),) for f, _ in found),
        *(((f.lon, f.lat),) for f in drive.along),
    ]
    roads_near = base_map(roads, about)
    return {
        "drive": [[_latlon(p) for p in line] for leg in legs(drive) for line in lines(leg)],
        "car": car,
        "unchecked": [[_latlon(p) for p in part.points] for part in drive.unchecked],
        "findings": [
            {
                "id": f"{kind}-{f.number}",
                "at": _latlon((f.lon, f.lat)),
                "slug": _SLUGS[f.standing],
                "number": f.number,
                "what": structure_text(f.structure, f.road),
                "label": _spoken(f),
                "off": None
                if f.turn_off is None or f.standing is Standing.CLEAR
                else _latlon((f.turn_off.lon, f.turn_off.lat)),
            }
            for f, kind in found
        ],
        "stops": [
            {
                "id": f"stop-{stop_letter(index)}",
                "at": _latlon((s.lon, s.lat)),
                "label": f"Stop {stop_letter(index)}: {place_text(s.place)}",
                "turn": _latlon((s.in_out.turn_lon, s.in_out.turn_lat))
                if s.in_out is not None and s.in_out.turn_kind
                else None,
            }
            for index, s in enumerate(stops)
        ],
        "along": [
            {
                "id": f"along-{number}",
                "at": _latlon((f.lon, f.lat)),
                "label": facility_title(f),
                "tank": f.full_tank,
            }
            for number, f in enumerate(drive.along, 1)
        ],
        "names": list(roads_near.names),
        "roads": roads_near.lines,
        "attribution": plain(drive.info.attribution),
    }


def slug_of(standing: Standing) -> str:
    """The standing as the name of its look in the page's style."""
    return _SLUGS[standing]


def sign_of(standing: Standing) -> str:
    """The sign that stands on the mark of a standing, empty where it is clear."""
    return _SIGNS[standing]


def dual(make: Callable[[Units], str]) -> Markup:
    """A text in both units, escaped; the page's style hides one of the two.

    Both are made here, so that the page itself never rounds a clearance.
    """
    from markupsafe import Markup

    feet, metres = make(Units.FEET), make(Units.METRES)
    if feet == metres:
        return Markup.escape(feet)
    return Markup('<span class="ft">{}</span><span class="m">{}</span>').format(feet, metres)


def _clearance(figure: Length | None) -> Markup | None:
    return None if figure is None else dual(lambda u: clearance_text(figure, u))


def _at(point: Point) -> str:
    """A (lon, lat) point as the page's buttons carry it: latitude first."""
    return f"{point[1]:.6f},{point[0]:.6f}"


def _latlon(point: Point) -> list[float]:
    """A (lon, lat) point as the map library takes it: latitude first."""
    return [round(point[1], 6), round(point[0], 6)]


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _title(drive: Drive) -> str:
    names = [place_text(place) for place in drive.places]
    if not names:
        return "Drive"
    between = f" by {', '.join(names[1:-1])}" if 2 < len(names) <= 5 else ""
    return f"{names[0]} to {names[-1]}{between}" if len(names) > 1 else names[0]


def _departure(drive: Drive) -> Markup | None:
    leaves = drive.departure
    return None if leaves is None else dual(lambda u: f"{leaves:%Y-%m-%d}, {clock_text(leaves, u)}")


def _spoken(finding: Finding) -> str:
    """A finding for a screen reader, without figures: those stand in the list, in the units chosen."""
    what = structure_text(finding.structure, finding.road)
    return f"{finding.number}, {standing_text(finding.standing).lower()}: {what}"


def _finding(drive: Drive, finding: Finding, kind: str) -> dict[str, Any]:
    off = finding.turn_off if finding.standing is not Standing.CLEAR else None
    return {
        "id": f"{kind}-{finding.number}",
        "slug": _SLUGS[finding.standing],
        "sign": "×" if kind == "car" else f"{finding.number}{_SIGNS[finding.standing]}",
        "number": finding.number,
        "what": _capital(structure_text(finding.structure, finding.road)),
        "height": dual(lambda u: clearance_or_none(finding, u)),
        "label": standing_text(finding.standing),
        "where": _where(drive, finding) if kind == "finding" else None,
        "advice": dual(lambda u: advice(finding, drive.coach, u)),
        "turn_off": dual(lambda u: turn_off_text(finding, u)) if kind == "finding" else None,
        "off_at": _at((off.lon, off.lat)) if off is not None else None,
        "evidence": [
            dual(lambda u, n=n: evidence_lines(finding.structure, u)[n])  # type: ignore[misc]
            for n in range(len(evidence_lines(finding.structure)))
        ],
    }


def _where(drive: Drive, finding: Finding) -> Markup:
    def words(units: Units) -> str:
        text = f"{distance_text(finding.distance_m, units)} from the start"
        clock = clock_at(drive, finding.seconds, units)
        return f"{text}, about {clock}" if clock else f"{text}, after {duration_text(finding.seconds)}"

    return dual(words)


def _unchecked(part: Unchecked) -> dict[str, Any]:
    return {
        "text": dual(lambda u: unchecked_text(part, u)),
        "where": dual(lambda u: f"at {distance_text(part.distance_m, u)}"),
        "at": _at(part.points[0]),
    }


def _obstacle(obstacle: Obstacle) -> dict[str, Any]:
    return {"text": _capital(obstacle_text(obstacle)), "at": _at((obstacle.lon, obstacle.lat))}


def _stop(drive: Drive, index: int, stop: Stop) -> dict[str, Any]:
    in_out, driven = stop.in_out, bool(drive.pieces)

    def where(units: Units) -> str:
        parts = [f"{distance_text(stop.distance_m, units)} from the start"] if driven and index else []
        if stop.leaves_s - stop.arrives_s >= 60:
            parts.append(f"{duration_text(stop.leaves_s - stop.arrives_s)} there")
        return ", ".join(parts)

    turn = None if in_out is None or not in_out.turn_kind else _at((in_out.turn_lon, in_out.turn_lat))
    return {
        "id": f"stop-{stop_letter(index)}",
        "letter": stop_letter(index),
        "name": place_text(stop.place),
        "time": dual(lambda u: times_text(drive, stop, u)),
        "where": dual(where),
        "in_out": None if in_out is None else dual(lambda u: in_out_text(in_out, u)),
        "off_road": dual(lambda u: off_road_text(stop, u)),
        "serious": in_out is not None and in_out.serious,
        "turn_at": turn,
    }


def _facility(drive: Drive, number: int, facility: Facility) -> dict[str, Any]:
    return {
        "id": f"along-{number}",
        "mark": f"facility {'tank' if facility.full_tank else facility.kind.value}",
        "title": facility_title(facility),
        "text": dual(lambda u: _capital(facility_text(facility, drive.coach, u))),
        "serious": facility.in_out.serious,
    }


def _step(step: Step) -> dict[str, Any]:
    numbers = [str(n) for n in step.findings]
    return {
        "kind": step.kind.value,
        "text": plain(step_text(step)),
        "passes": f"passes {', '.join(numbers)}" if numbers else "",
        "at": _at((step.lon, step.lat)),
        "length": dual(lambda u: length_text(step, u)),
        "rotate": ROTATION[step.turn] if step.turn is not None else None,
    }


def _car(drive: Drive, car: CarDrive) -> dict[str, Any]:
    def words(units: Units) -> str:
        text = f"By car it is {distance_text(car.distance_m, units)} and {duration_text(car.duration_s)}"
        return f"{text}: the thin dashed line on the map. It is no way for the coach."

    return {"text": dual(words), "findings": [_finding(drive, f, "car") for f in car.differences]}

"""What to look at first: a checklist to print, a table, and points on a map."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from clearance.core.record import elements_of_structure
from clearance.core.scouting import Scouted, Scouting
from clearance.core.structure import Standing, Structure
from clearance.outputs.csv_table import table_csv
from clearance.outputs.geojson import collection_of, feature_of, point_of
from clearance.outputs.lines import wrapped
from clearance.outputs.marks import MARKS, PLACE_MARK
from clearance.outputs.measures import Units, duration_text
from clearance.outputs.wording import (
    CAUTIONS,
    coach_line,
    evidence_lines,
    kind_text,
    map_data_text,
    place_text,
    plain,
    structure_text,
)

__all__ = ["SCOUT_COLUMNS", "scout_csv", "scout_geojson", "scout_text"]

SCOUT_COLUMNS = (
    *("number", "kind", "name", "road", "lat", "lon"),
    *("opens", "saves_minutes", "with_others", "passed_by", "opens_places", "saves_places"),
    *("evidence", "key", "elements"),
    # What is filled in on the spot; `clearance record import` reads the same names.
    *("height", "date", "who", "photo", "note"),
    *("data_source", "data_date", "attribution", "caution"),
)
_MOST_NAMED = 4
#: Less than this saved in all is not worth a word.
_WORTH_S = 30.0


def scout_text(found: Scouting, units: Units = Units.FEET) -> str:
    """A checklist of 80 columns with room to write, the structure that most hangs on first.

    Ends in a line end.
    """
    blocks: list[list[str]] = [[*wrapped(_summary(found, units))]]
    if not found.items:
        blocks.append(
            wrapped("Nothing that anybody could look at would open or shorten any of these drives.")
        )
    blocks += [_item(item, found) for item in found.items]
    if found.blocked:
        named = _named(found.blocked, found)
        blocks.append(wrapped(f"No drive fits the coach, whatever is known of these structures: {named}."))
    if found.problems:
        told = [
            line
            for problem in found.problems
            for line in wrapped(
                ": ".join(filter(None, (problem.where, plain(problem.name), plain(problem.text)))), "  - "
            )
        ]
        blocks.append(["Not looked at", *told])
    blocks.append([line for note in found.notes for line in wrapped(f"Note: {plain(note)}")])
    blocks.append(
        [
            *wrapped(
                "Measure from the road to the lowest point over the lanes. Never stand in traffic or climb; "
                "a sign read from the roadside will do. " + CAUTIONS[1]
            ),
            *wrapped(map_data_text(found.info)),
        ]
    )
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


def _summary(found: Scouting, units: Units) -> str:
    number = len(found.open_now) + len(found.shut) + len(found.blocked)
    return (
        f"What to look at first, from {place_text(found.home)}, for {_places(number)}. "
        f"{_places(len(found.open_now)).capitalize()} can be driven to and back past nothing of unknown "
        f"height, {len(found.shut)} cannot. Coach: {coach_line(found.coach, units)}."
    )


def _places(count: int) -> str:
    return "1 destination" if count == 1 else f"{count} destinations"


def _item(item: Scouted, found: Scouting) -> list[str]:
    structure = item.structure
    lines = wrapped(structure_text(structure), f"[ ] {item.number:>2}  ")
    for text in (_effect(item, found), f"{structure.lat:.5f},{structure.lon:.5f}  key {structure.key}"):
        lines += wrapped(text, " " * 8)
    lines.append(" " * 8 + "height ____________  date __________  who ______________")
    return lines


def _effect(item: Scouted, found: Scouting) -> str:
    """What hangs on a structure, as a sentence."""
    parts = []
    if item.opens:
        parts.append(f"opens {_named(item.opens, found)}")
    if item.with_others:
        parts.append(f"opens, once others are known too, {_named([n for n, _ in item.with_others], found)}")
    if item.saves_s >= _WORTH_S:
        saved = [n for n, _ in sorted(item.saves, key=lambda saving: -saving[1])]
        parts.append(f"saves {duration_text(item.saves_s)} there and back in all, on {_named(saved, found)}")
    if not parts:
        parts.append(f"passed on the way to {_named(item.passed_by, found)}")
    return "; ".join(parts)


def _named(numbers: Sequence[int], found: Scouting) -> str:
    """Some destinations by name, the others by their number."""
    names = [plain(found.name(n)) for n in numbers[:_MOST_NAMED]]
    if len(numbers) > _MOST_NAMED:
        names.append(f"{len(numbers) - _MOST_NAMED} more")
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


# --- files -------------------------------------------------------------------------------------------


def scout_csv(found: Scouting) -> str:
    """One line for each structure, with empty columns for what is seen there.

    Filled in, the same file can be read by `clearance record import`, which leaves out empty lines.
    """
    return table_csv(SCOUT_COLUMNS, (_line(item, found) for item in found.items))


def _line(item: Scouted, found: Scouting) -> dict[str, Any]:
    structure = item.structure
    return {
        "number": item.number,
        "kind": kind_text(structure.kind),
        "name": plain(structure.name),
        "road": plain(structure.road),
        "lat": round(structure.lat, 7),
        "lon": round(structure.lon, 7),
        "opens": len(item.opens),
        "saves_minutes": round(item.saves_s / 60, 1),
        "with_others": len(item.with_others),
        "passed_by": len(item.passed_by),
        "opens_places": _all_named(item.opens, found),
        "saves_places": _all_named((n for n, _ in item.saves), found),
        "evidence": _evidence(structure),
        "key": structure.key,
        "elements": " ".join(elements_of_structure(structure)),
        **dict.fromkeys(("height", "date", "who", "photo", "note"), ""),
        "data_source": plain(found.info.source),
        "data_date": found.info.data_date,
        "attribution": found.info.attribution,
        "caution": " ".join(CAUTIONS),
    }


def _all_named(numbers: Iterable[int], found: Scouting) -> str:
    return "; ".join(plain(found.name(n)) for n in numbers)


def _evidence(structure: Structure) -> str:
    return " / ".join(evidence_lines(structure, Units.FEET))


def scout_geojson(found: Scouting, units: Units = Units.FEET) -> dict[str, Any]:
    """The structures as a FeatureCollection of points, the first to look at first, and home.

    The property `role` is ``scout`` or ``home``. Counts are of destinations, `saves_s` seconds there and back
    of all of them together.
    """
    features = []
    for item in found.items:
        structure = item.structure
        properties = {
            "role": "scout",
            "title": f"{item.number}. {structure_text(structure)}",
            "description": _effect(item, found),
            "number": item.number,
            "kind": kind_text(structure.kind),
            "name": plain(structure.name),
            "road": plain(structure.road),
            "opens": len(item.opens),
            "saves_s": round(item.saves_s, 1),
            "with_others": len(item.with_others),
            "passed_by": len(item.passed_by),
            "opens_places": _all_named(item.opens, found),
            "evidence": _evidence(structure),
            "key": structure.key,
        }
        mark = MARKS[Standing.UNVERIFIED][0].properties()
        features.append(feature_of(structure.key, point_of(structure.lon, structure.lat), properties | mark))
    home = {"role": "home", "title": f"Home: {place_text(found.home)}"} | PLACE_MARK.properties()
    features.append(feature_of("home", point_of(found.home.lon, found.home.lat), home))
    return collection_of(
        features,
        found.info,
        {
            "coach": coach_line(found.coach, units),
            "coach_height_m": float(found.coach.height.metres),
            "coach_need_m": float(found.coach.need.metres),
            "open_now": len(found.open_now),
            "shut": len(found.shut),
            "blocked": len(found.blocked),
            "problems": [
                {"where": p.where, "name": plain(p.name), "text": plain(p.text)} for p in found.problems
            ],
            "notes": [plain(note) for note in found.notes],
        },
    )

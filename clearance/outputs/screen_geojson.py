"""A screening as GeoJSON (RFC 7946): a point for each destination and coach, and structures that matter."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from clearance.core.drive import Verdict
from clearance.core.screening import Row, Screening, totals
from clearance.core.structure import Standing, Structure
from clearance.outputs.geojson import collection_of, feature_of, point_of
from clearance.outputs.marks import MARKS, PLACE_MARK
from clearance.outputs.measures import Units, clearance_text
from clearance.outputs.screen_changes import changes_json
from clearance.outputs.screen_csv import RowCells
from clearance.outputs.screen_words import (
    by_key,
    coach_names,
    headline,
    problem_text,
    totals_text,
    verdict_of_row,
)
from clearance.outputs.wording import (
    coach_line,
    evidence_lines,
    kind_text,
    place_text,
    plain,
    structure_text,
)

__all__ = ["mark_of", "screen_geojson", "structure_cells", "structure_uses"]


def mark_of(row: Row) -> Standing:
    """The standing whose mark a row bears: blocked as too low, care by the worst that is passed."""
    if row.verdict is Verdict.BLOCKED:
        return Standing.TOO_LOW
    if row.unverified:
        return Standing.UNVERIFIED
    return Standing.TIGHT if row.verdict is Verdict.CARE else Standing.CLEAR


def structure_uses(screening: Screening) -> Iterator[tuple[Structure, Mapping[Standing, list[Row]]]]:
    """The structures that matter to some row, with the rows by what they are there.

    Too low are those in the way of a blocked row, clear those that only set a ceiling. In the order of the
    area's structures.
    """
    uses: dict[str, dict[Standing, list[Row]]] = {}
    for row in screening.rows:
        stands = {flag.key: flag.standing for flag in row.in_the_way}
        stands |= {row.ceiling_key: Standing.CLEAR} if row.ceiling_key else {}
        stands |= {flag.key: flag.standing for trip in row.trips for flag in trip.flags}
        for key, standing in stands.items():
            uses.setdefault(key, {}).setdefault(standing, []).append(row)
    for structure in screening.structures:
        if structure.key in uses:
            yield structure, uses[structure.key]


def screen_geojson(screening: Screening, units: Units = Units.FEET) -> dict[str, Any]:
    """Destinations, structures and home as a FeatureCollection.

    The property `role` is ``destination`` (with the columns of the CSV table), ``structure`` or ``home``.
    A structure tells how many rows it blocks, or is unverified or tight for.
    """
    known, names, of_rows = by_key(screening), coach_names(screening), RowCells(screening, units)
    features = []
    for row in screening.rows:
        cells = of_rows.of(row)
        title = f"{verdict_of_row(row)}: {place_text(row.place)}"
        if len(names) > 1:
            title += f", {names[row.coach]}"
        properties = {"role": "destination", "title": title, "description": cells["why"]}
        properties |= {key: None if value == "" else value for key, value in cells.items()}
        features.append(
            feature_of(
                f"destination/{row.number}/{row.coach + 1}",
                point_of(row.place.lon, row.place.lat),
                properties | MARKS[mark_of(row)][0].properties(),
            )
        )
    for structure, uses in structure_uses(screening):
        features.append(_structure(structure, uses, units))
    home = {"role": "home", "title": f"Home: {place_text(screening.home)}"} | PLACE_MARK.properties()
    features.append(feature_of("home", point_of(screening.home.lon, screening.home.lat), home))
    sums = totals(screening)
    return collection_of(
        features,
        screening.info,
        {
            "description": headline(screening),
            "coaches": [
                {
                    "coach": name,
                    "description": coach_line(coach, units),
                    "coach_height_m": float(coach.height.metres),
                    "coach_need_m": float(coach.need.metres),
                    "totals": totals_text(sums[number], units),
                }
                for number, (name, coach) in enumerate(zip(names, screening.coaches, strict=True))
            ],
            "not_screened": [problem_text(p, names) for p in screening.problems],
            "changes": changes_json(screening.changes, known, units),
            "notes": [plain(note) for note in screening.notes],
        },
    )


def structure_cells(structure: Structure, uses: Mapping[Standing, list[Row]], units: Units) -> dict[str, Any]:
    """What is told of a structure, and of how many rows it is what."""
    lowest = structure.lowest()
    return {
        "key": structure.key,
        "kind": kind_text(structure.kind),
        "name": plain(structure.name),
        "road": plain(structure.road),
        "clearance": "no height" if lowest is None else clearance_text(lowest, units),
        "clearance_m": None if lowest is None else float(lowest.metres),
        "verified": structure.verified(),
        "blocks": len(uses.get(Standing.TOO_LOW, ())),
        "unverified_for": len(uses.get(Standing.UNVERIFIED, ())),
        "tight_for": len(uses.get(Standing.TIGHT, ())),
        "evidence": "\n".join(evidence_lines(structure, units)),
    }


def _structure(structure: Structure, uses: Mapping[Standing, list[Row]], units: Units) -> dict[str, Any]:
    worst = min(uses, key=list(MARKS).index)
    cells = structure_cells(structure, uses, units)
    properties = {
        "role": "structure",
        "title": f"{structure_text(structure)}, {cells['clearance']}",
        "standing": worst.value,
        **cells,
    }
    return feature_of(
        structure.key, point_of(structure.lon, structure.lat), properties | MARKS[worst][0].properties()
    )

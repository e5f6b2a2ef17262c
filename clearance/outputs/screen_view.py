"""What the page of a screening tells: its texts in both units, and the data of its map."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from clearance.core.drive import Verdict
from clearance.core.screening import Admitted, Row, Screening, Trip, totals
from clearance.core.structure import Standing, Structure
from clearance.outputs.marks import MARKS
from clearance.outputs.measures import Units, clearance_text, distance_text
from clearance.outputs.page_view import dual, sign_of, slug_of
from clearance.outputs.screen_changes import (
    cause_text,
    causes_counted,
    changes_headline,
    moved_text,
    structure_change_text,
    was_text,
)
from clearance.outputs.screen_geojson import structure_cells, structure_uses
from clearance.outputs.screen_words import (
    by_key,
    clock_span,
    coach_names,
    common_bar_text,
    driven_text,
    headline,
    problem_text,
    reason_parts,
    tallest_text,
    verdict_of_row,
)
from clearance.outputs.wording import (
    CAUTIONS,
    coach_line,
    evidence_lines,
    place_text,
    plain,
    standing_text,
    structure_text,
)

__all__ = ["screen_data", "screen_texts"]

#: The sign in the pin of a destination: the mark tells the verdict without its colour.
_SIGNS = {Verdict.BLOCKED: "×", Verdict.CARE: "!", Verdict.CLEAR: "✓"}
_RANK = {Verdict.BLOCKED: 0, Verdict.CARE: 1, Verdict.CLEAR: 2}


def screen_texts(screening: Screening) -> dict[str, Any]:
    """The values that the templates of the page are filled with, texts of the map not yet escaped.

    Of each row and structure `sorted` holds what its columns are sorted by, empty where nothing is told.
    """
    known, names, info = by_key(screening), coach_names(screening), screening.info
    changes = screening.changes
    moved = changes.by_row() if changes is not None else {}
    rows = []
    for row in screening.rows:
        cells = _row(row, screening, known)
        if change := moved.get((row.number, row.coach)):
            why = [
                dual(lambda u, c=cause, n=count: cause_text(c, n, known, u))  # type: ignore[misc]
                for cause, count in causes_counted(change.causes, known)
            ]
            cells["moved"] = [f"Was {was_text(change)}.", *why]
        rows.append(cells)
    return {
        "home": place_text(screening.home),
        "sentence": headline(screening),
        "coaches": _coaches(screening, names),
        "rows": rows,
        "structures": [
            _structure(n, structure, uses) for n, (structure, uses) in enumerate(_used(screening), 1)
        ],
        "problems": [problem_text(problem, names) for problem in screening.problems],
        "changes_text": "" if changes is None else changes_headline(changes),
        "moved": None
        if changes is None
        else [dual(lambda u, m=m: moved_text(m, known, u)) for m in changes.moved],  # type: ignore[misc]
        "changed": []
        if changes is None
        else [dual(lambda u, c=c: structure_change_text(c, known, u)) for c in changes.structures],  # type: ignore[misc]
        "cautions": CAUTIONS,
        "notes": [plain(text) for text in (*screening.notes, *info.warnings)],
        "data_date": plain(info.data_date)[:10] or "a date not known",
        "source": plain(info.source),
        "attribution": plain(info.attribution),
    }


def _used(screening: Screening) -> list[tuple[Structure, Mapping[Standing, list[Row]]]]:
    """The structures that matter, the gravest and those of the most rows first; not those that are clear."""
    used = [(s, uses) for s, uses in structure_uses(screening) if set(uses) != {Standing.CLEAR}]
    order = list(MARKS)
    return sorted(used, key=lambda u: (_worst(u[1], order), -sum(map(len, u[1].values())), u[0].key))


def _worst(uses: Mapping[Standing, list[Row]], order: list[Standing]) -> int:
    return min(order.index(standing) for standing in uses)


def _coaches(screening: Screening, names: Sequence[str]) -> list[dict[str, Any]]:
    found = []
    for name, coach, sums in zip(names, screening.coaches, totals(screening), strict=True):
        bar = dual(lambda u, n=sums.coach: common_bar_text(screening, n, u))  # type: ignore[misc]
        found.append(
            {
                "name": name,
                "line": dual(lambda u, c=coach: f"{coach_line(c, u)}."),  # type: ignore[misc]
                "totals": dual(lambda u, s=sums: driven_text(s, u)),  # type: ignore[misc]
                "bar": bar,
                "counts": [
                    (verdict.value, _SIGNS[verdict], number, word)
                    for verdict, number, word in (
                        (Verdict.BLOCKED, sums.blocked, "blocked"),
                        (Verdict.CARE, sums.care, "take care"),
                        (Verdict.CLEAR, sums.clear, "clear"),
                    )
                ],
            }
        )
    return found


def _row_id(row: Row) -> str:
    return f"row-{row.number}-{row.coach}"


def _row(row: Row, screening: Screening, known: Mapping[str, Structure]) -> dict[str, Any]:
    margin, ceiling = screening.coaches[row.coach].margin, row.ceiling
    driven = bool(row.trips)
    return {
        "id": _row_id(row),
        "coach": row.coach,
        "slug": row.verdict.value,
        "sign": _SIGNS[row.verdict],
        "name": place_text(row.place),
        "why": dual(lambda u: " ".join(reason_parts(row, known, u))),
        "verdict": verdict_of_row(row),
        "trips": [_trip(row.there), _trip(row.back)],
        "extra": "" if row.extra_s is None else clock_span(max(row.extra_s, 0.0)),
        "lowest": "" if ceiling is None else dual(lambda u: clearance_text(ceiling, u)),
        "unverified": len(row.unverified) if driven else "",
        "tallest": dual(lambda u: tallest_text(row.tallest, margin, u)),
        "tallest_verified": None
        if row.tallest == row.tallest_verified
        else dual(lambda u: tallest_text(row.tallest_verified, margin, u)),
        "in_out": "" if row.in_out is None else row.in_out.answer.value,
        "moved": None,
        "sorted": {
            "name": place_text(row.place).casefold(),
            "coach": row.coach,
            "verdict": _RANK[row.verdict],
            "there": _seconds(row.there),
            "back": _seconds(row.back),
            "extra": "" if row.extra_s is None else round(row.extra_s, 1),
            "lowest": "" if ceiling is None else ceiling.tenths,
            "unverified": len(row.unverified) if driven else "",
            "tallest": _rank(row.tallest),
            "inout": "" if row.in_out is None else row.in_out.answer.value,
        },
    }


def _seconds(trip: Trip | None) -> float | str:
    return "" if trip is None else round(trip.duration_s, 1)


def _rank(admitted: Admitted) -> int:
    if not admitted.way:
        return -1
    return 2**31 if admitted.clearance is None else admitted.clearance.tenths


def _trip(trip: Trip | None) -> tuple[str, Any]:
    if trip is None:
        return "", ""
    return clock_span(trip.duration_s), dual(lambda u: distance_text(trip.distance_m, u))


def _structure(number: int, structure: Structure, uses: Mapping[Standing, list[Row]]) -> dict[str, Any]:
    worst = list(MARKS)[_worst(uses, list(MARKS))]
    cells, lowest = structure_cells(structure, uses, Units.FEET), structure.lowest()
    lines = len(evidence_lines(structure))
    return {
        "id": f"structure-{number}",
        "what": structure_text(structure),
        "slug": slug_of(worst),
        "sign": sign_of(worst),
        "label": standing_text(worst),
        "height": "no height" if lowest is None else dual(lambda u: clearance_text(lowest, u)),
        "blocks": cells["blocks"],
        "unverified": cells["unverified_for"],
        "tight": cells["tight_for"],
        "evidence": [dual(lambda u, n=n: evidence_lines(structure, u)[n]) for n in range(lines)],  # type: ignore[misc]
        "sorted": {
            "name": structure_text(structure).casefold(),
            "verdict": _worst(uses, list(MARKS)),
            "height": "" if lowest is None else lowest.tenths,
            "blocks": cells["blocks"],
            "unverified": cells["unverified_for"],
            "tight": cells["tight_for"],
        },
    }


def screen_data(screening: Screening) -> dict[str, Any]:
    """What the map draws, without roads beneath, ready for JSON: [lat, lon] in degrees.

    A mark has the id of its row or structure, whose texts it is called by; home has none, and a name.
    """
    marks = [
        {
            "id": _row_id(row),
            "at": _latlon(row.place.lon, row.place.lat),
            "look": row.verdict.value,
            "sign": _SIGNS[row.verdict],
            "pin": True,
        }
        for row in screening.rows
    ]
    for n, (structure, uses) in enumerate(_used(screening), 1):
        worst = list(MARKS)[_worst(uses, list(MARKS))]
        marks.append(
            {
                "id": f"structure-{n}",
                "at": _latlon(structure.lon, structure.lat),
                "look": slug_of(worst),
                "sign": sign_of(worst),
                "pin": False,
            }
        )
    home = screening.home
    marks.append(
        {
            "id": "",
            "at": _latlon(home.lon, home.lat),
            "look": "home",
            "sign": "H",
            "pin": True,
            "name": place_text(home),
        }
    )
    return {
        "marks": marks,
        "findings": [],
        "stops": [],
        "attribution": plain(screening.info.attribution),
    }


def _latlon(lon: float, lat: float) -> list[float]:
    return [round(lat, 6), round(lon, 6)]

"""A screening as a CSV table: a line for each destination and coach, and for each that was not screened."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from clearance.core.lengths import Length
from clearance.core.screening import Admitted, Problem, Row, Screening, Trip
from clearance.core.structure import Standing, Structure
from clearance.outputs.csv_table import table_csv
from clearance.outputs.measures import Units, clearance_text
from clearance.outputs.screen_changes import causes_text, was_text
from clearance.outputs.screen_words import (
    NOT_SCREENED,
    by_key,
    coach_names,
    problem_text,
    reason_parts,
    tallest_text,
    verdict_of_row,
)
from clearance.outputs.wording import CAUTIONS, place_text, plain, structure_text

__all__ = ["ROW_COLUMNS", "SCREEN_COLUMNS", "RowCells", "screen_csv"]

#: Of a row by itself; `screen_csv` adds where the data came from.
ROW_COLUMNS = (
    *("number", "name", "lat", "lon", "where", "coach", "coach_height_m", "coach_need_m", "verdict"),
    *("there_minutes", "there_mi", "there_km", "back_minutes", "back_mi", "back_km"),
    *("minutes", "extra_minutes", "ceiling_ft_in", "ceiling_m", "ceiling_structure", "ceiling_key"),
    *("unverified", "unverified_structures", "unverified_keys", "tight", "tight_structures"),
    *("in_and_out", "blocked", "in_the_way", "gets_through_ft_in", "gets_through_m", "off_road_m", "why"),
    *("was", "moved_because"),
    *("tallest_coach", "tallest_clearance_m", "tallest_coach_verified", "tallest_clearance_verified_m"),
)
SCREEN_COLUMNS = (*ROW_COLUMNS, "data_source", "data_date", "attribution", "caution")


def screen_csv(screening: Screening, units: Units = Units.FEET) -> str:
    """One line a row, in the order of the screening; then those not screened, with `why`.

    Times are minutes, distances both miles and kilometres, heights feet rounded down and exact metres.
    `was` is the verdict of the screening compared with where it moved, `moved_because` why. `tallest_coach`
    is the height of a coach that keeps the margin of the row's coach, rounded down; a clearance is empty
    where no known figure limits it, and the text then says so.
    """
    names = coach_names(screening)
    origin = {
        "data_source": plain(screening.info.source),
        "data_date": screening.info.data_date,
        "attribution": screening.info.attribution,
        "caution": " ".join(CAUTIONS),
    }
    cells = RowCells(screening, units)
    lines = [cells.of(row) | origin for row in screening.rows]
    lines += [_problem(problem, names) | origin for problem in screening.problems]
    return table_csv(SCREEN_COLUMNS, lines)


class RowCells:
    """The cells of rows, for tables and for properties of points."""

    def __init__(self, screening: Screening, units: Units = Units.FEET) -> None:
        """Look up once what all rows need."""
        self._screening, self._units = screening, units
        self._known, self._names = by_key(screening), coach_names(screening)
        self._moved = screening.changes.by_row() if screening.changes is not None else {}

    def of(self, row: Row) -> dict[str, Any]:
        """The cells of one row by `ROW_COLUMNS`; empty text where there is nothing to say."""
        known = self._known
        coach = self._screening.coaches[row.coach]
        ceiling = known.get(row.ceiling_key)
        moved = self._moved.get((row.number, row.coach))
        driven = bool(row.trips)
        return {
            "number": row.number,
            "name": place_text(row.place),
            "lat": round(row.place.lat, 7),
            "lon": round(row.place.lon, 7),
            "where": plain(row.where),
            "coach": self._names[row.coach],
            "coach_height_m": float(coach.height.metres),
            "coach_need_m": float(coach.need.metres),
            "verdict": verdict_of_row(row),
            **_trip("there", row.there),
            **_trip("back", row.back),
            "minutes": _minutes(row.duration_s if driven else None),
            "extra_minutes": _minutes(row.extra_s),
            "ceiling_ft_in": _feet(row.ceiling),
            "ceiling_m": _metres(row.ceiling),
            "ceiling_structure": "" if ceiling is None else structure_text(ceiling),
            "ceiling_key": row.ceiling_key,
            "unverified": len(row.unverified) if driven else "",
            "unverified_structures": _named(row.unverified, known),
            "unverified_keys": " ".join(row.unverified),
            "tight": len(row.tight) if driven else "",
            "tight_structures": _named(row.tight, known),
            "in_and_out": "" if row.in_out is None else row.in_out.answer.value,
            "blocked": "" if row.blocked is None else row.blocked.value,
            "in_the_way": _named([f.key for f in row.in_the_way if f.standing is not Standing.CLEAR], known),
            "gets_through_ft_in": _feet(row.gets_through),
            "gets_through_m": _metres(row.gets_through),
            "off_road_m": round(row.off_road_m, 1),
            "why": " ".join(reason_parts(row, known, self._units)),
            "was": "" if moved is None else was_text(moved),
            "moved_because": "" if moved is None else causes_text(moved.causes, known, self._units),
            "tallest_coach": tallest_text(row.tallest, coach.margin, Units.FEET),
            "tallest_clearance_m": _admitted(row.tallest),
            "tallest_coach_verified": tallest_text(row.tallest_verified, coach.margin, Units.FEET),
            "tallest_clearance_verified_m": _admitted(row.tallest_verified),
        }


def _trip(leg: str, trip: Trip | None) -> dict[str, Any]:
    if trip is None:
        return dict.fromkeys((f"{leg}_minutes", f"{leg}_mi", f"{leg}_km"), "")
    return {
        f"{leg}_minutes": _minutes(trip.duration_s),
        f"{leg}_mi": round(trip.distance_m / 1609.344, 2),
        f"{leg}_km": round(trip.distance_m / 1000, 2),
    }


def _problem(problem: Problem, names: Sequence[str]) -> dict[str, Any]:
    return {
        "name": plain(problem.name),
        "where": plain(problem.where),
        "coach": "" if problem.coach is None else names[problem.coach],
        "verdict": NOT_SCREENED,
        "why": problem_text(problem, names),
    }


def _minutes(seconds: float | None) -> float | str:
    return "" if seconds is None else round(seconds / 60, 1) + 0.0


def _metres(length: Length | None) -> float | str:
    return "" if length is None else float(length.metres)


def _feet(length: Length | None) -> str:
    return "" if length is None else clearance_text(length, Units.FEET)


def _admitted(admitted: Admitted) -> float | str:
    return _metres(admitted.clearance)


def _named(keys: Sequence[str], known: Mapping[str, Structure]) -> str:
    return "; ".join(structure_text(known[key]) if key in known else key for key in keys)

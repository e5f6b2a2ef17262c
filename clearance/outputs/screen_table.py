"""A screening as a table for a terminal of 80 columns; nothing in it needs colour."""

from __future__ import annotations

from collections.abc import Mapping

from clearance.core.changes import Changes
from clearance.core.screening import Row, Screening, totals
from clearance.core.structure import Structure
from clearance.outputs.lines import wrapped
from clearance.outputs.listing import origin_text
from clearance.outputs.measures import Units, clearance_text
from clearance.outputs.screen_changes import changes_headline, moved_text, structure_change_text
from clearance.outputs.screen_words import (
    by_key,
    clock_span,
    coach_names,
    common_bar_text,
    headline,
    problem_text,
    reason_parts,
    tallest_parts,
    totals_text,
    verdict_of_row,
)
from clearance.outputs.wording import CAUTIONS, coach_line, place_text, plain

__all__ = ["screen_text"]

_METRES_PER_MILE = 1609.344
_NAME_WIDTH = 20
_MOST_CHANGES = 40


def screen_text(screening: Screening, units: Units = Units.FEET) -> str:
    """The rows of each coach, sorted, each with what makes it so; sums first, problems after.

    Ends in a line end. No line is longer than 80 columns unless one word is.
    """
    names, known, sums = coach_names(screening), by_key(screening), totals(screening)
    blocks = [wrapped(headline(screening))]
    if screening.changes is not None:
        blocks.append(_changes(screening.changes, known, units))
    for number, coach in enumerate(screening.coaches):
        lines = wrapped(f"{names[number]}: {coach_line(coach, units)}.")
        lines += wrapped(totals_text(sums[number], units))
        lines += wrapped(common_bar_text(screening, number, units))
        rows = screening.of_coach(number)
        if rows:
            lines += ["", _heading(units)]
            for row in rows:
                lines += _row(row, screening, known, units)
        blocks.append(lines)
    if screening.problems:
        told = [
            line for p in screening.problems for line in wrapped(problem_text(p, names), "  - ")
        ]  # fmt: skip
        blocks.append(["Not screened", *told])
    blocks.append([line for note in screening.notes for line in wrapped(f"Note: {plain(note)}")])
    blocks.append([line for text in (*CAUTIONS[:3], origin_text(screening.info)) for line in wrapped(text)])
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


def _changes(changes: Changes, known: Mapping[str, Structure], units: Units) -> list[str]:
    lines = [*wrapped(changes_headline(changes))]
    for moved in changes.moved:
        lines += wrapped(moved_text(moved, known, units), "  - ")
    shown = changes.structures[:_MOST_CHANGES]
    if shown:
        lines.append("Structures that changed")
        for change in shown:
            lines += wrapped(structure_change_text(change, known, units), "  - ")
    if len(changes.structures) > len(shown):
        lines.append(f"  - and {len(changes.structures) - len(shown)} more; the JSON report holds all")
    return lines


def _heading(units: Units) -> str:
    away = "km" if units is Units.METRES else "mi"
    return (
        f"{'':>4} {'Destination':<{_NAME_WIDTH}} {'Verdict':<9} {'There':>5} {away:>6} {'Back':>5} {away:>6} "
        f"{'Extra':>5} {'Lowest':>6} {'?':>3}\n"
        f"{'':>4} {'(times are h:mm, Extra is beyond a car, ? counts structures not verified)'}"
    )


def _row(row: Row, screening: Screening, known: Mapping[str, Structure], units: Units) -> list[str]:
    shown = Units.METRES if units is Units.METRES else Units.FEET
    name = place_text(row.place)
    cells = []
    for trip in (row.there, row.back):
        cells.append(f"{'' if trip is None else clock_span(trip.duration_s):>5}")
        cells.append(f"{'' if trip is None else _away(trip.distance_m, shown):>6}")
    extra = "" if row.extra_s is None else clock_span(max(row.extra_s, 0.0))
    lowest = "" if row.ceiling is None else clearance_text(row.ceiling, shown)
    unverified = "" if not row.trips else str(len(row.unverified))
    short = name if len(name) <= _NAME_WIDTH else f"{name[: _NAME_WIDTH - 3].rstrip()}..."
    lines = [
        f"{row.number:>4} {short:<{_NAME_WIDTH}} {verdict_of_row(row):<9} {' '.join(cells)} "
        f"{extra:>5} {lowest:>6} {unverified:>3}".rstrip()
    ]
    parts = [f"{name}."] if short != name else []
    parts += reason_parts(row, known, units)
    parts.append(tallest_parts(row, screening.coaches[row.coach].margin, units))
    return [*lines, *wrapped(" ".join(parts), " " * 5)]


def _away(metres: float, units: Units) -> str:
    return f"{metres / (1000 if units is Units.METRES else _METRES_PER_MILE):,.1f}"

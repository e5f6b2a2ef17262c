"""A drive as a short text for a terminal of 80 columns; nothing in it needs colour."""

from __future__ import annotations

from collections.abc import Sequence

from clearance.core.drive import Drive, Finding, Unverified, Verdict
from clearance.core.structure import Standing
from clearance.outputs.lines import wrapped
from clearance.outputs.measures import Units, clearance_text, clock_text, distance_text, duration_text
from clearance.outputs.times import stop_text
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
    map_data_text,
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

__all__ = ["drive_text"]

_INDENT = " " * 4
#: A summary names so many of a kind one by one; the files hold all of them.
_MOST_CLEAR = 12
_MOST_DIFFERENCES = 6

_POLICY = {
    Unverified.AVOID: "avoided where another way is not much longer",
    Unverified.ACCEPT: "taken as they come",
    Unverified.REFUSE: "never driven under",
}


def drive_text(drive: Drive, units: Units = Units.FEET) -> str:
    """The verdict first, then what the drive is, what to mind on it in order, and how far to trust it.

    Ends in a line end. No line is longer than 80 columns unless one word is.
    """
    blocks = [
        [*wrapped(f"{verdict_word(drive.verdict)}. {verdict_sentence(drive, units)}")],
        _summary(drive, units),
        _blocked(drive, units),
        _stops(drive, units),
        _findings(drive, units),
        _unchecked(drive, units),
        _along(drive, units),
        _difference(drive, units),
        _listed("Notes", drive.notes),
        _listed("About the map data", drive.info.warnings),
        _listed("Before you go", [*filter(None, [area_text(drive.area)]), *CAUTIONS]),
        wrapped(map_data_text(drive.info)),
    ]
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


def _row(label: str, text: str) -> list[str]:
    return wrapped(text, first=f"{label:<8}")


def _summary(drive: Drive, units: Units) -> list[str]:
    lines = _row("Coach", coach_line(drive.coach, units))
    lines += _row("Drive", " to ".join(place_text(p) for p in drive.places))
    if drive.pieces:
        length = f"{distance_text(drive.distance_m, units)}, {duration_text(drive.duration_s)}"
        if drive.departure is not None:
            length += f", leaving at {clock_text(drive.departure, units)}"
        lines += _row("Length", length)
    if drive.car is not None:
        car = f"{distance_text(drive.car.distance_m, units)}, {duration_text(drive.car.duration_s)}"
        extra = drive.duration_s - drive.car.duration_s
        if drive.pieces and extra >= 30:
            car += f"; the coach takes {duration_text(extra)} more"
        lines += _row("A car", car)
    if drive.pieces:
        lowest = "no posted or measured height on it"
        if drive.ceiling is not None:
            lowest = f"{clearance_text(drive.ceiling, units)} is the lowest known height on it"
        lines += _row("Lowest", lowest)
    lines += _row("Policy", f"structures with no known height are {_POLICY[drive.unverified]}")
    return lines


def _blocked(drive: Drive, units: Units) -> list[str]:
    if drive.verdict is not Verdict.BLOCKED or not (drive.in_the_way or drive.obstacles):
        return []
    lines = ["In the way of the best way there is"]
    for finding in drive.in_the_way:
        lines += _finding(finding, drive, units)
    for obstacle in drive.obstacles:
        lines += wrapped(obstacle_text(obstacle), first="  - ")
    if drive.gets_through is not None and drive.gets_through < drive.coach.need:
        through = clearance_text(drive.gets_through, units)
        lines += wrapped(
            f"A way exists for a coach that needs no more than {through}, its margin included. "
            "Do not shave the margin to fit: choose another place, or park short of it."
        )
    return lines


def _stops(drive: Drive, units: Units) -> list[str]:
    lines = []
    for stop in drive.stops:
        told = [
            stop_text(drive, stop, units),
            "" if stop.in_out is None else in_out_text(stop.in_out, units),
            off_road_text(stop, units),
        ]
        if any(told):
            lines += wrapped(f"{place_text(stop.place)}: {' '.join(filter(None, told))}", first="  - ")
    return ["In and out", *lines] if lines else []


def _findings(drive: Drive, units: Units) -> list[str]:
    lines = []
    flagged = [f for f in drive.findings if f.standing is not Standing.CLEAR]
    clear = [f for f in drive.findings if f.standing is Standing.CLEAR]
    for finding in flagged:
        lines += _finding(finding, drive, units)
    if clear:
        named = [
            f"{f.number} {structure_text(f.structure, f.road)} {clearance_or_none(f, units)}"
            for f in clear[:_MOST_CLEAR]
        ]
        if len(clear) > _MOST_CLEAR:
            named.append(f"and {len(clear) - _MOST_CLEAR} more")
        lines += wrapped("; ".join(named), first="Clear: ")
    return ["On the drive, in order", *lines] if lines else []


def _finding(finding: Finding, drive: Drive, units: Units) -> list[str]:
    """A heading, what to do, where to turn off, and what is known."""
    where = distance_text(finding.distance_m, units)
    what = structure_text(finding.structure, finding.road)
    heading = f"{standing_text(finding.standing)} after {where}: {what}, {clearance_or_none(finding, units)}"
    lines = wrapped(heading, first=f"{finding.number:>2}  ")
    lines += wrapped(advice(finding, drive.coach, units), _INDENT)
    if drive.pieces and turn_off_text(finding, units):
        lines += wrapped(turn_off_text(finding, units), _INDENT)
    for line in evidence_lines(finding.structure, units):
        lines += wrapped(line, f"{_INDENT}- ")
    return lines


def _unchecked(drive: Drive, units: Units) -> list[str]:
    lines: list[str] = []
    for part in drive.unchecked:
        lines += wrapped(unchecked_text(part, units), first="  - ")
    return ["Not checked", *lines] if lines else []


def _along(drive: Drive, units: Units) -> list[str]:
    lines: list[str] = []
    for facility in drive.along:
        text = f"{facility_title(facility)}, {facility_text(facility, drive.coach, units)}"
        lines += wrapped(text, first="  - ")
    return ["Along the way", *lines] if lines else []


def _difference(drive: Drive, units: Units) -> list[str]:
    if drive.car is None or not drive.car.differences:
        return []
    lines = ["Why not the way a car would go"]
    shown = drive.car.differences[:_MOST_DIFFERENCES]
    for finding in shown:
        what = structure_text(finding.structure, finding.road)
        lines += wrapped(
            f"{what}: {clearance_or_none(finding, units)}, {standing_text(finding.standing).lower()}",
            first="  - ",
        )
    if len(drive.car.differences) > len(shown):
        lines.append(f"  - and {len(drive.car.differences) - len(shown)} more")
    return lines


def _listed(title: str, texts: Sequence[str]) -> list[str]:
    return [title, *(line for text in texts for line in wrapped(plain(text), first="  - "))] if texts else []

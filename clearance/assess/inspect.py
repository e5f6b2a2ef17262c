"""A line made elsewhere, checked as it is; and mended only where it is too low."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from clearance.assess.blocked import obstacles_on
from clearance.assess.case import Case
from clearance.assess.findings import ceiling_of, findings_of, numbered, verdict_of
from clearance.assess.mend import mended
from clearance.assess.pieces import pieces_of
from clearance.assess.turn_off import with_turn_offs
from clearance.core.drive import Drive, Finding, Obstacle, Piece, Stop, Unchecked, Verdict
from clearance.core.places import Place
from clearance.network.geometry import arc_points
from clearance.network.known import area_known
from clearance.routing.match import match_line
from clearance.routing.snap import Snap

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from clearance.core.coach import Coach
    from clearance.core.conditions import Window
    from clearance.core.drive import Unverified
    from clearance.core.line import Line
    from clearance.network.network import Network
    from clearance.routing.match import MatchedPart
    from clearance.routing.route import Route

__all__ = ["inspect_line"]


@dataclass(frozen=True, slots=True)
class _Laid:
    """One part of the line on the roads, and what was done to it."""

    part: MatchedPart
    route: Route
    notes: tuple[str, ...]


def inspect_line(
    network: Network,
    coach: Coach,
    line: Line,
    *,
    unverified: Unverified,
    window: Window | None = None,
    departure: datetime | None = None,
    mend: bool = False,
) -> Drive:
    """What a line from elsewhere passes, as a drive with `unchecked` parts where it lies on no known road.

    Parts on roads get findings as a planned drive does, with the turn-off before each that is not clear.
    With `mend` the parts that are too low, and only those, are led another way where there is one. The
    verdict is blocked where something too low or otherwise closed is on it, and at best care where a
    part is unchecked. Distances are along the driven line, unchecked parts included.

    Raises InputError where the road file holds no roads; a line that touches none is all unchecked.
    """
    case = Case.of(network, coach, unverified, window)
    match = match_line(network, line, seconds=case.costs.seconds)
    laid = [_lay(case, part, mend=mend) for part in match.parts]
    pieces: list[Piece] = []
    findings: list[Finding] = []
    obstacles: list[Obstacle] = []
    unchecked: list[Unchecked] = []
    distance = seconds = 0.0
    waiting = sorted(match.unmatched, key=lambda u: u.distance_m)
    for one in laid:
        while waiting and waiting[0].distance_m < one.part.distance_m:
            unchecked.append(replace(waiting[0], distance_m=distance))
            distance += waiting.pop(0).length_m
        pieces += pieces_of(case, one.route, distance_m=distance, seconds=seconds)
        findings += _found(case, one.route, distance, seconds)
        obstacles += obstacles_on(case, one.route)
        unchecked += [
            replace(a, distance_m=distance + max(0.0, a.distance_m - one.part.distance_m))
            for a in one.part.assumed
        ]
        distance += one.route.length_m
        seconds += one.route.seconds
    for rest in waiting:
        unchecked.append(replace(rest, distance_m=distance))
        distance += rest.length_m
    told = numbered(findings)
    verdict = verdict_of(told)
    if obstacles:
        verdict = Verdict.BLOCKED
    elif unchecked and verdict is Verdict.CLEAR:
        verdict = Verdict.CARE
    first, last = _end(line, 0), _end(line, -1)
    return Drive(
        places=(first, last),
        coach=coach,
        unverified=unverified,
        verdict=verdict,
        info=network.info,
        distance_m=distance,
        duration_s=seconds,
        pieces=tuple(pieces),
        findings=told,
        ceiling=ceiling_of(told),
        obstacles=tuple(dict.fromkeys(obstacles)),
        departure=departure,
        stops=_stops(first, last, distance, seconds),
        unchecked=tuple(unchecked),
        notes=(*line.notes, *match.notes, *(note for one in laid for note in one.notes)),
        area=area_known(network),
    )


def _end(line: Line, at: int) -> Place:
    lon, lat = line.points[at].tolist()
    return Place(lon=lon, lat=lat, name=("start of the line", "end of the line")[at])


def _stops(first: Place, last: Place, distance: float, seconds: float) -> tuple[Stop, ...]:
    ends = ((first, 0.0, 0.0), (last, distance, seconds))
    return tuple(
        Stop(place=p, lon=p.lon, lat=p.lat, off_road_m=0.0, distance_m=d, arrives_s=s, leaves_s=s)
        for p, d, s in ends
    )


def _lay(case: Case, part: MatchedPart, *, mend: bool) -> _Laid:
    if not mend:
        return _Laid(part, part.route, ())
    opened = case.opened([part.route.arcs[0]], [part.route.arcs[-1]])
    route, changed, hopeless = mended(opened, part.route)
    notes = []
    if changed:
        notes.append(
            f"{changed} part{'s' if changed > 1 else ''} of the line too low for the coach led another way, "
            f"{max(0.0, route.seconds - part.route.seconds) / 60:.0f} min more"
        )
    for k in hopeless:
        structure = case.network.structures[k]
        where = f"{structure.lat:.5f},{structure.lon:.5f}"
        notes.append(f"no way round the {structure.kind} at {where} leads back onto the line")
    return _Laid(part, route, tuple(notes))


def _found(case: Case, route: Route, distance_m: float, seconds: float) -> Sequence[Finding]:
    """The findings of a part, each with the turn-off before it on the way to the end of the part."""
    found = findings_of(case, route, distance_m=distance_m, seconds=seconds)
    start = _on(case.network, route.arcs[0], route.start)
    end = _on(case.network, route.arcs[-1], route.end)
    opened = case.opened([route.arcs[0]], [route.arcs[-1]])
    return with_turn_offs(opened, route, found, end=[end], start=[start])


def _on(network: Network, arc: int, fraction: float) -> Snap:
    lon, lat = arc_points(network, arc, fraction, fraction)
    return Snap(arc=arc, fraction=fraction, distance_m=0.0, lon=float(lon[0]), lat=float(lat[0]))

"""A day's drive: from places in order to a drive with its verdict, findings and stops."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np

from clearance.assess.along import LegGround, facilities_along
from clearance.assess.beside import CarBeside
from clearance.assess.blocked import SearchEach, explain
from clearance.assess.case import Case
from clearance.assess.findings import ceiling_of, findings_of, numbered, verdict_of
from clearance.assess.in_out import in_out_of, no_entry
from clearance.assess.legs import Legs, NoLegError, dead_end_cost, hop, leave_forward, plan_legs
from clearance.assess.meeting import Met, meet, on_road
from clearance.assess.order import MOST_EXACT, best_order
from clearance.assess.pieces import pieces_of
from clearance.assess.turn_off import with_turn_offs
from clearance.core.conditions import Window
from clearance.core.drive import Drive, Finding, Piece, Stop, Verdict
from clearance.core.errors import NoWayError, UsageError
from clearance.network.known import area_known
from clearance.routing.snap import Snap

if TYPE_CHECKING:
    from clearance.core.coach import Coach
    from clearance.core.drive import Unverified
    from clearance.core.facility import FacilityKind
    from clearance.core.places import Place
    from clearance.network.network import Network
    from clearance.routing.route import Route

__all__ = ["FIRST_WINDOW", "LAST_WINDOW", "Along", "Halt", "drives_between", "plan_day", "reordered"]

#: How long a drive is first thought to take; a longer one is judged again for its own time.
FIRST_WINDOW = timedelta(hours=2)
#: Conditions over more days than this are no longer told apart.
LAST_WINDOW = timedelta(days=14)


@dataclass(frozen=True, slots=True, kw_only=True)
class Halt:
    """A place to drive to and the seconds to be spent there."""

    place: Place
    stay_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Along:
    """Which facilities to look for near a drive, and the longest detour to one in seconds."""

    kinds: tuple[FacilityKind, ...]
    detour_s: float


def plan_day(
    network: Network,
    coach: Coach,
    halts: Sequence[Halt],
    *,
    unverified: Unverified,
    departure: datetime | None = None,
    along: Along | None = None,
) -> Drive:
    """The drive of `coach` through `halts` in order, blocked where none fits it.

    With `along` the facilities near it come with it.

    Conditions in the map (times, days) are judged for the time from departure to arrival; without a
    departure every restriction is assumed to hold.

    Raises UsageError for fewer than two halts, PlaceError for a place far from any road, NoWayError where not
    even a car gets there.
    """
    if len(halts) < 2:
        raise UsageError(f"a drive needs two places, a start and an end; {len(halts)} given")
    length = FIRST_WINDOW + timedelta(seconds=sum(h.stay_s for h in halts))
    while True:
        window = None
        if departure is not None and length <= LAST_WINDOW:
            window = Window(departure, departure + length)
        drive = _plan(Case.of(network, coach, unverified, window), halts, departure, along)
        takes = timedelta(seconds=max((s.leaves_s for s in drive.stops), default=0.0))
        if window is None or takes <= length:
            return drive
        length = 2 * takes


def reordered(
    network: Network,
    coach: Coach,
    halts: Sequence[Halt],
    *,
    unverified: Unverified,
    departure: datetime | None = None,
) -> tuple[list[Halt], str]:
    """The halts with those between the ends in the best order found, and a sentence that says so.

    What counts is what `plan_day` counts: driving time, the policy's seconds for what is passed, and turning
    round at stops. The order given is kept, and the sentence says so, where none has a drive on every leg.
    """
    window = None if departure is None else Window(departure, departure + FIRST_WINDOW)
    case = Case.of(network, coach, unverified, window)
    snaps = [on_road(case, h.place, case.costs.usable) for h in halts]
    # A way to come to a stop is one of its snaps; the start has one way, to leave it as one likes.
    ways: list[tuple[int, Snap | None]] = [(0, None)]
    ways += [(i, at) for i in range(1, len(halts)) for at in snaps[i]]
    cost = np.full((len(ways), len(ways)), np.inf)
    for j, (end, goal) in enumerate(ways):
        if goal is None:
            continue
        back = dead_end_cost(case, goal, snaps[0]) if end == len(halts) - 1 else 0.0
        for i, (start, arrived) in enumerate(ways):
            if start in {end, len(halts) - 1}:
                continue
            opened = case.opened([s.arc for s in snaps[start]], [s.arc for s in snaps[end]])
            leg = hop(opened, snaps[start], goal, arrived)
            if leg is not None:
                cost[i, j] = leg.cost + back
    order = best_order(cost, [stop for stop, _ in ways])
    if order is None:
        return list(halts), "no order of the stops has a drive on every leg; the order given was kept"
    told = ", ".join(halts[i].place.name or f"stop {i}" for i in order.stops[1:-1])
    if order.exact:
        return [halts[i] for i in order.stops], f"stops put in the best order: {told}"
    return (
        [halts[i] for i in order.stops],
        f"stops put in a good order, not surely the best as there are more than {MOST_EXACT}: {told}",
    )


def drives_between(
    case: Case,
    start: Halt,
    end: Halt,
    find: Callable[[Case, Sequence[Snap], Sequence[Snap]], Iterable[Route]],
    *,
    departure: datetime | None = None,
) -> tuple[Drive, ...]:
    """A drive for each route that `find` has from the snaps of `start` to those of `end`.

    `find` is given the case with the ends-only roads opened that the two places need. Raises PlaceError for
    a place far from any road.
    """
    halts = [start, end]
    car = CarBeside(case)
    met = _meet(case, halts, car)
    base = _base(case, halts, met, departure)
    opened = case.opened(*([s.arc for s in snaps] for snaps in met.snaps))
    drives = []
    for route in find(opened, *met.snaps):
        leaves = leave_forward(case, _end_snap(met.snaps[1], route), met.snaps[0]) is not None
        legs = Legs(routes=(route,), forward=(True, leaves), turns_s=0.0)
        drives.append(_driven(case, base, halts, met, legs, car=car))
    return tuple(drives)


def _base(case: Case, halts: Sequence[Halt], met: Met, departure: datetime | None) -> Drive:
    """A drive of which only the question is known."""
    return Drive(
        places=tuple(h.place for h in halts),
        coach=case.coach,
        unverified=case.unverified,
        verdict=Verdict.BLOCKED,
        info=case.network.info,
        departure=departure,
        notes=met.notes,
        area=area_known(case.network),
    )


def _plan(case: Case, halts: Sequence[Halt], departure: datetime | None, along: Along | None) -> Drive:
    car = CarBeside(case)
    met = _meet(case, halts, car)
    base = _base(case, halts, met, departure)
    try:
        legs = plan_legs(case, met.snaps)
    except NoLegError as missing:
        return _blocked(case, base, met, missing.leg, car)
    drive = _driven(case, base, halts, met, legs, car=car)
    if along is None:
        return drive
    grounds = [
        LegGround(route=route, start=met.snaps[i], end=met.snaps[i + 1], distance_m=drive.stops[i].distance_m)
        for i, route in enumerate(legs.routes)
    ]
    return replace(drive, along=facilities_along(case, grounds, along.kinds, detour_s=along.detour_s))


# --- places -------------------------------------------------------------------------------------------


def _meet(case: Case, halts: Sequence[Halt], car: CarBeside) -> Met:
    places = [h.place for h in halts]
    snaps = [on_road(case, place, case.costs.usable) for place in places]
    met = meet(case, snaps, places, reaches=car.reaches)
    car.forget_costs()
    return met


# --- a drive that fits ----------------------------------------------------------------------------------


def _driven(case: Case, base: Drive, halts: Sequence[Halt], met: Met, legs: Legs, *, car: CarBeside) -> Drive:
    pieces: list[Piece] = []
    findings: list[Finding] = []
    # All snaps of a place are one point.
    stops = [_stop(halts[0], met.snaps[0][0], 0.0, 0.0, last=False)]
    for leg, route in enumerate(legs.routes):
        distance, seconds = stops[-1].distance_m, stops[-1].leaves_s
        pieces += pieces_of(case, route, distance_m=distance, seconds=seconds)
        found = findings_of(case, route, distance_m=distance, seconds=seconds)
        opened = case.opened([s.arc for s in met.snaps[leg]], [s.arc for s in met.snaps[leg + 1]])
        findings += with_turn_offs(opened, route, found, end=met.snaps[leg + 1], start=met.snaps[leg])
        goal = _end_snap(met.snaps[leg + 1], route)
        stop = _stop(
            halts[leg + 1],
            goal,
            distance + route.length_m,
            seconds + route.seconds,
            last=leg == len(legs.routes) - 1,
        )
        way = no_entry(case, halts[leg + 1].place, goal) or in_out_of(
            case, route, goal, forward=legs.forward[leg + 1]
        )
        stops.append(replace(stop, in_out=way))
    told = numbered(findings)
    return replace(
        base,
        verdict=verdict_of(told),
        distance_m=stops[-1].distance_m,
        duration_s=sum(r.seconds for r in legs.routes),
        policy_seconds=sum(r.policy_seconds for r in legs.routes) + legs.turns_s,
        pieces=tuple(pieces),
        findings=told,
        ceiling=ceiling_of(told),
        car=car.drive(met.snaps, {f.structure.key for f in told}),
        stops=tuple(stops),
    )


def _end_snap(snaps: Sequence[Snap], route: Route) -> Snap:
    return min(snaps, key=lambda s: (s.arc != route.arcs[-1], abs(s.fraction - route.end)))


def _stop(halt: Halt, at: Snap, distance_m: float, seconds: float, *, last: bool) -> Stop:
    return Stop(
        place=halt.place,
        lon=at.lon,
        lat=at.lat,
        off_road_m=at.distance_m,
        distance_m=distance_m,
        arrives_s=seconds,
        leaves_s=seconds if last else seconds + halt.stay_s,
    )


# --- a drive that does not ------------------------------------------------------------------------------


def _blocked(case: Case, base: Drive, met: Met, leg: int, car: CarBeside) -> Drive:
    start, end = met.snaps[leg], met.snaps[leg + 1]
    why = explain(case, SearchEach(case, start, end))
    names = [p.name or f"{p.lat:.5f},{p.lon:.5f}" for p in base.places[leg : leg + 2]]
    if not why.connected:
        raise NoWayError(
            f"no way leads from {names[0]} to {names[1]} in the map data, whatever the vehicle; check the "
            "places, or get a larger area"
        )
    notes = base.notes
    if len(base.places) > 2:
        notes = (*notes, f"the part from {names[0]} to {names[1]} is the one that no drive fits")
    return replace(
        base,
        notes=notes,
        car=car.drive(met.snaps, set()),
        in_the_way=why.in_the_way,
        gets_through=why.gets_through,
        obstacles=why.obstacles,
    )

"""Facilities near a drive: what going there and on takes, and how the coach gets in and out."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from clearance.assess.in_out import in_out_of, no_entry
from clearance.core.drive import InOutAnswer
from clearance.core.errors import PlaceError
from clearance.core.facility import Facility, FacilityKind, facility_kinds, facility_notes, serves
from clearance.core.heights import read_heights
from clearance.routing.kernels import shortest
from clearance.routing.plan import route_of, states_of, stretch
from clearance.routing.reverse import ToGo, backward_turns, cost_to_go
from clearance.routing.route import route_points
from clearance.routing.snap import snap

if TYPE_CHECKING:
    from clearance.assess.case import Case
    from clearance.core.places import Place
    from clearance.network.network import F64, I32
    from clearance.routing.reverse import BackwardTurns
    from clearance.routing.route import Route
    from clearance.routing.snap import Snap

__all__ = ["LegGround", "facilities_along"]

#: Facilities farther from the drive than what this speed does in the allowed time are not looked at.
_REACH_M_PER_S = 30.0
#: A filling station this near the end, by detour, is near enough to bring the coach back full. Judgement.
_FULL_TANK_S = 900.0
#: A facility farther than this from any road is no place to drive to.
_OFF_ROAD_M = 150.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LegGround:
    """A leg of the day: its route, the snaps of its ends, and the metres before it."""

    route: Route
    start: Sequence[Snap]
    end: Sequence[Snap]
    distance_m: float


@dataclass(frozen=True, slots=True)
class _Searched:
    """A leg with what it costs from the drive to everywhere and from everywhere on to its end."""

    ground: LegGround
    case: Case
    label: F64
    before: I32
    left_at: dict[int, int]
    to_go: ToGo
    total: float


def facilities_along(
    case: Case, legs: Sequence[LegGround], kinds: Iterable[FacilityKind], *, detour_s: float
) -> tuple[Facility, ...]:
    """The facilities of `kinds` whose detour is no longer than `detour_s`, in the order of the drive.

    A facility may come once for each kind. Only such as serve the coach, see `core.facility.serves`.
    Where fuel is asked for, the station with the shortest detour from the last leg near its end comes
    as `full_tank` too, however many there are.
    """
    wanted = frozenset(kinds)
    backward = backward_turns(case.network)
    searched = [_search(case, backward, leg) for leg in legs]
    found: list[Facility] = []
    for place in case.network.places:
        offered = facility_kinds(dict(place.tags)) & wanted
        if not offered or not _near(case, place, legs, max(detour_s, _FULL_TANK_S)):
            continue
        best = _best(case, searched, place)
        if best is None:
            continue
        for kind in sorted(offered):
            if serves(kind, dict(place.tags), case.coach):
                found.append(_told(case, kind, place, best))
    tank = _full_tank(found, searched)
    within = [f for f in found if f.detour_s <= detour_s and f is not tank]
    return tuple(
        sorted(
            [*within, *([replace(tank, full_tank=True)] if tank else [])],
            key=lambda f: (f.distance_m, f.kind, f.place.osm),
        )
    )


def _near(case: Case, place: Place, legs: Sequence[LegGround], detour_s: float) -> bool:
    """Whether a place is within a box round some leg: a cheap look before any search."""
    reach = detour_s * _REACH_M_PER_S / 2
    for leg in legs:
        lon, lat = route_points(case.network, leg.route)
        up = reach / 111_000
        side = up / max(0.1, float(np.cos(np.radians(lat.mean()))))
        if (
            lon.min() - side <= place.lon <= lon.max() + side
            and lat.min() - up <= place.lat <= lat.max() + up
        ):
            return True
    return False


def _search(case: Case, backward: BackwardTurns, leg: LegGround) -> _Searched:
    """From every junction of the route outwards, and from everywhere on to the end of the leg."""
    opened = case.opened([s.arc for s in leg.start], [s.arc for s in leg.end])
    network, costs, route = case.network, opened.costs, leg.route
    label: dict[int, float] = {}
    left_at: dict[int, int] = {}
    gone = 0.0
    for i, arc in enumerate(route.arcs):
        gone += stretch(network, costs, arc, *route.span(i)).cost
        if i < len(route.turns):
            for turn in range(
                int(network.turn_ptr[route.states[i]]), int(network.turn_ptr[route.states[i] + 1])
            ):
                state, value = int(network.turn_to[turn]), gone + float(costs.turn_extra[turn])
                if value < label.get(state, np.inf):
                    label[state] = value
                    left_at[state] = i
            gone += float(costs.turn_extra[route.turns[i]])
    labels, before, _ = shortest(
        network.turn_ptr,
        network.turn_to,
        cost=costs.cost,
        turn_extra=costs.turn_extra,
        sources=np.array(list(label), dtype=np.int32),
        source_labels=np.array(list(label.values()), dtype=np.float64),
        targets=np.zeros(0, np.int32),
        target_extra=np.zeros(0, np.float64),
    )
    to_go = cost_to_go(network, costs, backward, leg.end)
    return _Searched(leg, opened, labels, before, left_at, to_go, gone)


@dataclass(frozen=True, slots=True)
class _Visit:
    """The shortest way by a facility on one leg: the way there, and whether it leads on forward."""

    searched: _Searched
    at: Snap
    cost: float
    forward: bool
    left: int
    way: Route


def _best(case: Case, searched: Sequence[_Searched], place: Place) -> _Visit | None:
    """The visit with the least detour that leads on forward; else the least with turning round there."""
    try:
        snaps = snap(case.network, place.lon, place.lat, case.costs.usable, limit_m=_OFF_ROAD_M)
    except PlaceError:
        return None
    visits = [v for leg in searched for at in snaps if (v := _visit(leg, at, snaps)) is not None]
    return min(visits, key=lambda v: (not v.forward, v.cost), default=None)


def _visit(leg: _Searched, at: Snap, snaps: Sequence[Snap]) -> _Visit | None:
    network, costs = leg.case.network, leg.case.costs
    route = leg.ground.route
    into = stretch(network, costs, at.arc, 0.0, at.fraction).cost
    state = min(states_of(network, at.arc), key=lambda s: float(leg.label[s]))
    there = float(leg.label[state]) + into
    states = [state]
    if np.isfinite(there):
        while leg.before[states[-1]] >= 0:
            states.append(int(leg.before[states[-1]]))
        states = [*route.states[: leg.left_at[states[-1]] + 1], *states[::-1]]
    if at.arc == route.arcs[0] and at.fraction >= route.start:
        on_first = stretch(network, costs, at.arc, route.start, at.fraction).cost
        if on_first < there:
            there, states = on_first, [route.states[0]]
    if not np.isfinite(there):
        return None
    onward = _onward(leg, at)
    forward = bool(np.isfinite(onward))
    if not forward:
        onward = min((_onward(leg, s) for s in snaps if s.arc == network.arc_reverse[at.arc]), default=np.inf)
    if not np.isfinite(onward):
        return None
    left = sum(a == b for a, b in zip(states, route.states, strict=False))
    way = route_of(network, costs, states, route.start, at.fraction)
    return _Visit(leg, at, max(0.0, there + onward - leg.total), forward, left, way)


def _onward(leg: _Searched, at: Snap) -> float:
    """What going on from a snap to the end of the leg costs."""
    network, costs = leg.case.network, leg.case.costs
    after = min(float(leg.to_go.after[s]) for s in states_of(network, at.arc))
    onward = stretch(network, costs, at.arc, at.fraction, 1.0).cost + after
    for goal in leg.ground.end:
        if goal.arc == at.arc and goal.fraction >= at.fraction:
            onward = min(onward, stretch(network, costs, at.arc, at.fraction, goal.fraction).cost)
    return onward


def _told(case: Case, kind: FacilityKind, place: Place, visit: _Visit) -> Facility:
    tags = dict(place.tags)
    ground = visit.searched.ground
    network = case.network
    in_out = no_entry(visit.searched.case, place, visit.at) or in_out_of(
        visit.searched.case, visit.way, visit.at, forward=visit.forward
    )
    gone = sum(
        float(network.arc_length[ground.route.arcs[i]]) * (to - from_)
        for i in range(min(visit.left, len(ground.route.arcs)))
        for from_, to in [ground.route.span(i)]
    )
    if visit.left == len(visit.way.states):
        # It stands on the drive itself: not at the end of its arc, which may lie miles beyond.
        gone = min(visit.way.length_m, ground.route.length_m)
    heights = read_heights(tags, place.osm, case.network.info.data_date)
    figures = [e.figure for e in heights.evidence if e.figure is not None]
    return Facility(
        kind=kind,
        place=place,
        lon=visit.at.lon,
        lat=visit.at.lat,
        distance_m=ground.distance_m + gone,
        detour_s=visit.cost,
        in_out=in_out,
        canopy=min(figures, default=None),
        notes=facility_notes(kind, tags, case.coach),
    )


def _full_tank(found: Sequence[Facility], searched: Sequence[_Searched]) -> Facility | None:
    """The station for a full tank: on the last leg, as late on it and as near to it as there is."""
    if not searched:
        return None
    last = searched[-1].ground
    stations = [
        f
        for f in found
        if f.kind is FacilityKind.FUEL
        and f.distance_m >= last.distance_m
        and f.detour_s <= _FULL_TANK_S
        and f.in_out.answer is InOutAnswer.DRIVES_THROUGH
        and (f.canopy is None or f.canopy >= searched[-1].case.coach.need)
    ]
    end = last.distance_m + last.route.length_m
    # A minute of detour weighs as much as a kilometre less far from the end.
    return min(stations, key=lambda f: (end - f.distance_m) / 1000 + f.detour_s / 60, default=None)

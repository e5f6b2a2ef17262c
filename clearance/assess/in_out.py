"""The way in and out of a stop: forward through it, or back the way one came."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from clearance.assess.turning import place_to_turn
from clearance.core.drive import InOut, InOutAnswer
from clearance.core.errors import PlaceError
from clearance.core.structure import Standing
from clearance.network.network import FLAG_CAR_PARK, FLAG_DRIVE_THROUGH
from clearance.routing.mask import STANDINGS
from clearance.routing.ran import stage
from clearance.routing.route import covered_hits
from clearance.routing.snap import snap

if TYPE_CHECKING:
    from clearance.assess.case import Case
    from clearance.assess.turning import PlacesToTurn
    from clearance.core.places import Place
    from clearance.network.network import Network
    from clearance.routing.mask import Costs
    from clearance.routing.route import Route
    from clearance.routing.snap import SegmentIndex, Snap

__all__ = ["in_out_of", "no_entry"]

#: A place belongs to the lane it lies on, unless another road is as near as this (metres, judgement).
_AS_NEAR_M = 5.0
_LANES = {FLAG_DRIVE_THROUGH: "a drive-through lane", FLAG_CAR_PARK: "a car-park deck or its ramp"}


def no_entry(case: Case, place: Place, met: Snap, index: SegmentIndex | None = None) -> InOut | None:
    """ "Do not enter" where the place itself lies on a lane that is none for a coach; else None.

    `met` is where the drive meets the road nearest to the place that the coach may use; `index` one of the
    network, where the caller has it.
    """
    network = case.network
    everything = np.ones(network.arc_tail.size, np.bool_)
    try:
        nearest = snap(network, place.lon, place.lat, everything, index=index)
    except PlaceError:
        return None
    if nearest[0].distance_m + _AS_NEAR_M > met.distance_m:
        nearest = [s for s in nearest if s.arc == met.arc] or [met]
    for at in nearest:
        flags = int(network.arc_flags[at.arc])
        for flag, what in _LANES.items():
            if flags & flag:
                return InOut(
                    answer=InOutAnswer.DO_NOT_ENTER,
                    reason=f"the place lies on {what}; stop at the road",
                )
    low = _too_low_on(case, nearest[0].arc) if nearest[0].arc != met.arc else None
    if low is not None:
        return InOut(answer=InOutAnswer.DO_NOT_ENTER, reason=low)
    return None


def _too_low_on(case: Case, arc: int) -> str | None:
    network = case.network
    for hit in covered_hits(network, arc, 0.0, 1.0):
        code = case.costs.standing[network.hit_structure[hit], network.hit_side[hit]]
        if STANDINGS[int(code)] is Standing.TOO_LOW:
            kind = network.structures[int(network.hit_structure[hit])].kind
            return f"the way in passes a {kind} that is too low"
    return None


@stage("in and out")
def in_out_of(
    case: Case, route: Route, arrived: Snap, *, forward: bool, turning: PlacesToTurn | None = None
) -> InOut:
    """The way in and out of a stop that `route` comes to by `arrived`.

    `forward` tells whether a drive leads on in the direction of arrival. Where none does the stop is a
    dead end: how long it is, and the nearest mapped place to turn that lies ahead, from `turning` where the
    caller has all of them.
    """
    if forward:
        return InOut(answer=InOutAnswer.DRIVES_THROUGH)
    network, coach = case.network, case.coach
    dead_end_m = _dead_end(network, case.costs, route)
    serious = coach.towing and not coach.tow_reversible
    turn = turning.ahead(arrived) if turning else place_to_turn(network, case.costs, arrived)
    reason = "dead end: no way leads on forward from here"
    if turn is None:
        return InOut(answer=InOutAnswer.NEEDS_ROOM, reason=reason, serious=serious, dead_end_m=dead_end_m)
    kind, node, metres = turn
    return InOut(
        answer=InOutAnswer.NEEDS_ROOM,
        reason=reason,
        serious=serious,
        dead_end_m=dead_end_m,
        turn_kind=kind,
        turn_lon=float(network.node_lon[node]),
        turn_lat=float(network.node_lat[node]),
        turn_m=metres,
    )


def _dead_end(network: Network, costs: Costs, route: Route) -> float:
    """Metres from the last junction with another way on to the end of the route."""
    metres = 0.0
    for leg in range(len(route.arcs) - 1, -1, -1):
        start, end = route.span(leg)
        metres += float(network.arc_length[route.arcs[leg]]) * (end - start)
        if leg == 0:
            break
        before = route.states[leg - 1]
        for turn in range(int(network.turn_ptr[before]), int(network.turn_ptr[before + 1])):
            other = int(network.turn_to[turn])
            is_open = np.isfinite(costs.turn_extra[turn]) and np.isfinite(costs.cost[other])
            if is_open and network.state_arc[other] != route.arcs[leg]:
                return metres
    return metres

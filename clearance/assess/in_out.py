"""The way in and out of a stop: forward through it, or back the way one came."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from clearance.core.drive import InOut, InOutAnswer
from clearance.core.errors import PlaceError
from clearance.core.structure import Standing
from clearance.network.network import (
    FLAG_CAR_PARK,
    FLAG_DRIVE_THROUGH,
    NODE_TURNING_CIRCLE,
    NODE_TURNING_LOOP,
)
from clearance.routing.kernels import shortest
from clearance.routing.mask import STANDINGS
from clearance.routing.route import covered_hits
from clearance.routing.snap import snap

if TYPE_CHECKING:
    from clearance.assess.case import Case
    from clearance.core.places import Place
    from clearance.network.network import Network
    from clearance.routing.mask import Costs
    from clearance.routing.route import Route
    from clearance.routing.snap import Snap

__all__ = ["in_out_of", "no_entry"]

#: A place belongs to the lane it lies on, unless another road is as near as this (metres, judgement).
_AS_NEAR_M = 5.0
_TURNING = {NODE_TURNING_LOOP: "turning loop", NODE_TURNING_CIRCLE: "turning circle"}
_LANES = {FLAG_DRIVE_THROUGH: "a drive-through lane", FLAG_CAR_PARK: "a car-park deck or its ramp"}


def no_entry(case: Case, place: Place, met: Snap) -> InOut | None:
    """ "Do not enter" where the place itself lies on a lane that is none for a coach; else None.

    `met` is where the drive meets the road nearest to the place that the coach may use.
    """
    network = case.network
    everything = np.ones(network.arc_tail.size, np.bool_)
    try:
        nearest = snap(network, place.lon, place.lat, everything)
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


def in_out_of(case: Case, route: Route, arrived: Snap, *, forward: bool) -> InOut:
    """The way in and out of a stop that `route` comes to by `arrived`.

    `forward` tells whether a drive leads on in the direction of arrival. Where none does the stop is a
    dead end: how long it is, and the nearest mapped place to turn that lies ahead.
    """
    if forward:
        return InOut(answer=InOutAnswer.DRIVES_THROUGH)
    network, coach = case.network, case.coach
    dead_end_m = _dead_end(network, case.costs, route)
    serious = coach.towing and not coach.tow_reversible
    turn = _place_to_turn(network, case.costs, arrived)
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


def _place_to_turn(network: Network, costs: Costs, arrived: Snap) -> tuple[str, int, float] | None:
    """The nearest turning loop or circle ahead: its kind, node, and metres from the stop."""
    turning = network.node_flags & (NODE_TURNING_CIRCLE | NODE_TURNING_LOOP)
    if not turning.any():
        return None
    lengths = np.where(np.isfinite(costs.arc_cost), network.arc_length, np.inf)
    rest = float(network.arc_length[arrived.arc]) * (1 - arrived.fraction)
    head = int(network.arc_head[arrived.arc])
    if turning[head]:
        return _TURNING[_first_flag(int(turning[head]))], head, rest
    begin, stop = int(network.turn_ptr[arrived.arc]), int(network.turn_ptr[arrived.arc + 1])
    onward = [t for t in range(begin, stop) if np.isfinite(costs.turn_extra[t])]
    targets = np.flatnonzero(turning[network.arc_head[network.state_arc]])
    if not onward or not targets.size:
        return None
    labels, _, found = shortest(
        network.turn_ptr,
        network.turn_to,
        cost=lengths[network.state_arc],
        turn_extra=np.where(np.isfinite(costs.turn_extra), np.float32(0), np.float32(np.inf)),
        sources=network.turn_to[onward].astype(np.int32),
        source_labels=np.full(len(onward), rest),
        targets=targets.astype(np.int32),
        target_extra=lengths[network.state_arc[targets]],
    )
    if found < 0:
        return None
    state = int(targets[found])
    arc = int(network.state_arc[state])
    node = int(network.arc_head[arc])
    return _TURNING[_first_flag(int(turning[node]))], node, float(labels[state]) + float(lengths[arc])


def _first_flag(flags: int) -> int:
    return NODE_TURNING_LOOP if flags & NODE_TURNING_LOOP else NODE_TURNING_CIRCLE

"""The turns read backwards, and what it costs from everywhere to one place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from clearance.routing.kernels import shortest
from clearance.routing.mask import turns_through
from clearance.routing.plan import states_of, stretch

if TYPE_CHECKING:
    from clearance.network.network import F64, I32, I64, Network
    from clearance.routing.mask import Costs
    from clearance.routing.snap import Snap

__all__ = ["BackwardTurns", "ToGo", "backward_turns", "cost_to_go", "without"]


@dataclass(frozen=True, slots=True, kw_only=True)
class BackwardTurns:
    """Turns into state i are ptr[i] : ptr[i + 1] of `from_state` (t,) and of `turn` (t,), their own index."""

    ptr: I64
    from_state: I32
    turn: I64


@dataclass(frozen=True, slots=True, kw_only=True)
class ToGo:
    """What it costs to go on to a place.

    `after` (s,) is from the END of each state's arc, infinite where no way leads there; `next_state` (s,)
    the state to go on to, -1 where the next arc is the last. `last` then has the state of that last arc and
    the fraction of it that is driven, by the state before.
    """

    after: F64
    next_state: I32
    last: dict[int, tuple[int, float]]


def backward_turns(network: Network) -> BackwardTurns:
    """The turns of a network sorted by the state they lead into."""
    # Compiled for itself: who plans a drive with nothing to turn off before does not load it.
    from clearance.routing.transpose import transposed

    ptr, from_state, turn = transposed(network.turn_ptr, network.turn_to)
    return BackwardTurns(ptr=ptr, from_state=from_state, turn=turn)


def without(network: Network, costs: Costs, structure: int) -> Costs:
    """The same costs with every passage of one structure closed."""
    arcs = np.unique(network.hit_arc[(network.hit_structure == structure) & network.hit_passed])
    arc_cost, cost, hit_extra = costs.arc_cost.copy(), costs.cost.copy(), costs.hit_extra.copy()
    arc_cost[arcs] = np.inf
    cost[arcs] = np.inf
    cost[network.arc_tail.size :][np.isin(network.state_arc[network.arc_tail.size :], arcs)] = np.inf
    hit_extra[(network.hit_structure == structure) & network.hit_passed] = np.inf
    turn_extra = costs.turn_extra
    nodes = network.nodehit_node[network.nodehit_structure == structure]
    if nodes.size:
        turn_extra = turn_extra.copy()
        special = np.zeros(network.node_osm.size, np.bool_)
        special[nodes] = True
        turn_extra[turns_through(network, special)[0]] = np.inf
    return replace(costs, arc_cost=arc_cost, cost=cost, hit_extra=hit_extra, turn_extra=turn_extra)


def cost_to_go(network: Network, costs: Costs, backward: BackwardTurns, end: Sequence[Snap]) -> ToGo:
    """What it costs from the end of every arc to any of `end`; policy counted, in seconds."""
    label: dict[int, float] = {}
    last: dict[int, tuple[int, float]] = {}
    for snap in end:
        part = stretch(network, costs, snap.arc, 0.0, snap.fraction).cost
        if part == np.inf:
            continue
        for state in states_of(network, snap.arc):
            for at in range(int(backward.ptr[state]), int(backward.ptr[state + 1])):
                before = int(backward.from_state[at])
                value = part + float(costs.turn_extra[backward.turn[at]])
                if value < label.get(before, np.inf):
                    label[before] = value
                    last[before] = (state, snap.fraction)
    after, next_state, _ = shortest(
        backward.ptr,
        backward.from_state,
        cost=costs.cost,
        turn_extra=costs.turn_extra[backward.turn],
        sources=np.array(list(label), dtype=np.int32),
        source_labels=np.array(list(label.values()), dtype=np.float64),
        targets=np.zeros(0, np.int32),
        target_extra=np.zeros(0, np.float64),
    )
    return ToGo(after=after, next_state=next_state, last=last)

"""The nearest mapped place to turn round ahead of a coach: a turning loop or circle."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from clearance.network.network import NODE_TURNING_CIRCLE, NODE_TURNING_LOOP
from clearance.routing.kernels import shortest

if TYPE_CHECKING:
    from clearance.network.network import F64, I8, Network
    from clearance.routing.mask import F32, Costs
    from clearance.routing.reverse import BackwardTurns
    from clearance.routing.snap import Snap

__all__ = ["PlacesToTurn", "place_to_turn"]

_KINDS = {NODE_TURNING_LOOP: "turning loop", NODE_TURNING_CIRCLE: "turning circle"}


def place_to_turn(network: Network, costs: Costs, arrived: Snap) -> tuple[str, int, float] | None:
    """The nearest turning loop or circle ahead: its kind, node, and metres from the stop."""
    turning = _turning(network)
    if not turning.any():
        return None
    lengths, no_extra = _lengths(network, costs)
    rest = float(network.arc_length[arrived.arc]) * (1 - arrived.fraction)
    head = int(network.arc_head[arrived.arc])
    if turning[head]:
        return _kind(int(turning[head])), head, rest
    begin, stop = int(network.turn_ptr[arrived.arc]), int(network.turn_ptr[arrived.arc + 1])
    onward = [t for t in range(begin, stop) if np.isfinite(costs.turn_extra[t])]
    targets = np.flatnonzero(turning[network.arc_head[network.state_arc]])
    if not onward or not targets.size:
        return None
    labels, _, found = shortest(
        network.turn_ptr,
        network.turn_to,
        cost=lengths,
        turn_extra=no_extra,
        sources=network.turn_to[onward].astype(np.int32),
        source_labels=np.full(len(onward), rest),
        targets=targets.astype(np.int32),
        target_extra=lengths[targets],
    )
    if found < 0:
        return None
    state = int(targets[found])
    node = int(network.arc_head[network.state_arc[state]])
    return _kind(int(turning[node])), node, float(labels[state]) + float(lengths[state])


class PlacesToTurn:
    """The nearest place to turn ahead of every arc, found by one search backwards from all of them."""

    def __init__(self, network: Network, costs: Costs, backward: BackwardTurns) -> None:
        """Search; nothing where no place to turn is mapped."""
        self._network = network
        self._turning = _turning(network)
        states = np.flatnonzero(self._turning[network.arc_head[network.state_arc]])
        lengths, no_extra = _lengths(network, costs)
        # From the END of an arc: nothing where its head is a place to turn.
        self._after, self._next, _ = shortest(
            backward.ptr,
            backward.from_state,
            cost=lengths,
            turn_extra=no_extra[backward.turn],
            sources=states.astype(np.int32),
            source_labels=np.zeros(states.size),
            targets=np.zeros(0, np.int32),
            target_extra=np.zeros(0, np.float64),
        )

    def ahead(self, arrived: Snap) -> tuple[str, int, float] | None:
        """The nearest turning loop or circle ahead: its kind, node, and metres from the stop."""
        network, state = self._network, arrived.arc
        if not np.isfinite(self._after[state]):
            return None
        metres = float(network.arc_length[state]) * (1 - arrived.fraction) + float(self._after[state])
        while self._next[state] >= 0:
            state = int(self._next[state])
        node = int(network.arc_head[network.state_arc[state]])
        return _kind(int(self._turning[node])), node, metres


def _turning(network: Network) -> I8:
    both = np.uint8(NODE_TURNING_CIRCLE | NODE_TURNING_LOOP)
    return network.node_flags & both


def _lengths(network: Network, costs: Costs) -> tuple[F64, F32]:
    """Metres of each state where the coach may drive, and turns that add nothing or are closed."""
    lengths = np.where(np.isfinite(costs.arc_cost), network.arc_length, np.inf)
    shut = np.where(np.isfinite(costs.turn_extra), np.float32(0), np.float32(np.inf))
    return lengths[network.state_arc], shut


def _kind(flags: int) -> str:
    return _KINDS[NODE_TURNING_LOOP if flags & NODE_TURNING_LOOP else NODE_TURNING_CIRCLE]

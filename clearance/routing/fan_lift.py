"""Fans gone on with for one structure after another: what counting it as clear makes reachable or quicker."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from clearance.routing.fan import Fan, Weights
from clearance.routing.fan_kernels import cheaper
from clearance.routing.mask import turns_through
from clearance.routing.tradeoffs import driving_time
from clearance.routing.unverified import unproven

if TYPE_CHECKING:
    from clearance.network.network import I32, I64, Network
    from clearance.routing.fan import Directed, End, Openings
    from clearance.routing.mask import Costs

__all__ = ["LiftFan", "Shut", "Unlocked"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Unlocked:
    """What opens once a structure counts as clear.

    `hits` are its unverified hits and `arcs` what they bear on; `freed` are those of the arcs that nothing
    else closes. `turns` are the turns through its nodes that nothing else closes, `gates` those of them that
    an ends-only node holds shut until its zone opens (indices into `costs.gate_turn`).
    """

    structure: int
    hits: I64
    arcs: I64
    freed: I64
    turns: I64
    gates: I64


class Shut:
    """Driving times of a coach with everything unverified closed, and what each structure keeps shut.

    `weights` are for fans; a structure that is let go changes their arrays in place until it is taken back.
    """

    def __init__(self, network: Network, refused: Costs, accepted: Costs) -> None:
        """`refused` and `accepted` are the coach's costs with unverified structures closed and open."""
        self.costs = driving_time(network, refused)
        self.weights = Weights.of_costs(network, self.costs)
        open_arc = np.isfinite(accepted.arc_cost)
        open_turn = np.isfinite(accepted.turn_extra)
        gates = np.isfinite(accepted.gate_extra)
        marked = unproven(network, refused)
        hits = np.flatnonzero(marked.hit)
        arc_owner = _owner(network.arc_tail.size, network.hit_arc[hits], network.hit_structure[hits])
        at_nodes = np.flatnonzero(marked.node_hit)
        nodes, standing = network.nodehit_node[at_nodes], network.nodehit_structure[at_nodes]
        node_owner = _owner(network.node_osm.size, nodes, standing)
        turns, node = turns_through(network, node_owner >= 0)
        gate_number = np.full(network.turn_to.size, -1, np.int64)
        gate_number[self.costs.gate_turn] = np.arange(self.costs.gate_turn.size)

        self.unlocked: dict[int, Unlocked] = {}
        hit_of, turn_of = network.hit_structure[hits], node_owner[node]
        for structure in np.unique(np.concatenate((hit_of, standing))).tolist():
            own = hits[hit_of == structure]
            arcs = np.unique(network.hit_arc[own]).astype(np.int64)
            through = turns[turn_of == structure]
            held = gate_number[through]
            self.unlocked[structure] = Unlocked(
                structure=structure,
                hits=own,
                arcs=arcs,
                freed=arcs[(arc_owner[arcs] == structure) & open_arc[arcs]],
                turns=through[(held < 0) & open_turn[through]],
                gates=held[held >= 0][gates[held[held >= 0]]],
            )

    def let_go(self, unlocked: Unlocked) -> None:
        """Count a structure as clear on parts of arcs and in zones that open; fans take it up by `lift`."""
        self.costs.hit_extra[unlocked.hits] = 0.0
        self.costs.arc_cost[unlocked.freed] = self.costs.seconds[unlocked.freed]
        self.costs.gate_extra[unlocked.gates] = 0.0

    def take_back(self, unlocked: Unlocked) -> None:
        """Close it again."""
        self.costs.hit_extra[unlocked.hits] = np.inf
        self.costs.arc_cost[unlocked.freed] = np.inf
        self.costs.gate_extra[unlocked.gates] = np.inf


def _owner(count: int, places: I32, structures: I32) -> I32:
    """For each place the one structure there; -1 where there is none, -2 where there are several."""
    least = np.full(count, np.iinfo(np.int32).max, np.int32)
    most = np.full(count, -1, np.int32)
    np.minimum.at(least, places, structures)
    np.maximum.at(most, places, structures)
    return np.where(most < 0, np.int32(-1), np.where(least == most, most, np.int32(-2)))


class LiftFan(Fan):
    """A fan that can count one structure as clear, on top of which destinations are attached as ever."""

    def __init__(
        self,
        network: Network,
        weights: Weights,
        turns: Directed,
        openings: Openings,
        *,
        home: Sequence[End],
        zones: Iterable[int],
    ) -> None:
        """As `Fan`."""
        super().__init__(network, weights, turns, openings, home=home, zones=zones)
        count = self.labels.size
        self._lift_touched = np.zeros(count, np.bool_)
        self._lift_old = (np.empty(count, np.int32), np.empty(count), np.empty(count, np.int32))
        self._lifted: tuple[I64, I64] | None = None
        self._kept_joints = self._joints

    def lift(self, unlocked: Unlocked) -> I32:
        """Take up that a structure was let go; the states whose label is better now. Until `lower`."""
        self.detach()
        network, turns, labels = self._network, self._turns, self.labels
        costs = self._weights.costs
        freed = [s for arc in unlocked.freed[~costs.ends[unlocked.freed]].tolist() for s in turns.states(arc)]
        states, gates = np.array(freed, dtype=np.int64), np.zeros(0, np.int64)
        self._state[states] = costs.seconds[network.state_arc[states]]
        if unlocked.gates.size or costs.ends[unlocked.freed].any():
            more, gates = self._fresh(self.zones, {int(network.arc_way[e.snap.arc]) for e in self.home})
            self._open(more, gates)
            states = np.concatenate((states, more))
        to = network.turn_to[unlocked.turns]
        origin = (np.searchsorted(network.turn_ptr, unlocked.turns, side="right") - 1).astype(np.int32)
        came, goes = (to, origin) if turns.homeward else (origin, to)
        at = np.concatenate((turns.places_of(unlocked.turns, to), self._gate_at[gates])).astype(np.int64)
        came = np.concatenate((came, self._gate_from[gates]))
        goes = np.concatenate((goes, self._gate_to[gates]))
        self._turn[at] = 0.0
        self._lifted = (states, at)

        seeds = [states.astype(np.int32), goes]
        values = [labels[states], labels[came] + self._state[came]]
        before = [self._before[states], came]
        if at.size or any(e.snap.arc in unlocked.arcs for e in self.home):
            self._joints = self._home_joints()
            seeds.append(np.array([j.state for j in self._joints], dtype=np.int32))
            values.append(np.array([self._label_of(j) for j in self._joints], dtype=np.float64))
            before.append(np.full(len(self._joints), -1, np.int32))
        changed = cheaper(
            turns.ptr,
            turns.to,
            self._state,
            self._turn,
            labels,
            self._before,
            np.concatenate(seeds),
            np.concatenate(values),
            np.concatenate(before),
            np.zeros(0, np.int32),
            *self._room,
            self._lift_touched,
            *self._lift_old,
        )
        self._lift_changed = changed
        found: I32 = self._lift_old[0][:changed].copy()
        return found

    def lower(self) -> None:
        """Back to the fan with the structure closed."""
        self.detach()
        assert self._lifted is not None, "something was lifted"
        states, at = self._lifted
        self._state[states] = np.inf
        self._turn[at] = np.inf
        changed, label, before = (old[: self._lift_changed] for old in self._lift_old)
        self.labels[changed] = label
        self._before[changed] = before
        self._lift_touched[changed] = False
        self._joints = self._kept_joints
        self._lifted = None

    def watched(self, zones: Iterable[int], arcs: Sequence[int]) -> tuple[I64, bool]:
        """What the weight of the destination attached, with `zones` on `arcs`, hangs on.

        The weight changes with a structure only if one of these states has another label then, or is one
        that the structure keeps shut; unless the zones lead on to somewhere that is also come to without
        them: the second answer.
        """
        reads = [s for arc in arcs for s in (*self._read_states(arc), arc)]
        # Those that something keeps shut in the zone count too, for that may be what is let go.
        states, gates = self._openings.of(zones, {int(self._network.arc_way[arc]) for arc in arcs})
        changed, label = self._old[0][: self._changed], self._old[1][: self._changed]
        parts = (np.array(reads, dtype=np.int64), states, self._gate_from[gates], changed)
        return np.unique(np.concatenate(parts)).astype(np.int64), bool(np.isfinite(label).any())

    def kept_shut(self, unlocked: Unlocked) -> I64:
        """The states that a structure keeps from leading on: of its arcs, and of those before its nodes."""
        network, turns = self._network, self._turns
        arcs = [s for arc in unlocked.arcs.tolist() for s in turns.states(arc)]
        through = np.concatenate((unlocked.turns, self._weights.costs.gate_turn[unlocked.gates]))
        before = (
            network.turn_to[through]
            if turns.homeward
            else np.searchsorted(network.turn_ptr, through, side="right") - 1
        )
        return np.unique(np.concatenate((np.array(arcs, dtype=np.int64), before))).astype(np.int64)

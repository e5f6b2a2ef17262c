"""Every way between one place and the rest of a network, from one search in each direction.

A drive may use ends-only roads in the zones of its own two ends alone, so that each destination has a
network of its own. They differ by little: the search is made once with the zones of home open, and gone on
with for each destination from what its own zones open (`routing.fan_kernels`). The answers are those of
`routing.plan.find_drive` and `greatest_height` on the costs that `routing.mask.open_ends` gives, for a
fraction of the work.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from clearance.routing.fan_kernels import chain, cheaper, wider, wider_for_each
from clearance.routing.kernels import UNREACHED, shortest, widest
from clearance.routing.plan import stretch
from clearance.routing.ran import searched, stage

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy.typing as npt

    from clearance.network.network import I32, I64, Network
    from clearance.routing.mask import Costs
    from clearance.routing.plan import Widths
    from clearance.routing.reverse import BackwardTurns
    from clearance.routing.snap import Snap

    Numbers = npt.NDArray[Any]

__all__ = ["ENGINE", "Directed", "End", "Fan", "Found", "Openings", "Weights", "ZoneWork", "directed"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Directed:
    """The turns of a network read in one direction.

    Those out of state i are ptr[i] : ptr[i + 1] of `to` (t,); `turn` (t,) is the index of each among the
    network's turns, None where that is its own. `homeward` where they are read backwards: labels then say
    what it takes from the END of an arc to home, else from home to the START of an arc. `copies` are the
    states of each arc that has more than one.
    """

    ptr: I64
    to: I32
    turn: I64 | None
    homeward: bool
    copies: dict[int, list[int]]

    def of_turns(self, values: Numbers) -> Numbers:
        """Values by turn (t,) in the order of this direction; always a copy."""
        return values.copy() if self.turn is None else values[self.turn]

    def places_of(self, turns: I64, to: I32) -> I64:
        """Where turns (by the network's index) stand in this direction; `to` is where they lead there."""
        if self.turn is None:
            return turns
        # Within the turns into a state the network's own order is kept.
        begin, end = self.ptr[to], self.ptr[to.astype(np.int64) + 1]
        found = [
            int(b) + int(np.searchsorted(self.turn[b:e], turn))
            for b, e, turn in zip(begin.tolist(), end.tolist(), turns.tolist(), strict=True)
        ]
        return np.array(found, dtype=np.int64)

    def states(self, arc: int) -> list[int]:
        """The state of an arc and its copies."""
        return self.copies.get(arc, [arc])


def directed(network: Network, backward: BackwardTurns | None = None) -> Directed:
    """The turns of a network as they are driven, or with `backward` as they are read from home."""
    arcs = network.arc_tail.size
    copies: dict[int, list[int]] = {}
    for state in range(arcs, network.state_arc.size):
        arc = int(network.state_arc[state])
        copies.setdefault(arc, [arc]).append(state)
    if backward is None:
        return Directed(ptr=network.turn_ptr, to=network.turn_to, turn=None, homeward=False, copies=copies)
    return Directed(
        ptr=backward.ptr, to=backward.from_state, turn=backward.turn, homeward=True, copies=copies
    )


#: What ran, for those who ask, where a search was gone on with for what a destination opens.
ENGINE = "a search gone on with, turn-aware, 4-ary heap"


# --- what arcs and turns weigh ------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Weights:
    """What is added up or kept the least of on a way: seconds, or clearances in tenths of a millimetre.

    `state` (s,) and `turn` (t,) as the searches want them; `opened` (a,) what arcs weigh once their
    ends-only zone is open; `gate` (g,) the same for the turns `costs.gate_turn`. `part` weighs a stretch of
    an arc that holds an end of the drive. `worst` is that of what is closed, `wide` whether more is better.
    """

    costs: Costs
    state: Numbers
    opened: Numbers
    turn: Numbers
    gate: Numbers
    part: Callable[[int, float, float], float]
    wide: bool

    @property
    def worst(self) -> float:
        """The weight of a way that there is not."""
        return float(UNREACHED) if self.wide else float(np.inf)

    def joined(self, one: float, other: float) -> float:
        """The weight of two parts of a way together."""
        return min(one, other) if self.wide else one + other

    def better(self, one: float, other: float) -> bool:
        """Whether the first weight is the better."""
        return one > other if self.wide else one < other

    @classmethod
    def of_costs(cls, network: Network, costs: Costs) -> Weights:
        """Seconds of driving and policy."""
        return cls(
            costs=costs,
            state=costs.cost,
            opened=costs.arc_cost,
            turn=costs.turn_extra,
            gate=costs.gate_extra,
            part=lambda arc, start, end: stretch(network, costs, arc, start, end).cost,
            wide=False,
        )

    @classmethod
    def of_widths(cls, network: Network, costs: Costs, widths: Widths) -> Weights:
        """Clearances, for costs with height ignored."""
        arcs = widths.on_arcs(network)
        opened = arcs.copy()
        opened[costs.arc_cost == np.inf] = UNREACHED
        turns = widths.on_turns(network)
        gate = turns[costs.gate_turn]
        gate[costs.gate_extra == np.inf] = UNREACHED
        turns[costs.turn_extra == np.inf] = UNREACHED
        states = arcs[network.state_arc]
        states[costs.cost == np.inf] = UNREACHED
        return cls(
            costs=costs,
            state=states,
            opened=opened,
            turn=turns,
            gate=gate,
            part=lambda arc, start, end: widths.on_stretch(network, costs, arc, start, end),
            wide=True,
        )


# --- what a destination opens -------------------------------------------------------------------------


class _Groups:
    """Values by a key, to be had for many keys at once."""

    def __init__(self, keys: npt.NDArray[np.integer], values: I64) -> None:
        order = np.argsort(keys, kind="stable")
        self._keys = keys[order]
        self._values = values[order]

    def of(self, keys: Iterable[int]) -> I64:
        """The values of all these keys."""
        if not self._keys.size:
            return self._values
        wanted = np.fromiter(keys, np.int64)
        begin = np.searchsorted(self._keys, wanted)
        end = np.searchsorted(self._keys, wanted, side="right")
        return np.concatenate(
            [
                self._values[:0],
                *(self._values[b:e] for b, e in zip(begin.tolist(), end.tolist(), strict=True)),
            ]
        )

    def of_each(self, keys: I64) -> tuple[I64, I64]:
        """The values of all these keys, and for each the number of the key it is for."""
        begin = np.searchsorted(self._keys, keys)
        count = np.searchsorted(self._keys, keys, side="right") - begin
        owner = np.repeat(np.arange(keys.size), count)
        return self._values[np.arange(owner.size) + (begin + count - np.cumsum(count))[owner]], owner


class Openings:
    """The ends-only roads and gates of a network for one vehicle, by zone and by way.

    What `routing.mask.open_ends` opens for zones and for the ways of the places, without looking through the
    whole network for it.
    """

    def __init__(self, network: Network, costs: Costs) -> None:
        """Sort the states of ends-only arcs, and the gates, by what opens them."""
        area = network.arc_area_car if costs.vehicle.coach is None else network.arc_area
        states = np.flatnonzero(costs.ends[network.state_arc])
        arcs = network.state_arc[states]
        self._by_zone = _Groups(area[arcs], states)
        self._by_way = _Groups(network.arc_way[arcs], states)
        #: The ways that some ends-only arc belongs to.
        self.ways = frozenset(network.arc_way[arcs].tolist())
        self._gates = _Groups(costs.gate_area, np.arange(costs.gate_turn.size))

    def of(self, zones: Iterable[int], ways: Iterable[int]) -> tuple[I64, I64]:
        """The states that open, and the gates (indices into `costs.gate_turn`); some may come twice."""
        zones = list(zones)
        states = np.concatenate((self._by_zone.of(zones), self._by_way.of(ways)))
        return states, self._gates.of(zones)

    def of_each(
        self, zones: tuple[I64, I64], ways: tuple[I64, I64]
    ) -> tuple[tuple[I64, I64], tuple[I64, I64]]:
        """States and gates that open for many works, as `of` tells for one, each with the number of its work.

        `zones` and `ways` come with the number of the work that opens each.
        """
        by_zone, zone = self._by_zone.of_each(zones[0])
        by_way, way = self._by_way.of_each(ways[0])
        gates, at = self._gates.of_each(zones[0])
        states = np.concatenate((by_zone, by_way)), np.concatenate((zones[1][zone], ways[1][way]))
        return states, (gates, zones[1][at])

    def of_zones(self, zones: I64) -> tuple[tuple[I64, I64], tuple[I64, I64]]:
        """States and gates that open with each of many zones, each with the number of the zone it is of."""
        return self._by_zone.of_each(zones), self._gates.of_each(zones)


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneWork:
    """Zones to be opened one after another, and what is then to be read.

    `state`, `gate` (indices into `costs.gate_turn`) and `read` (states, int32) each with the number of the
    zone they belong to, ascending, less than `zones`.
    """

    zones: int
    state: I64
    of_state: I64
    gate: I64
    of_gate: I64
    read: I32
    of_read: I64


# --- the search ---------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class End:
    """A way to begin or end at home: a snap, and what else that is to count, in seconds."""

    snap: Snap
    added: float = 0.0


@dataclass(frozen=True, slots=True)
class _Joint:
    """A turn between home and a state: what it takes without the turn, from which end, by which state."""

    turn: int
    state: int
    label: float
    end: End
    home_state: int


@dataclass(frozen=True, slots=True)
class Found:
    """A way between home and a snap: what it weighs, and the states of it in driving order.

    `home` is the end of it at home.
    """

    weight: float
    states: tuple[int, ...]
    home: End


class Fan:
    """All ways between home and anywhere, in one direction, for one set of weights."""

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
        """Search once, with `zones` open and the ways of `home`."""
        self._network, self._weights, self._turns, self._openings = network, weights, turns, openings
        self.home = tuple(home)
        self.zones = frozenset(zones)
        costs = weights.costs
        self._state = weights.state.copy()
        self._turn = turns.of_turns(weights.turn)
        # The state that a gate's turn leads to when read in this direction, where it stands, and its origin.
        origin = (np.searchsorted(network.turn_ptr, costs.gate_turn, side="right") - 1).astype(np.int32)
        to = network.turn_to[costs.gate_turn]
        self._gate_from, self._gate_to = (to, origin) if turns.homeward else (origin, to)
        self._gate_at = turns.places_of(costs.gate_turn, self._gate_from)
        states, gates = self._fresh(zones, {int(network.arc_way[e.snap.arc]) for e in home})
        self._open(states, gates)
        self._joints = self._home_joints()
        self._first: dict[int, _Joint] = {}
        first: dict[int, float] = {}
        for joint in self._joints:
            label = self._label_of(joint)
            if weights.better(label, first.get(joint.state, weights.worst)):
                first[joint.state] = label
                self._first[joint.state] = joint
        self.labels, self._before = self._search(first)
        count, turns_count = self.labels.size, turns.to.size
        # Room for what is gone on with; pages that are not touched cost nothing.
        self._room = (
            np.empty(2 * turns_count + count + 64, self.labels.dtype),
            np.empty(2 * turns_count + count + 64, np.int32),
        )
        self._touched = np.zeros(count, np.bool_)
        self._old = (
            np.empty(count, np.int32), np.empty(count, self.labels.dtype), np.empty(count, np.int32)
        )  # fmt: skip
        self._changed = 0
        self._opened: tuple[I64, I64] | None = None
        self._also: dict[int, _Joint] = {}

    # --- making it

    def _home_joints(self) -> list[_Joint]:
        turns, joints = self._turns, []
        for end in self.home:
            arc, at = end.snap.arc, end.snap.fraction
            start, stop = (0.0, at) if turns.homeward else (at, 1.0)
            label = self._with_added(self._weights.part(arc, start, stop), end)
            for state in turns.states(arc) if turns.homeward else [arc]:
                joints += [
                    _Joint(turn, int(turns.to[turn]), label, end, state)
                    for turn in range(int(turns.ptr[state]), int(turns.ptr[state + 1]))
                ]
        return joints

    def _label_of(self, joint: _Joint) -> float:
        return self._weights.joined(joint.label, float(self._turn[joint.turn]))

    def _with_added(self, label: float, end: End) -> float:
        return label if self._weights.wide else label + end.added

    def _search(self, first: dict[int, float]) -> tuple[Numbers, I32]:
        sources = np.array(list(first), dtype=np.int32)
        if self._weights.wide:
            return widest(
                self._turns.ptr,
                self._turns.to,
                width=self._state,
                turn_width=self._turn,
                sources=sources,
                source_labels=np.array(list(first.values()), dtype=np.int32),
            )
        labels, before, _ = shortest(
            self._turns.ptr,
            self._turns.to,
            cost=self._state,
            turn_extra=self._turn,
            sources=sources,
            source_labels=np.array(list(first.values()), dtype=np.float64),
            targets=np.zeros(0, np.int32),
            target_extra=np.zeros(0, np.float64),
        )
        return labels, before

    # --- opening for a destination

    def _fresh(self, zones: Iterable[int], ways: Iterable[int]) -> tuple[I64, I64]:
        """States and gates that open and are still closed, each once."""
        weights, network = self._weights, self._network
        states, gates = self._openings.of(zones, ways)
        if states.size:
            states = np.unique(states)
            shut = self._state[states] == weights.worst
            states = states[shut & (weights.opened[network.state_arc[states]] != weights.worst)]
        if gates.size:
            gates = np.unique(gates)
            shut = self._turn[self._gate_at[gates]] == weights.worst
            gates = gates[shut & (weights.gate[gates] != weights.worst)]
        return states, gates

    def _open(self, states: I64, gates: I64) -> None:
        self._state[states] = self._weights.opened[self._network.state_arc[states]]
        self._turn[self._gate_at[gates]] = self._weights.gate[gates]

    @stage("search")
    def attach(self, zones: Iterable[int], arcs: Iterable[int]) -> None:
        """Make this the fan of a destination on `arcs`, with `zones` open too; until the next `attach`.

        Labels of states other than those of `arcs` may then be those of before.
        """
        self.detach()
        arcs, zones = list(arcs), frozenset(zones) - self.zones
        ways = self._openings.ways.intersection(self._network.arc_way[arcs].tolist())
        if not zones and not ways:
            return
        states, gates = self._fresh(zones, ways)
        if not states.size and not gates.size:
            return
        self._open(states, gates)
        self._opened = (states, gates)
        weights, labels = self._weights, self.labels
        origin, at = self._gate_from[gates], self._gate_at[gates]
        reached = (
            np.minimum(np.minimum(labels[origin], self._state[origin]), self._turn[at])
            if weights.wide
            else labels[origin] + self._state[origin] + self._turn[at]
        )
        seeds = [states.astype(np.int32), self._gate_to[gates]]
        values = [labels[states], reached.astype(labels.dtype)]
        came = [self._before[states], origin]
        opened = set(at.tolist())
        for joint in self._joints:
            if joint.turn not in opened:
                continue
            known = self._also.get(joint.state)
            best = float(labels[joint.state]) if known is None else self._label_of(known)
            if weights.better(self._label_of(joint), best):
                self._also[joint.state] = joint
        for state, joint in self._also.items():
            seeds.append(np.array([state], dtype=np.int32))
            values.append(np.array([self._label_of(joint)], dtype=labels.dtype))
            came.append(np.array([-1], dtype=np.int32))
        sown = (np.concatenate(seeds), np.concatenate(values), np.concatenate(came))
        keys, heap = self._room
        graph = (self._turns.ptr, self._turns.to, self._state, self._turn, labels, self._before)
        if weights.wide:
            self._changed = wider(*graph, *sown, keys, heap, self._touched, *self._old)
        else:
            wanted = np.array([s for arc in arcs for s in self._read_states(arc)], dtype=np.int32)
            self._changed = cheaper(*graph, *sown, wanted, keys, heap, self._touched, *self._old)
        searched(ENGINE, int(self._changed), "states changed")

    def each(self, opened: ZoneWork) -> I32:
        """The widths at `opened.read`, each with its own zone open beside those of home.

        Only for widths. What the fan is attached to is let go.
        """
        self.detach()
        weights, network = self._weights, self._network
        shut = self._state[opened.state] == weights.worst
        shut &= weights.opened[network.state_arc[opened.state]] != weights.worst
        state, of_state = opened.state[shut], opened.of_state[shut]
        shut = self._turn[self._gate_at[opened.gate]] == weights.worst
        shut &= weights.gate[opened.gate] != weights.worst
        gate, of_gate = opened.gate[shut], opened.of_gate[shut]
        count = np.arange(opened.zones + 1)
        told: I32 = wider_for_each(
            self._turns.ptr,
            self._turns.to,
            self._state,
            self._turn,
            self.labels,
            np.searchsorted(of_state, count),
            state.astype(np.int32),
            weights.opened[network.state_arc[state]],
            np.searchsorted(of_gate, count),
            self._gate_at[gate],
            self._gate_from[gate],
            weights.gate[gate],
            np.array([joint.turn for joint in self._joints], dtype=np.int64),
            np.array([joint.label for joint in self._joints], dtype=np.int32),
            np.searchsorted(opened.of_read, count),
            opened.read,
        )
        return told

    def detach(self) -> None:
        """Back to the fan of home alone."""
        if self._opened is None:
            return
        states, gates = self._opened
        self._state[states] = self._weights.worst
        self._turn[self._gate_at[gates]] = self._weights.worst
        changed, label, before = (old[: self._changed] for old in self._old)
        self.labels[changed] = label
        self._before[changed] = before
        self._touched[changed] = False
        self._changed, self._opened = 0, None
        self._also.clear()

    def _read_states(self, arc: int) -> list[int]:
        """The states of an arc at whose label a drive ends: homeward it begins, with nothing behind it."""
        return [arc] if self._turns.homeward else self._turns.states(arc)

    # --- reading it

    def weigh(self, snap: Snap) -> float:
        """What the best way between home and `snap` weighs; the worst there is where there is none."""
        return self._best(snap)[0]

    def way(self, snap: Snap) -> Found | None:
        """The best way between home and `snap`; None where there is none."""
        weight, state, direct = self._best(snap)
        if weight == self._weights.worst:
            return None
        if direct is not None:
            return Found(weight, (snap.arc,), direct)
        states = chain(self._before, state).tolist()
        joint = self._also.get(states[-1]) or self._first[states[-1]]
        if self._turns.homeward:
            return Found(weight, (*states, joint.home_state), joint.end)
        return Found(weight, (joint.home_state, *states[::-1]), joint.end)

    def _best(self, snap: Snap) -> tuple[float, int, End | None]:
        """What the best way weighs, the state it is read at, and its end at home if it is one stretch."""
        weights, homeward = self._weights, self._turns.homeward
        best, state, direct = weights.worst, -1, None
        for end in self.home:
            if end.snap.arc != snap.arc:
                continue
            start, stop = (snap, end.snap) if homeward else (end.snap, snap)
            if start.fraction <= stop.fraction:
                part = self._with_added(weights.part(snap.arc, start.fraction, stop.fraction), end)
                if weights.better(part, best):
                    best, direct = part, end
        start_at, stop_at = (snap.fraction, 1.0) if homeward else (0.0, snap.fraction)
        part = weights.part(snap.arc, start_at, stop_at)
        for one in self._read_states(snap.arc):
            weight = weights.joined(float(self.labels[one]), part)
            if weights.better(weight, best):
                best, state, direct = weight, one, None
        return best, state, direct

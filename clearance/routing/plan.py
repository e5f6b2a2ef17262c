"""The best drive between two places for one coach, and the tallest coach that gets there at all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from clearance.core.lengths import Length
from clearance.network.network import NO_LIMIT
from clearance.routing.kernels import UNREACHED, widest
from clearance.routing.mask import by_state, turns_through
from clearance.routing.route import Route, covered_hits
from clearance.routing.way import best_way

if TYPE_CHECKING:
    from clearance.network.network import I32, I64, Network
    from clearance.routing.mask import Costs
    from clearance.routing.snap import Snap

__all__ = [
    "Stretch",
    "Tallest",
    "Widths",
    "ends_of",
    "find_drive",
    "greatest_height",
    "route_of",
    "states_of",
    "stretch",
]


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of one arc: what driving it costs, in all and for the policy alone."""

    cost: float
    extra: float


def stretch(network: Network, costs: Costs, arc: int, start: float, end: float) -> Stretch:
    """A stretch of `arc` between two fractions; infinite where something on it closes it.

    An ends-only arc is open here: it holds an end of the drive.
    """
    if costs.closed[arc]:
        return Stretch(np.inf, np.inf)
    extra = sum(float(costs.hit_extra[hit]) for hit in covered_hits(network, arc, start, end))
    return Stretch(float(costs.seconds[arc]) * (end - start) + extra, extra)


def states_of(network: Network, arc: int) -> list[int]:
    """The state of an arc and its copies that remember how it was reached."""
    arcs = network.arc_tail.size
    return [arc, *(np.flatnonzero(network.state_arc[arcs:] == arc) + arcs).tolist()]


def _onward(network: Network, arc: int) -> range:
    return range(int(network.turn_ptr[arc]), int(network.turn_ptr[arc + 1]))


def ends_of(network: Network, costs: Costs, end: Sequence[Snap]) -> list[tuple[int, float, Snap]]:
    """The states on whose arcs a drive to any of `end` may end, and the seconds that each adds."""
    return [
        (state, cost, b)
        for b in end
        if (cost := stretch(network, costs, b.arc, 0.0, b.fraction).cost) < np.inf
        for state in states_of(network, b.arc)
    ]


def find_drive(network: Network, costs: Costs, start: Sequence[Snap], end: Sequence[Snap]) -> Route | None:
    """The cheapest drive from any of `start` to any of `end`; None where there is none.

    Costs are seconds of driving and of policy. On the first arc only what lies from the start onwards
    counts, on the last what lies up to the end. Exact; of drives that cost the same, always the same one.
    """
    best: tuple[float, Snap, Snap, list[int]] | None = None
    for a in start:
        for b in end:
            if a.arc == b.arc and a.fraction <= b.fraction:
                cost = stretch(network, costs, a.arc, a.fraction, b.fraction).cost
                if cost < (np.inf if best is None else best[0]):
                    best = (cost, a, b, [a.arc])

    first: dict[int, tuple[float, Snap]] = {}
    for a in start:
        rest = stretch(network, costs, a.arc, a.fraction, 1.0).cost
        for turn in _onward(network, a.arc):
            label = rest + float(costs.turn_extra[turn])
            state = int(network.turn_to[turn])
            if label < (first[state][0] if state in first else np.inf):
                first[state] = (label, a)
    last = ends_of(network, costs, end)
    if first and last:
        way = best_way(
            network,
            costs,
            sources=np.array(list(first), dtype=np.int32),
            source_labels=np.array([label for label, _ in first.values()], dtype=np.float64),
            targets=np.array([state for state, _, _ in last], dtype=np.int32),
            target_extra=np.array([cost for _, cost, _ in last], dtype=np.float64),
        )
        if way is not None and way.cost < (np.inf if best is None else best[0]):
            a, b = first[way.states[0]][1], last[way.target][2]
            best = (way.cost, a, b, [a.arc, *way.states])
    if best is None:
        return None
    _, a, b, states = best
    return route_of(network, costs, states, a.fraction, b.fraction)


def route_of(network: Network, costs: Costs, states: list[int], start: float, end: float) -> Route:
    """The sums of a drive over `states`."""
    driven = np.array(states, dtype=np.int64)
    arcs = network.state_arc[driven]
    turns = _turns_along(network, driven)
    share = np.ones(arcs.size)
    share[-1] = end
    share[0] -= start
    route = Route(
        states=tuple(driven.tolist()),
        arcs=tuple(arcs.tolist()),
        turns=tuple(turns.tolist()),
        start=start,
        end=end,
        seconds=float(np.cumsum(costs.seconds[arcs] * share)[-1]),
        policy_seconds=0.0,
        length_m=float(np.cumsum(network.arc_length[arcs] * share)[-1]),
    )
    policy = float(costs.turn_extra[turns].sum(dtype=np.float64))
    passed = np.searchsorted(network.hit_arc, arcs) < np.searchsorted(network.hit_arc, arcs, side="right")
    for i in np.flatnonzero(passed | costs.closed[arcs]).tolist():
        policy += stretch(network, costs, route.arcs[i], *route.span(i)).extra
    return replace(route, policy_seconds=policy)


def _arcs_before(network: Network, turns: I64) -> I32:
    """The arcs that turns lead out of."""
    return network.state_arc[np.searchsorted(network.turn_ptr, turns, side="right") - 1]


def _turns_along(network: Network, states: I64) -> I64:
    """The turn from each state to the next."""
    begin = network.turn_ptr[states[:-1]]
    count = network.turn_ptr[states[:-1] + 1] - begin
    owner = np.repeat(np.arange(count.size), count)
    turns = np.arange(owner.size) + (begin + count - np.cumsum(count))[owner]
    fits = network.turn_to[turns] == states[1:][owner]
    _, first = np.unique(owner[fits], return_index=True)
    found: I64 = turns[fits][first]
    assert found.size == count.size, "a turn leads from each state to the next"
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Tallest:
    """The greatest height, in clearances, that any way between two places admits.

    `height` is None where no figure limits the best way. `route` is the quickest way that admits it,
    None where there is no way at all. `limiting` are the structures on it that set the height.
    """

    height: Length | None
    route: Route | None
    limiting: tuple[int, ...] = ()


def greatest_height(
    network: Network, costs: Costs, start: Sequence[Snap], end: Sequence[Snap], *, unverified_passable: bool
) -> Tallest:
    """The greatest height that can be brought from `start` to `end`, whatever the coach measures.

    `costs` must have been made with ``height`` ignored, so that only the other limits close anything.
    Figures that may hold limit the height, verified or not. Structures that are unverified limit it by no
    more than that if `unverified_passable`, else they are closed.

    Raises ValueError for costs in which heights count.
    """
    if costs.vehicle.coach is None or "height" not in costs.vehicle.ignore:
        raise ValueError("the greatest height needs the costs of a coach with height ignored")
    widths = Widths.of(network, costs, unverified_passable=unverified_passable)
    height = _widest(network, costs, widths, start, end)
    if height == UNREACHED:
        return Tallest(height=None, route=None)
    route = find_drive(network, widths.at_least(network, costs, height), start, end)
    assert route is not None, "the widest way is a way"
    if height == NO_LIMIT:
        return Tallest(height=None, route=route)
    return Tallest(
        height=Length(height), route=route, limiting=tuple(widths.equal_to(network, route, height))
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Widths:
    """The clearance of each hit (h,) and node hit, tenths of a millimetre; UNREACHED where closed."""

    hit: I32
    node_hit: I32

    @classmethod
    def of(cls, network: Network, costs: Costs, *, unverified_passable: bool) -> Widths:
        """The figures that may hold at the time of `costs`; what is unverified as asked."""
        hit = costs.low[network.hit_structure, network.hit_side]
        node_hit = costs.low[network.nodehit_structure].min(axis=1)
        if not unverified_passable:
            unproven = ~costs.verified[network.hit_structure, network.hit_side]
            hit[unproven & network.hit_passed] = UNREACHED
            node_hit[~costs.verified[network.nodehit_structure].all(axis=1)] = UNREACHED
        return cls(hit=hit, node_hit=node_hit)

    def on_arcs(self, network: Network) -> I32:
        """The lowest clearance on each arc, closed ones not told apart."""
        width = np.full(network.arc_tail.size, NO_LIMIT, np.int32)
        np.minimum.at(width, network.hit_arc, self.hit)
        return width

    def on_turns(self, network: Network) -> I32:
        """The lowest clearance on each turn, closed ones not told apart."""
        node = np.full(network.node_osm.size, NO_LIMIT, np.int32)
        np.minimum.at(node, network.nodehit_node, self.node_hit)
        width = np.full(network.turn_to.size, NO_LIMIT, np.int32)
        turns, at = turns_through(network, node < NO_LIMIT)
        width[turns] = node[at]
        return width

    def on_stretch(self, network: Network, costs: Costs, arc: int, start: float, end: float) -> int:
        """The lowest clearance on a stretch of an arc that holds an end of the drive."""
        if costs.closed[arc]:
            return UNREACHED
        hits = covered_hits(network, arc, start, end)
        return min((int(self.hit[hit]) for hit in hits), default=int(NO_LIMIT))

    def at_least(self, network: Network, costs: Costs, height: int) -> Costs:
        """The costs with everything lower than `height` closed, unverified structures charged."""
        unproven = ~costs.verified[network.hit_structure, network.hit_side] & network.hit_passed
        share = network.hit_share * costs.weight[network.hit_structure]
        hit_extra = np.where(unproven, costs.policy.unverified_s * share, 0.0)
        hit_extra[self.hit < height] = np.inf
        arcs, owner = np.unique(network.hit_arc, return_inverse=True)
        added = np.bincount(owner, weights=hit_extra, minlength=arcs.size)
        cost, arc_cost = costs.cost.copy(), costs.arc_cost.copy()
        arc_cost[arcs] += added
        cost[arcs] += added
        first = network.arc_tail.size
        copies = first + np.flatnonzero(np.isin(network.state_arc[first:], arcs))
        cost[copies] += added[np.searchsorted(arcs, network.state_arc[copies])]
        low_node = np.zeros(network.node_osm.size, np.bool_)
        low_node[network.nodehit_node[self.node_hit < height]] = True
        turn_extra, gate_extra = costs.turn_extra, costs.gate_extra.copy()
        if low_node.any():
            turn_extra = turn_extra.copy()
            turn_extra[turns_through(network, low_node)[0]] = np.inf
        gate_extra[low_node[network.arc_head[_arcs_before(network, costs.gate_turn)]]] = np.inf
        return replace(
            costs,
            cost=cost,
            arc_cost=arc_cost,
            hit_extra=hit_extra,
            turn_extra=turn_extra,
            gate_extra=gate_extra,
        )

    def equal_to(self, network: Network, route: Route, height: int) -> list[int]:
        """The structures on a route whose clearance is just `height`, in driving order."""
        found: list[int] = []
        for i, arc in enumerate(route.arcs):
            hits = [h for h in covered_hits(network, arc, *route.span(i)) if self.hit[h] == height]
            found += network.hit_structure[hits].tolist()
            if i < len(route.arcs) - 1:
                at = (network.nodehit_node == network.arc_head[arc]) & (self.node_hit == height)
                found += network.nodehit_structure[at].tolist()
        return list(dict.fromkeys(found))


def _widest(
    network: Network, costs: Costs, widths: Widths, start: Sequence[Snap], end: Sequence[Snap]
) -> int:
    """The greatest width of any way, in tenths of a millimetre; UNREACHED where there is none."""
    on_turns = widths.on_turns(network)
    on_turns[costs.turn_extra == np.inf] = UNREACHED
    on_states = by_state(network, widths.on_arcs(network))
    on_states[costs.cost == np.inf] = UNREACHED
    best = UNREACHED
    for a in start:
        for b in end:
            if a.arc == b.arc and a.fraction <= b.fraction:
                best = max(best, widths.on_stretch(network, costs, a.arc, a.fraction, b.fraction))
    first: dict[int, int] = {}
    for a in start:
        rest = widths.on_stretch(network, costs, a.arc, a.fraction, 1.0)
        for turn in _onward(network, a.arc):
            state = int(network.turn_to[turn])
            first[state] = max(first.get(state, UNREACHED), min(rest, int(on_turns[turn])))
    labels, _ = widest(
        network.turn_ptr,
        network.turn_to,
        width=on_states,
        turn_width=on_turns,
        sources=np.array(list(first), dtype=np.int32),
        source_labels=np.array(list(first.values()), dtype=np.int32),
    )
    for b in end:
        rest = widths.on_stretch(network, costs, b.arc, 0.0, b.fraction)
        for state in states_of(network, b.arc):
            best = max(best, min(int(labels[state]), rest))
    return best

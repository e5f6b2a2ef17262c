"""What a network lets a vehicle drive, asked by the OSM ids of the nodes passed."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from clearance.network.build import build_network
from clearance.network.network import Network, Rule
from tests.towns import Town


def network_of(town: Town) -> Network:
    """The network of a town with nothing over its roads."""
    return build_network(town.extract(), ())


def arcs_between(network: Network, a: int, b: int) -> list[int]:
    """The arcs from one node to another."""
    return [
        arc
        for arc in range(network.arc_tail.size)
        if network.node_osm[network.arc_tail[arc]] == a and network.node_osm[network.arc_head[arc]] == b
    ]


def rules_on_the_way(network: Network, nodes: Sequence[int]) -> list[set[Rule]] | None:
    """Rules of the turns met in driving over `nodes`, once for each way to do it; None if there is none."""
    reached: dict[int, list[set[Rule]]] = {arc: [set()] for arc in arcs_between(network, *nodes[:2])}
    for a, b in list(pairwise(nodes))[1:]:
        onward: dict[int, list[set[Rule]]] = {}
        for state, sets in reached.items():
            for turn in range(int(network.turn_ptr[state]), int(network.turn_ptr[state + 1])):
                to = int(network.turn_to[turn])
                if int(network.state_arc[to]) in arcs_between(network, a, b):
                    mine = {network.rules[r] for r in (int(network.turn_rule[turn]),) if r >= 0}
                    mine |= {network.rules[r] for r in network.more_rule[network.more_turn == turn].tolist()}
                    onward.setdefault(to, []).extend(rules | mine for rules in sets)
        reached = onward
    found = [rules for sets in reached.values() for rules in sets]
    return found or None


def can_drive(network: Network, *nodes: int) -> bool:
    """Whether the nodes can be driven over in this order, one arc from each to the next, rules aside."""
    return rules_on_the_way(network, nodes) is not None

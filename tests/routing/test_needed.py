"""What no way does without, against networkx: dominators of the goal, and every closing tried."""

from __future__ import annotations

import random
from dataclasses import replace

import networkx as nx
import numpy as np
import pytest

from clearance.assess.case import Case
from clearance.core.drive import Unverified
from clearance.network.network import Network
from clearance.routing.mask import Costs
from clearance.routing.needed import ENGINE, needed
from clearance.routing.plan import find_drive
from clearance.routing.ran import Ran, recording
from clearance.routing.snap import Snap
from clearance.workflow import network_of
from tests.assess.towns import COACH
from tests.towns import Town


def thin_town(seed: int, *, railways: float = 0.0) -> Network:
    """Blocks of streets that single streets join in a row, some one-way, with blind alleys.

    A share of the streets is under `railways`, whose height nobody knows.
    """
    chance = random.Random(seed)
    town, ref = Town(), 0
    nodes: dict[tuple[int, int], int] = {}

    def street(a: tuple[int, int], b: tuple[int, int], **tags: str) -> None:
        nonlocal ref
        ref += 1
        for x, y in (a, b):
            if (x, y) not in nodes:
                nodes[x, y] = len(nodes) + 1
                town.node(nodes[x, y], 100 * x, 100 * y)
        town.way(1000 + ref, [nodes[a], nodes[b]], {"highway": "residential", **tags})
        if chance.random() < railways:
            east, north = 50 * (a[0] + b[0]), 50 * (a[1] + b[1])
            # Aslant, so that it crosses streets of either direction.
            town.node(5000 + 2 * ref, east - 20, north - 20).node(5001 + 2 * ref, east + 20, north + 20)
            town.way(
                9000 + ref,
                [5000 + 2 * ref, 5001 + 2 * ref],
                {"railway": "rail", "bridge": "yes", "layer": "1"},
            )

    x = 0
    for _ in range(chance.randint(2, 4)):
        street((x, 0), (x + 1, 0))
        if chance.random() < 0.7:
            street((x, 0), (x, 1))
            street((x, 1), (x + 1, 1), **({"oneway": "yes"} if chance.random() < 0.3 else {}))
            street((x + 1, 1), (x + 1, 0))
        if chance.random() < 0.4:
            street((x, 0), (x, -1))
        street((x + 1, 0), (x + 2, 0))
        x += 2
    return network_of(town.extract())


def graph_of(network: Network, costs: Costs) -> nx.DiGraph:
    """States as nodes, legal turns as edges."""
    graph = nx.DiGraph()
    graph.add_nodes_from(range(network.state_arc.size))
    for state in range(network.state_arc.size):
        if not np.isfinite(costs.cost[state]):
            continue
        for turn in range(int(network.turn_ptr[state]), int(network.turn_ptr[state + 1])):
            if np.isfinite(costs.turn_extra[turn]):
                graph.add_edge(state, int(network.turn_to[turn]))
    return graph


def on(arc: int) -> list[Snap]:
    return [Snap(arc=arc, fraction=0.5, distance_m=0.0, lon=0.0, lat=0.0)]


def test_equal_to_the_dominators_of_the_goal() -> None:
    """networkx: immediate_dominators, an implementation of Cooper, Harvey and Kennedy (2001)."""
    compared = {True: 0, False: 0}
    for seed in range(30):
        network = thin_town(seed)
        costs = Case.of(network, COACH, Unverified.ACCEPT, None).costs
        chance = random.Random(seed)
        for _ in range(4):
            begin, end = chance.sample(range(network.arc_tail.size), 2)
            route = find_drive(network, costs, on(begin), on(end))
            if route is None or len(route.states) < 3:
                continue
            # The goal is come to by any state of the last arc.
            targets = np.flatnonzero(network.state_arc == route.arcs[-1]).astype(np.int32)
            graph = graph_of(network, costs)
            graph.add_edges_from((int(target), -1) for target in targets)
            dominator = nx.immediate_dominators(graph, route.states[0])
            wanted, state = set(), -1
            while state != route.states[0]:
                state = dominator[state]
                wanted.add(state)
            found = needed(network, costs, route.states, targets)
            assert not found[0]
            for told, state in list(zip(found.tolist(), route.states, strict=True))[1:-1]:
                assert told == (state in wanted), seed
                compared[told] += 1
    assert min(compared.values()) > 50, compared


def test_closed_states_are_an_end_and_no_way_on() -> None:
    """A street of three blocks with a way round the middle one: closed, it leads nowhere."""
    town = (
        Town().node(1, 0, 0).node(2, 100, 0).node(3, 200, 0).node(4, 300, 0).node(5, 100, 90).node(6, 200, 90)
    )
    town.way(10, [1, 2, 3, 4], {"highway": "residential"}).way(11, [2, 5, 6, 3], {"highway": "residential"})
    network = network_of(town.extract())
    costs = Case.of(network, COACH, Unverified.ACCEPT, None).costs
    ways = np.array([way.id for way in network.ways])[network.arc_way]
    first, last = (
        int(
            np.flatnonzero(
                (network.node_osm[network.arc_tail] == a) & (network.node_osm[network.arc_head] == b)
            )[0]
        )
        for a, b in ((1, 2), (3, 4))
    )
    route = find_drive(network, costs, on(first), on(last))
    assert route is not None
    assert len(route.states) == 3
    goal = np.array([last], np.int32)
    ran = Ran(clock=lambda: 0.0)
    with recording(ran):
        assert needed(network, costs, route.states, goal).tolist() == [False, False, False]
    assert [search.engine for search in ran.searches] == [ENGINE]
    assert 1 <= ran.searches[0].settled <= network.state_arc.size
    shut = costs.cost.copy()
    shut[np.flatnonzero(ways[network.state_arc] == 11)] = np.inf
    closed = replace(costs, cost=shut)
    assert needed(network, closed, route.states, goal).tolist() == [False, True, False]
    # A way may end in what is closed further on.
    onto = np.flatnonzero((ways[network.state_arc] == 11) & (network.node_osm[network.arc_tail] == 2))
    assert not needed(network, closed, route.states, np.append(goal, onto).astype(np.int32)).any()


def test_nothing_is_said_of_a_route_that_comes_back() -> None:
    network = thin_town(1)
    costs = Case.of(network, COACH, Unverified.ACCEPT, None).costs
    assert not needed(network, costs, [0, 1, 0, 2], np.array([2], np.int32)).any()


@pytest.mark.parametrize("targets", [[], [0]])
def test_no_goal_or_one_at_the_start(targets: list[int]) -> None:
    network = thin_town(2)
    costs = Case.of(network, COACH, Unverified.ACCEPT, None).costs
    found = needed(network, costs, [0], np.array(targets, np.int32))
    assert found.tolist() == [False]

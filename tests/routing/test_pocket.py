"""Looking backwards from a goal: never wrong in saying that no way leads there."""

from __future__ import annotations

from dataclasses import replace

import networkx as nx
import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from clearance.core.coach import Coach
from clearance.core.drive import Unverified
from clearance.core.lengths import Length
from clearance.network.build import build_network
from clearance.network.network import Network
from clearance.routing.mask import Costs, coach_costs
from clearance.routing.pocket import in_pocket
from clearance.routing.ran import Ran, recording
from clearance.routing.way import best_way
from tests.routing.engines import with_landmarks
from tests.routing.grid_towns import GridTown, grid_towns
from tests.synthetic import synthetic

COACH = Coach(height=Length(41_000), margin=Length(1000))


def _told(network: Network, costs: Costs, sources: list[int], targets: list[int], most: int) -> bool:
    return in_pocket(
        network,
        cost=costs.cost,
        turn_extra=costs.turn_extra,
        sources=np.array(sources, np.int32),
        targets=np.array(targets, np.int32),
        most=most,
    )


def _graph(network: Network, costs: Costs) -> nx.DiGraph[int]:
    graph: nx.DiGraph[int] = nx.DiGraph()
    graph.add_nodes_from(range(network.state_arc.size))
    for state in np.flatnonzero(np.isfinite(costs.cost)).tolist():
        for turn in range(int(network.turn_ptr[state]), int(network.turn_ptr[state + 1])):
            if costs.turn_extra[turn] < np.inf:
                graph.add_edge(state, int(network.turn_to[turn]))
    return graph


@settings(max_examples=80, deadline=None, suppress_health_check=list(HealthCheck))
@given(grid_towns(), st.data())
def test_it_is_what_networkx_says_unless_there_is_too_much_to_look_at(
    town: GridTown, data: st.DataObject
) -> None:
    network = build_network(town.town().extract(), town.structures())
    costs = coach_costs(network, COACH, Unverified.REFUSE, None)
    state = st.integers(0, network.state_arc.size - 1)
    sources = data.draw(st.lists(state, min_size=1, max_size=3))
    targets = data.draw(st.lists(state, min_size=1, max_size=3))
    graph = _graph(network, costs)
    leads = any(nx.has_path(graph, a, b) for a in sources for b in targets)
    assert _told(network, costs, sources, targets, 1000) is not leads
    most = data.draw(st.integers(1, 20))
    if _told(network, costs, sources, targets, most):
        assert not leads


def test_no_more_is_looked_at_than_allowed() -> None:
    network = synthetic()
    costs = coach_costs(network, COACH, Unverified.ACCEPT, None)
    random = np.random.default_rng(2)
    for most in (1, 10, 200):
        for source, target in random.integers(0, network.state_arc.size, (20, 2)).tolist():
            ran = Ran(clock=lambda: 0.0)
            with recording(ran):
                _told(network, costs, [source], [target], most)
            assert ran.searches[0].settled <= most


def test_a_goal_that_is_hemmed_in_costs_no_search_of_all_else() -> None:
    network = with_landmarks(synthetic(), 4)
    costs = coach_costs(network, COACH, Unverified.ACCEPT, None)
    # Everything into one node is closed.
    node = 1234
    closed = costs.cost.copy()
    closed[network.into_arc[network.into_ptr[node] : network.into_ptr[node + 1]]] = np.inf
    goal = int(np.flatnonzero((network.arc_tail == node) & np.isfinite(closed))[0])
    ran = Ran(clock=lambda: 0.0)
    with recording(ran):
        way = best_way(
            network,
            replace(costs, cost=closed),
            sources=np.array([7], np.int32),
            source_labels=np.zeros(1),
            targets=np.array([goal], np.int32),
            target_extra=np.zeros(1),
        )
    assert way is None
    assert sum(search.settled for search in ran.searches) == 1


def test_a_damaged_list_of_arcs_is_not_followed() -> None:
    network = synthetic()
    costs = coach_costs(network, COACH, Unverified.ACCEPT, None)
    beyond = np.full(network.into_arc.size, 2**31 - 1, np.int32)
    upside_down = network.into_ptr[::-1].copy()
    for damaged in (replace(network, into_arc=beyond), replace(network, into_ptr=upside_down)):
        assert not _told(damaged, costs, [7], [1234], 1000)

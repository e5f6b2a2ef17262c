"""Drives on random towns against a slow reader of the raw elements, and against scipy."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra

from clearance.core.coach import Coach
from clearance.core.drive import Unverified
from clearance.core.lengths import Length
from clearance.network.build import build_network
from clearance.network.network import Network
from clearance.routing.kernels import shortest
from clearance.routing.mask import Costs, coach_costs
from clearance.routing.plan import find_drive, greatest_height
from clearance.routing.route import Route, hits_on
from clearance.routing.snap import Snap, snap
from tests.routing.engines import ENGINES, for_engine
from tests.routing.grid_towns import COMFORT, FIGURES, NEED, GridTown, grid_towns, segments, slow_answers

COACH = Coach(height=Length(NEED - 1000), margin=Length(1000), comfort=Length(COMFORT), propane=False)
MANY = settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))


def _snaps(town: GridTown, network: Network, costs: Costs, segment: tuple[int, int]) -> list[Snap]:
    return snap(network, *town.middle(segment), costs.usable)


def _check(network: Network, costs: Costs, route: Route, start: list[Snap], end: list[Snap]) -> None:
    """What must be true of any drive."""
    assert (route.arcs[0], route.start) in {(s.arc, s.fraction) for s in start}
    assert (route.arcs[-1], route.end) in {(s.arc, s.fraction) for s in end}
    for i, turn in enumerate(route.turns):
        here, there = route.states[i], route.states[i + 1]
        assert network.turn_ptr[here] <= turn < network.turn_ptr[here + 1]
        assert network.turn_to[turn] == there
        assert network.arc_head[route.arcs[i]] == network.arc_tail[route.arcs[i + 1]]
        assert network.arc_reverse[route.arcs[i]] != route.arcs[i + 1]
    length = sum(
        network.arc_length[arc] * (route.span(i)[1] - route.span(i)[0]) for i, arc in enumerate(route.arcs)
    )
    assert route.length_m == pytest.approx(length)
    if "height" not in costs.vehicle.ignore:
        figures = [passage.clearance(costs) for passage in hits_on(network, costs, route)]
        assert all(figure is None or figure >= COACH.need for figure in figures)


@pytest.mark.parametrize("engine", ENGINES)
@MANY
@given(grid_towns())
def test_drives_cost_what_a_slow_reader_of_the_raw_elements_finds(engine: str, town: GridTown) -> None:
    network = for_engine(build_network(town.town().extract(), town.structures()), engine)
    costs = coach_costs(network, COACH, Unverified.AVOID, None)
    start = _snaps(town, network, costs, town.start)
    expected = slow_answers(town)
    for segment in segments(town):
        if segment == town.start:
            continue
        end = _snaps(town, network, costs, segment)
        route = find_drive(network, costs, start, end)
        if segment not in expected:
            assert route is None
            continue
        assert route is not None
        assert route.seconds + route.policy_seconds == pytest.approx(expected[segment], rel=1e-6, abs=1e-4)
        _check(network, costs, route, start, end)


@MANY
@given(grid_towns())
def test_labels_equal_those_of_scipy_on_the_same_states(town: GridTown) -> None:
    network = build_network(town.town().extract(), town.structures())
    costs = coach_costs(network, COACH, Unverified.AVOID, None)
    states = network.state_arc.size
    origin = np.repeat(np.arange(states), np.diff(network.turn_ptr))
    weight = costs.cost[origin] + costs.turn_extra
    kept = np.isfinite(weight)
    graph = coo_array((weight[kept], (origin[kept], network.turn_to[kept])), shape=(states, states)).tocsr()
    for source in (0, states - 1):
        labels, _, found = shortest(
            network.turn_ptr,
            network.turn_to,
            cost=costs.cost,
            turn_extra=costs.turn_extra,
            sources=np.array([source], dtype=np.int32),
            source_labels=np.zeros(1),
            targets=np.zeros(0, np.int32),
            target_extra=np.zeros(0),
        )
        assert found == -1
        np.testing.assert_allclose(labels, dijkstra(graph, indices=source), rtol=1e-12)


@pytest.mark.parametrize("engine", ENGINES)
@settings(MANY, max_examples=30)
@given(grid_towns())
def test_the_tallest_coach_is_the_greatest_height_that_still_finds_a_way(engine: str, town: GridTown) -> None:
    network = for_engine(build_network(town.town().extract(), town.structures()), engine)
    free = coach_costs(network, COACH, Unverified.ACCEPT, None, ignore=frozenset({"height"}))
    start = _snaps(town, network, free, town.start)
    answers = {height: slow_answers(town, need=height) for height in (0, *FIGURES, FIGURES[-1] + 1)}
    for segment in segments(town):
        if segment == town.start:
            continue
        end = _snaps(town, network, free, segment)
        tallest = greatest_height(network, free, start, end, unverified_passable=True)
        if segment not in answers[0]:
            assert tallest.route is None
            continue
        assert tallest.route is not None
        _check(network, free, tallest.route, start, end)
        figures = [p.clearance(free) for p in hits_on(network, free, tallest.route)]
        if segment in answers[FIGURES[-1] + 1]:
            assert tallest.height is None
            assert tallest.limiting == ()
            assert not any(figures)
            continue
        best = max(figure for figure in FIGURES if segment in answers[figure])
        assert tallest.height == Length(best)
        assert min(f for f in figures if f is not None) == tallest.height
        assert {town.bridges[k].tenths for k in tallest.limiting} == {best}

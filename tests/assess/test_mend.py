"""Ways round what is too low, against networkx on the same turns; on random grids with low streets."""

from __future__ import annotations

import random
from itertools import pairwise, product

import networkx as nx
import numpy as np
import pytest

from clearance.assess.case import Case
from clearance.assess.findings import passages_of
from clearance.assess.mend import mended
from clearance.core.drive import Unverified
from clearance.core.structure import Standing
from clearance.routing.plan import find_drive, stretch
from clearance.routing.route import Route
from clearance.routing.snap import Snap, snap
from clearance.workflow import network_of
from tests.assess.towns import COACH, grid_town, turned
from tests.towns import Town, lonlat


def too_low(case: Case, route: Route) -> list[tuple[int, int]]:
    """Number of the arc and structure of all that is too low, in order."""
    return [
        (p.leg, p.structure) for p in passages_of(case, route) if p.standing(case.costs) is Standing.TOO_LOW
    ]


def graph_of(case: Case) -> nx.DiGraph:
    """What the coach may drive: an edge costs its turn and all of the arc that it leads onto."""
    network, costs = case.network, case.costs
    graph = nx.DiGraph()
    graph.add_nodes_from(range(network.state_arc.size))
    for state in range(network.state_arc.size):
        for turn in range(int(network.turn_ptr[state]), int(network.turn_ptr[state + 1])):
            onto = int(network.turn_to[turn])
            step = float(costs.turn_extra[turn])
            if np.isfinite(step):
                cost = float(costs.cost[network.state_arc[onto]])
                graph.add_edge(state, onto, turn=step, arc=cost)
    return graph


def cheapest(case: Case, graph: nx.DiGraph, route: Route, leg: int, after: int) -> float:
    """What the best way costs that leaves the route behind arc `leg` and is back by one behind `after`.

    With the seconds of the rest of the route from where it is back, that arc counted; infinite where none is.
    """
    seconds = case.costs.seconds
    first = {}
    for _, onto, edge in graph.out_edges(route.states[leg], data=True):
        first[onto] = edge["turn"]
    best = np.inf
    for back in range(after + 1, len(route.arcs)):
        if not np.isfinite(stretch(case.network, case.costs, route.arcs[back], *route.span(back)).cost):
            continue
        rest = sum(
            float(seconds[route.arcs[k]]) * (route.span(k)[1] - route.span(k)[0])
            for k in range(back, len(route.arcs))
        )
        goal = route.states[back]
        for onto, label in first.items():
            if onto == goal:
                best = min(best, label + rest)
                continue
            try:
                # Each arc that is driven whole on the way round, and each turn, the last one too.
                way = nx.dijkstra_path(graph, onto, goal, weight=lambda u, _v, e: e["turn"] + _arc(case, u))
            except nx.NetworkXNoPath:
                continue
            cost = label + sum(graph.edges[u, v]["turn"] + _arc(case, u) for u, v in pairwise(way))
            best = min(best, cost + rest)
    return best


def _arc(case: Case, state: int) -> float:
    return float(case.costs.cost[case.network.state_arc[state]])


def way_of(case: Case, route: Route, leg: int, back: int, tail: int) -> float:
    """What a route costs from behind arc `leg`, by all that is driven before arc `back`, then in seconds."""
    costs = case.costs
    total = sum(float(costs.turn_extra[t]) for t in route.turns[leg:back])
    total += sum(_arc(case, route.states[k]) for k in range(leg + 1, back))
    return total + sum(
        float(costs.seconds[route.arcs[k]]) * (route.span(k)[1] - route.span(k)[0]) for k in range(back, tail)
    )


def drives(seed: int) -> list[tuple[Case, Route]]:
    """Drives of a car across a town that have something too low for the coach on them."""
    network = grid_town(seed)
    case = Case.of(network, COACH, Unverified.AVOID, None)
    car = case.as_car()
    chance = random.Random(seed)
    open_arcs = np.flatnonzero(np.isfinite(case.costs.cost)).tolist()
    found = []
    for _ in range(12):
        a, b = (
            Snap(arc=chance.choice(open_arcs), fraction=f, distance_m=0.0, lon=0.0, lat=0.0)
            for f in (0.3, 0.6)
        )
        route = find_drive(network, car.costs, [a], [b])
        if route is not None and len(route.arcs) > 2:
            found.append((case, route))
    return found


@pytest.mark.parametrize("seed", range(6))
def test_the_first_way_round_is_that_of_a_slow_search(seed: int) -> None:
    """It leaves at the last junction from which there is one, and is the best of those."""
    for case, route in drives(seed):
        low = too_low(case, route)
        done, changed, without = mended(case, route)
        if not low:
            assert (done, changed, without) == (route, 0, ())
            continue
        graph = graph_of(case)
        leg, structure = low[0]
        best = next(
            ((k, cost) for k in range(leg - 1, -1, -1)
             if np.isfinite(cost := cheapest(case, graph, route, k, leg))),
            None,
        )  # fmt: skip
        if best is None:
            assert structure in without
            continue
        assert structure not in without
        assert changed > 0
        left = best[0]
        assert done.states[: left + 1] == route.states[: left + 1]
        if len(low) > 1:
            continue
        # One thing too low, so one way round: what it costs is what the slow search says.
        assert (changed, without) == (1, ())
        costs = [
            way_of(case, done, left, at, len(done.arcs))
            for at in range(left + 1, len(done.arcs))
            if done.arcs[at] in route.arcs[leg + 1 :]
        ]
        assert min(abs(cost - best[1]) for cost in costs) < 1e-6


@pytest.mark.parametrize("seed", range(6, 12))
def test_what_is_left_too_low_is_told_and_the_rest_is_a_drive(seed: int) -> None:
    for case, route in drives(seed):
        network, costs = case.network, case.costs
        done, changed, without = mended(case, route)
        assert {structure for _, structure in too_low(case, done)} <= set(without)
        assert len(set(without)) == len(without)
        assert set(without) <= {structure for _, structure in too_low(case, route)}
        assert (changed == 0) is (done == route)
        assert (done.states[0], done.start) == (route.states[0], route.start)
        assert (done.states[-1], done.end) == (route.states[-1], route.end)
        for one, turn, other in zip(done.states, done.turns, done.states[1:], strict=False):
            assert network.turn_ptr[one] <= turn < network.turn_ptr[one + 1]
            assert network.turn_to[turn] == other
        driven = list(route.arcs)
        fresh = [arc for arc in done.arcs if arc not in driven]
        assert np.isfinite(costs.cost[fresh]).all()
        # What of the route was not too low and is no way round stays in its order.
        kept = [driven.index(arc) for arc in done.arcs if driven.count(arc) == 1 == done.arcs.count(arc)]
        assert kept == sorted(kept)


def test_the_towns_have_every_case() -> None:
    told = [mended(case, route) for seed in range(12) for case, route in drives(seed)]
    assert sum(changed > 0 for _, changed, _ in told) > 20
    assert sum(changed > 1 for _, changed, _ in told) > 2
    assert sum(bool(without) for _, _, without in told) > 5
    assert sum(not changed and not without for _, changed, without in told) > 5


# --- ladders, which ever way they lie -------------------------------------------------------------------


def ladder(
    number: int, upper: str, low: tuple[int, ...], *, blind: tuple[int, ...] = ()
) -> tuple[Case, Route]:
    """A lower and an upper side with rungs between, and the drive of a car along the lower side.

    The parts `low` of the lower side, counted from 0, are too low for the coach; `upper` is the speed of the
    upper side. The lower side is faster for a car than any other way. Rungs of `blind` end halfway.
    """
    town, step = Town(), 400
    for k in range(7):
        town.node(1 + k, *turned(step * k, 0, number)).node(11 + k, *turned(step * k, 300, number))
        if 0 < k < 6:
            town.node(21 + k, *turned(step * k, 150, number))
            rung = [1 + k, 21 + k, 11 + k][: 2 if k in blind else 3]
            town.way(50 + k, rung, {"highway": "residential", "maxspeed": "50"})
    for k in range(6):
        height = {"maxheight": "3"} if k in low else {}
        town.way(10 + k, [1 + k, 2 + k], {"highway": "residential", "maxspeed": "50"} | height)
        town.way(30 + k, [11 + k, 12 + k], {"highway": "residential", "maxspeed": upper})
    network = network_of(town.extract())
    case = Case.of(network, COACH, Unverified.AVOID, None)
    ends = [snap(network, *lonlat(*turned(x, 0, number)), case.costs.usable) for x in (step / 4, 5.75 * step)]
    lower = case.as_car().costs
    route = find_drive(network, lower, *ends)
    assert route is not None
    assert route.length_m == pytest.approx(5.5 * step, rel=1e-3)
    return case, route


@pytest.mark.parametrize("number", range(8))
@pytest.mark.parametrize(("upper", "rungs"), [("20", (1, 2)), ("60", (1, 5))])
def test_it_is_back_on_the_route_where_that_is_quickest(
    number: int, upper: str, rungs: tuple[int, int]
) -> None:
    """By a slow upper side back at once; where it is a faster one, it is kept as long as it goes along."""
    case, route = ladder(number, upper, (1,))
    done, changed, without = mended(case, route)
    assert (changed, without) == (1, ())
    assert done.length_m == pytest.approx(route.length_m + 600, rel=1e-3)
    assert len(done.arcs) == len(route.arcs) + 2
    kept = [k for k, arc in enumerate(route.arcs) if arc in done.arcs]
    assert kept == [k for k in range(6) if not rungs[0] <= k < rungs[1]]
    assert (done.start, done.end) == (route.start, route.end)


@pytest.mark.parametrize("number", [0, 5])
@pytest.mark.parametrize(
    ("blind", "left", "back"),
    [((), 3, 4), ((3,), 2, 4), ((2, 3), 1, 4), ((2,), 3, 4), ((4,), 3, 5), ((3, 4), 2, 5)],
)
def test_it_leaves_at_the_last_junction_that_has_a_way(
    number: int, blind: tuple[int, ...], left: int, back: int
) -> None:
    """Streets that lead nowhere are no way round, before or behind what is too low."""
    case, route = ladder(number, "40", (3,), blind=blind)
    done, changed, without = mended(case, route)
    assert (changed, without) == (1, ())
    assert [k for k, arc in enumerate(route.arcs) if arc not in done.arcs] == list(range(left, back))


@pytest.mark.parametrize("number", range(8))
def test_one_way_leads_round_two_low_parts_in_a_row(number: int) -> None:
    case, route = ladder(number, "40", (2, 3))
    done, changed, without = mended(case, route)
    assert (changed, without) == (1, ())
    assert [arc in done.arcs for arc in route.arcs] == [True, True, False, False, True, True]


@pytest.mark.parametrize("number", range(8))
def test_what_is_too_low_where_the_drive_begins_or_ends_has_no_way_round(number: int) -> None:
    """Nothing lies before the first, and nothing of the route behind the last; both are told in order."""
    case, route = ladder(number, "40", (0, 5))
    done, changed, without = mended(case, route)
    assert (done, changed) == (route, 0)
    assert list(without) == [structure for _, structure in too_low(case, route)]
    assert len(without) == 2


@pytest.mark.parametrize(("number", "low"), list(product(range(8), ((0, 2), (2, 5)))))
def test_one_that_stays_does_not_hinder_the_others(number: int, low: tuple[int, int]) -> None:
    case, route = ladder(number, "40", low)
    done, changed, without = mended(case, route)
    assert changed == 1
    assert [structure for _, structure in too_low(case, done)] == list(without)
    assert len(without) == 1
    assert done.length_m == pytest.approx(route.length_m + 600, rel=1e-3)


def test_a_ring_does_not_lead_back_before_the_start() -> None:
    """From the end a street leads back to what lies behind the low part; that is no way round."""
    town = Town()
    for ref, (x, y) in {1: (0, 0), 2: (500, 0), 3: (1000, 0), 4: (1000, 400), 5: (500, 400)}.items():
        town.node(ref, x, y)
    town.way(10, [1, 2], {"highway": "residential", "maxheight": "3"}).way(11, [2, 3])
    town.way(12, [3, 4, 5, 2])
    network = network_of(town.extract())
    case = Case.of(network, COACH, Unverified.AVOID, None)
    ends = [snap(network, *lonlat(*at), case.costs.usable) for at in ((100, 0), (1000, 200))]
    route = find_drive(network, case.as_car().costs, *ends)
    assert route is not None
    (low,) = too_low(case, route)
    assert low[0] == 0
    assert mended(case, route) == (route, 0, (low[1],))

"""The turn-off before a structure, against brute force over the graph of states with networkx."""

from __future__ import annotations

import random
from dataclasses import replace

import networkx as nx
import numpy as np
import pytest

from clearance.assess.case import Case
from clearance.assess.day import plan_day
from clearance.assess.findings import findings_of, passages_of
from clearance.assess.turn_off import turn_off_before, with_turn_offs
from clearance.core.drive import Unverified
from clearance.core.structure import Standing
from clearance.network.network import Network
from clearance.routing.plan import find_drive
from clearance.routing.route import Passage, Route
from clearance.routing.snap import Snap, snap
from clearance.workflow import network_of
from tests.assess.towns import COACH, END, START, halt, two_ways
from tests.routing.engines import for_engine
from tests.routing.test_needed import thin_town
from tests.towns import Town, lonlat

SIZE = 4


def grid_town(seed: int) -> Network:
    """A grid of streets 100 m apart with random speeds, one-ways, and railway bridges of no known height."""
    chance = random.Random(seed)
    town = Town()
    for x in range(SIZE):
        for y in range(SIZE):
            town.node(1 + x * SIZE + y, 100 * x, 100 * y)
    ref = 100
    for x in range(SIZE):
        for y in range(SIZE):
            for dx, dy in ((1, 0), (0, 1)):
                if x + dx >= SIZE or y + dy >= SIZE:
                    continue
                ref += 1
                tags = {
                    "highway": "residential",
                    "name": f"Street {ref}",
                    "maxspeed": str(chance.choice([20, 30, 50])),
                }
                if chance.random() < 0.15:
                    tags["oneway"] = chance.choice(["yes", "-1"])
                ends = [1 + x * SIZE + y, 1 + (x + dx) * SIZE + y + dy]
                town.way(ref, ends, tags)
                if chance.random() < 0.35:
                    mid = (100 * x + 50 * dx, 100 * y + 50 * dy)
                    a, b = 1000 + 2 * ref, 1001 + 2 * ref
                    town.node(a, mid[0] - 20 * dy, mid[1] - 20 * dx).node(
                        b, mid[0] + 20 * dy, mid[1] + 20 * dx
                    )
                    town.way(5000 + ref, [a, b], {"railway": "rail", "bridge": "yes", "layer": "1"})
    return network_of(town.extract())


def brute_force(case: Case, route: Route, passage: Passage, end: list[Snap]) -> tuple[int, float] | None:
    """The last arc of the route after which another way leads on, and the seconds of the best one."""
    network, costs = case.network, case.costs
    banned = {
        int(a)
        for a, s, p in zip(network.hit_arc, network.hit_structure, network.hit_passed, strict=True)
        if s == passage.structure and p
    }
    graph = nx.DiGraph()
    for state in range(len(network.state_arc)):
        arc = int(network.state_arc[state])
        if arc in banned or not np.isfinite(costs.cost[state]):
            continue
        for turn in range(int(network.turn_ptr[state]), int(network.turn_ptr[state + 1])):
            extra = float(costs.turn_extra[turn])
            if np.isfinite(extra):
                graph.add_edge(state, int(network.turn_to[turn]), weight=float(costs.cost[state]) + extra)
    goals = {s.arc: s.fraction for s in end if s.arc not in banned}
    for leg in range(passage.leg - 1, -1, -1):
        best = None
        state = route.states[leg]
        for turn in range(int(network.turn_ptr[state]), int(network.turn_ptr[state + 1])):
            other = int(network.turn_to[turn])
            if network.state_arc[other] == route.arcs[leg + 1] or not np.isfinite(costs.turn_extra[turn]):
                continue
            graph.add_node(other)
            for goal, path in nx.single_source_dijkstra_path(graph, other).items():
                arc = int(network.state_arc[goal])
                if arc not in goals:
                    continue
                cost = nx.path_weight(graph, path, "weight") + float(costs.arc_cost[arc]) * goals[arc]
                seconds = sum(float(costs.seconds[network.state_arc[s]]) for s in path[:-1])
                seconds += float(costs.seconds[arc]) * goals[arc]
                if best is None or cost < best[0] - 1e-9:
                    best = (cost, seconds)
        if best is not None:
            return leg, best[1]
    return None


@pytest.mark.parametrize("engine", ["plain", "landmarks"])
def test_against_brute_force_on_random_grids(engine: str) -> None:
    compared = found_none = 0
    for seed in range(40):
        network = for_engine(grid_town(seed), engine)
        case = Case.of(network, COACH, Unverified.ACCEPT, None)
        # Both ends at the middle of a block without a structure over its far half would be a special case
        # of the last arc; the corners' own streets are taken as they are.
        start = snap(network, *lonlat(30, 0), case.costs.usable)
        end = snap(network, *lonlat(100 * (SIZE - 1) - 30, 100 * (SIZE - 1)), case.costs.usable)
        route = find_drive(network, case.costs, start, end)
        if route is None:
            continue
        for passage in passages_of(case, route):
            if passage.leg == len(route.arcs) - 1 or passage.standing(case.costs) is Standing.CLEAR:
                continue
            told = turn_off_before(case, route, passage, end)
            wanted = brute_force(case, route, passage, end)
            if wanted is None:
                assert told is None, seed
                found_none += 1
                continue
            leg, onward = wanted
            assert told is not None, seed
            until = sum(
                float(case.costs.seconds[a]) * (route.span(i)[1] - route.span(i)[0])
                for i, a in enumerate(route.arcs[: leg + 1])
            )
            node = int(network.arc_head[route.arcs[leg]])
            assert (told.lon, told.lat) == (network.node_lon[node], network.node_lat[node]), seed
            assert told.extra_s == pytest.approx(max(0.0, until + onward - route.seconds), abs=1e-6), seed
            assert 0 < told.before_m <= passage.distance_m
            compared += 1
    assert compared > 20


@pytest.mark.parametrize("engine", ["plain", "landmarks"])
def test_all_of_a_route_together_as_one_by_one(engine: str) -> None:
    """What is known of one structure that nothing leads round spares a search for the others, and no more."""
    found: dict[bool | None, int] = {True: 0, False: 0, None: 0}
    for seed in range(25):
        network = for_engine(thin_town(seed, railways=0.6), engine)
        case = Case.of(network, COACH, Unverified.ACCEPT, None)
        far = float(network.node_lon.max())
        last = int(np.flatnonzero(network.node_lon[network.arc_head] == far)[0])
        ends = [snap(network, *lonlat(30, 0), case.costs.usable)]
        ends.append([Snap(arc=last, fraction=0.9, distance_m=0.0, lon=0.0, lat=0.0)])
        route = find_drive(network, case.costs, *ends)
        if route is None:
            continue
        told = with_turn_offs(case, route, findings_of(case, route), start=ends[0], end=ends[1])
        for finding, passage in zip(told, passages_of(case, route), strict=True):
            onward, back = (turn_off_before(case, route, passage, end) for end in ends[::-1])
            if back is not None:
                back = replace(back, extra_s=0.0, leads_on=False)
            assert finding.turn_off == (onward or back), seed
            found[None if finding.turn_off is None else finding.turn_off.leads_on] += 1
    assert min(found.values()) > 10, found


def test_the_turn_off_of_the_two_ways() -> None:
    """The last junction before the railway is where the two ways part."""
    found = plan_day(two_ways(), COACH, [halt(*START), halt(*END)], unverified=Unverified.ACCEPT)
    (finding,) = found.findings
    turn = finding.turn_off
    assert turn is not None
    assert (turn.lon, turn.lat) == pytest.approx(lonlat(0, 0), abs=1e-7)
    assert (turn.road, turn.onto) == ("West Road", "High Street")
    assert turn.before_m == pytest.approx(500, rel=1e-3)
    assert turn.distance_m == pytest.approx(400, rel=1e-3)
    assert turn.extra_s > 0


def test_no_other_way_no_turn_off() -> None:
    town = two_ways(None, {"motor_vehicle": "no"})
    found = plan_day(town, COACH, [halt(*START), halt(*END)], unverified=Unverified.ACCEPT)
    assert [f.turn_off for f in found.findings] == [None]


def test_where_nothing_leads_on_the_way_back_is_told() -> None:
    """Past the only junction a blind street runs under a railway to the stop; the ring leads back home."""
    town = Town().node(1, -500, 0).node(2, 0, 0).node(3, 500, 0).node(5, 0, 500).node(4, -500, 500)
    town.node(6, 300, -50).node(7, 300, 50)
    town.way(10, [1, 2], {"highway": "residential", "name": "Ring South"})
    town.way(11, [2, 3], {"highway": "residential", "name": "Blind Street"})
    town.way(12, [2, 5, 4, 1], {"highway": "residential", "name": "Ring North"})
    town.way(20, [6, 7], {"railway": "rail", "bridge": "yes", "layer": "1"})
    found = plan_day(
        network_of(town.extract()), COACH, [halt(-400, 0), halt(450, 0)], unverified=Unverified.ACCEPT
    )
    turn = found.findings[0].turn_off
    assert turn is not None
    assert (turn.road, turn.onto, turn.leads_on) == ("Ring South", "Ring North", False)
    assert turn.before_m == pytest.approx(300, rel=1e-3)


def test_what_is_clear_has_no_turn_off_and_what_is_not_has_one() -> None:
    """East Road runs under a bridge that is high enough, Low Street under one of no known height."""
    town = Town()
    for ref, (x, y) in {1: (-500, 0), 2: (0, 0), 3: (1000, 0), 4: (1500, 0), 5: (0, 3000), 6: (1000, 3000),
                        7: (500, -50), 8: (500, 50), 9: (1200, -50), 10: (1200, 50)}.items():  # fmt: skip
        town.node(ref, x, y)
    town.way(10, [1, 2], {"highway": "residential", "name": "West Road"})
    town.way(11, [2, 3], {"highway": "residential", "name": "Low Street"})
    town.way(12, [2, 5, 6, 3], {"highway": "residential", "name": "High Street"})
    town.way(13, [3, 4], {"highway": "residential", "name": "East Road", "maxheight": "16'"})
    for way, nodes in ((20, [7, 8]), (21, [9, 10])):
        town.way(way, nodes, {"railway": "rail", "bridge": "yes", "layer": "1"})
    drive = plan_day(
        network_of(town.extract()), COACH, [halt(*START), halt(*END)], unverified=Unverified.ACCEPT
    )
    unknown, clear = drive.findings
    assert (unknown.standing, clear.standing) == (Standing.UNVERIFIED, Standing.CLEAR)
    assert clear.turn_off is None
    assert unknown.turn_off is not None
    assert (unknown.turn_off.road, unknown.turn_off.onto) == ("West Road", "High Street")
    assert unknown.turn_off.before_m == pytest.approx(500, rel=1e-3)
    # 7,000 m at 30 km/h instead of 1,000 m.
    assert unknown.turn_off.extra_s == pytest.approx(6000 / (30 / 3.6), rel=1e-3)


@pytest.mark.parametrize(
    "good", [{0}, {1}, {2}, {3}, {4}, {5}, {6}, {7}, {0, 1}, {0, 5}, {1, 4, 6}, {2, 3}, set(range(8))]
)
def test_of_many_junctions_before_a_railway_the_last_good_one_is_told(good: set[int]) -> None:
    """A street of eight junctions with lanes to the north; some are blind, others lead round the railway."""
    town, far = Town(), 1000
    for k in range(10):
        town.node(1 + k, 100 * k, 0)
        town.way(50 + k, [1 + k, 2 + k], {"highway": "residential", "name": "Long Street"})
    town.node(11, 1000, 0).node(40, far, 200).node(41, 950, -50).node(42, 950, 50)
    for k in range(8):
        town.node(21 + k, 100 * k, 200 if k in good else 100)
        tags = {"highway": "residential", "name": f"Lane {k}"}
        town.way(70 + k, [1 + k, 21 + k], tags)
    upper = [21 + k for k in sorted(good)]
    town.way(90, [*upper, 40], {"highway": "residential", "name": "Hill Street"})
    town.way(91, [40, 11], {"highway": "residential"}).node(12, 1300, 0).way(92, [11, 12])
    town.way(20, [41, 42], {"railway": "rail", "bridge": "yes", "layer": "1"})
    found = plan_day(
        network_of(town.extract()), COACH, [halt(-0.0, 0), halt(1200, 0)], unverified=Unverified.ACCEPT
    )
    (finding,) = found.findings
    turn = finding.turn_off
    last = max(good - {0}, default=None)
    if last is None:
        # From where the drive begins nothing can be left any more.
        assert turn is None or not turn.leads_on
        return
    assert turn is not None
    assert (turn.road, turn.onto, turn.leads_on) == ("Long Street", f"Lane {last}", True)
    assert turn.distance_m == pytest.approx(100 * last, abs=1)
    assert turn.before_m == pytest.approx(950 - 100 * last, abs=1)
    assert turn.extra_s == pytest.approx(400 / (30 / 3.6), rel=1e-2)


def test_a_turn_off_that_is_quicker_takes_nothing_more() -> None:
    """Planned for the fewest unverified structures in a row; the street passed over is under two of them."""
    town = two_ways(None, {"highway": "residential", "tunnel": "yes", "maxspeed": "50"})
    case = Case.of(town, COACH, Unverified.ACCEPT, None)
    ends = [snap(town, *lonlat(*at), case.costs.usable) for at in (START, END)]
    slow = find_drive(two_ways(), Case.of(two_ways(), COACH, Unverified.REFUSE, None).costs, *ends)
    assert slow is not None
    (passage,) = passages_of(case, slow)
    turn = turn_off_before(case, slow, passage, ends[1])
    assert turn is not None
    assert (turn.onto, turn.extra_s) == ("Low Street", 0.0)

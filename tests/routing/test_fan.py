"""One search for all destinations against one for each, on random towns with private streets and gates."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from clearance.core.coach import Coach
from clearance.core.drive import Unverified
from clearance.core.errors import PlaceError
from clearance.core.lengths import Length
from clearance.network.build import build_network
from clearance.network.network import NO_LIMIT, Network
from clearance.routing.fan import Directed, End, Fan, Openings, Weights, directed
from clearance.routing.kernels import UNREACHED
from clearance.routing.mask import Costs, coach_costs, open_ends, zones_for
from clearance.routing.plan import Widths, find_drive, greatest_height, route_of
from clearance.routing.reverse import backward_turns
from clearance.routing.snap import Snap, snap
from tests.routing.grid_towns import COMFORT, NEED, GridTown, segments
from tests.routing.private_towns import PrivateTown, private_towns
from tests.towns import Town, lonlat

COACH = Coach(height=Length(NEED - 1000), margin=Length(1000), comfort=Length(COMFORT), propane=False)
MANY = settings(max_examples=80, deadline=None, suppress_health_check=list(HealthCheck))


def _snaps(network: Network, costs: Costs, grid: GridTown, segment: tuple[int, int]) -> list[Snap]:
    try:
        return snap(network, *grid.middle(segment), costs.usable, limit_m=1.0)
    except PlaceError:
        return []


def _arcs(snaps: list[Snap]) -> list[int]:
    return [s.arc for s in snaps]


def _fan(network: Network, weights: Weights, turns: Directed, home: list[Snap], zones: set[int]) -> Fan:
    return Fan(
        network,
        weights,
        turns,
        Openings(network, weights.costs),
        home=[End(snap=s) for s in home],
        zones=zones,
    )


@MANY
@given(private_towns(), st.booleans(), st.booleans())
def test_a_fan_costs_what_a_search_for_each_destination_costs(
    town: PrivateTown, homeward: bool, car: bool
) -> None:
    network = town.network()
    costs = coach_costs(network, COACH, Unverified.AVOID, None, car=car)
    home = _snaps(network, costs, town.grid, town.grid.start)
    if not home:
        return
    turns = directed(network, backward_turns(network) if homeward else None)
    fans: dict[frozenset[int], Fan] = {}
    for segment in [*segments(town.grid), *segments(town.grid)[::-1]]:
        goals = _snaps(network, costs, town.grid, segment)
        if not goals:
            continue
        own, others = zones_for(network, costs, _arcs(home), _arcs(goals))
        weights = Weights.of_costs(network, costs)
        fan = fans.setdefault(frozenset(own), _fan(network, weights, turns, home, own))
        fan.attach(others, _arcs(goals))
        opened = open_ends(network, costs, _arcs(home), _arcs(goals))
        for goal in goals:
            ends = ([goal], home) if homeward else (home, [goal])
            expected = find_drive(network, opened, *ends)
            found = fan.way(goal)
            assert fan.weigh(goal) == (float("inf") if found is None else found.weight)
            if expected is None:
                assert found is None
                continue
            assert found is not None
            total = expected.seconds + expected.policy_seconds
            assert found.weight == pytest.approx(total, rel=1e-9, abs=1e-6)
            first, last = (goal, found.home.snap) if homeward else (found.home.snap, goal)
            route = route_of(network, opened, list(found.states), first.fraction, last.fraction)
            assert (route.arcs[0], route.arcs[-1]) == (first.arc, last.arc)
            assert route.seconds + route.policy_seconds == pytest.approx(total, rel=1e-9, abs=1e-6)


@MANY
@given(private_towns(), st.booleans(), st.booleans())
def test_a_wide_fan_admits_what_a_search_for_each_destination_admits(
    town: PrivateTown, homeward: bool, passable: bool
) -> None:
    network = town.network()
    free = coach_costs(network, COACH, Unverified.ACCEPT, None, ignore=frozenset({"height"}))
    home = _snaps(network, free, town.grid, town.grid.start)
    if not home:
        return
    turns = directed(network, backward_turns(network) if homeward else None)
    widths = Widths.of(network, free, unverified_passable=passable)
    fans: dict[frozenset[int], Fan] = {}
    for segment in segments(town.grid):
        goals = _snaps(network, free, town.grid, segment)
        if not goals:
            continue
        own, others = zones_for(network, free, _arcs(home), _arcs(goals))
        weights = Weights.of_widths(network, free, widths)
        fan = fans.setdefault(frozenset(own), _fan(network, weights, turns, home, own))
        fan.attach(others, _arcs(goals))
        ends = (goals, home) if homeward else (home, goals)
        opened = open_ends(network, free, _arcs(home), _arcs(goals))
        expected = greatest_height(network, opened, *ends, unverified_passable=passable)
        best = max(fan.weigh(goal) for goal in goals)
        if expected.route is None:
            assert best == UNREACHED
        else:
            assert best == (NO_LIMIT if expected.height is None else expected.height.tenths)


def test_what_an_end_at_home_adds_decides_between_its_ends() -> None:
    """A street of 400 m with home in its middle: homeward from the east, either direction can be had."""
    town = Town()
    for ref, (x, y) in {1: (0, 0), 2: (200, 0), 3: (200, 200), 4: (0, 200), 5: (300, 0)}.items():
        town.node(ref, x, y)
    town.way(10, [1, 2]).way(11, [2, 3, 4, 1]).way(12, [2, 5])
    network = build_network(town.extract(), ())
    costs = coach_costs(network, COACH, Unverified.AVOID, None)
    home = snap(network, *lonlat(100, 0), costs.usable)
    assert len(home) == 2
    turns = directed(network, backward_turns(network))
    weights = Weights.of_costs(network, costs)

    def ends_of(added: dict[int, float]) -> set[int]:
        """The arcs of home that the ways from the east end at, with these seconds added at each."""
        ends = [End(snap=s, added=added.get(s.arc, 0.0)) for s in home]
        fan = Fan(network, weights, turns, Openings(network, costs), home=ends, zones=())
        ways = [fan.way(s) for s in snap(network, *lonlat(280, 0), costs.usable)]
        return {way.home.snap.arc for way in ways if way is not None}

    (near,) = ends_of({})
    assert ends_of({near: 3600.0}) == {s.arc for s in home} - {near}


def test_attaching_leaves_no_trace() -> None:
    town = Town()
    for ref, x in enumerate(range(0, 600, 100), start=1):
        town.node(ref, x, 0).node(ref + 10, x, 100)
        if ref in {2, 4, 5}:
            town.way(20 + ref, [ref, ref + 10], {"highway": "service", "access": "private"})
    town.way(10, [1, 2, 3, 4, 5, 6]).way(11, [14, 15], {"highway": "service", "access": "private"})
    network = build_network(town.extract(), ())
    costs = coach_costs(network, COACH, Unverified.AVOID, None)
    home = snap(network, *lonlat(20, 0), costs.usable)
    weights = Weights.of_costs(network, costs)
    fan = Fan(
        network,
        weights,
        directed(network),
        Openings(network, costs),
        home=[End(snap=s) for s in home],
        zones=(),
    )
    labels = fan.labels.copy()
    inside = snap(network, *lonlat(350, 100), costs.usable)
    zone = {int(network.arc_area[s.arc]) for s in inside}
    assert all(fan.weigh(s) == float("inf") for s in inside)
    fan.attach(zone, [s.arc for s in inside])
    assert min(fan.weigh(s) for s in inside) < 100
    fan.detach()
    assert (fan.labels == labels).all()
    assert all(fan.weigh(s) == float("inf") for s in inside)

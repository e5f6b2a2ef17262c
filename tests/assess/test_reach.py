"""Searches that many destinations share: what is kept of them, and that each answers as one made for it."""

from __future__ import annotations

import numpy as np
import pytest

from clearance.assess.blocked import SearchEach
from clearance.assess.case import Case
from clearance.assess.reach import Both, Ground, Lifted, LiftedFinder, Reach
from clearance.core.drive import Unverified
from clearance.core.screening import Leg
from clearance.network.network import ACCESS_ENDS, NO_LIMIT, Network
from clearance.routing.fan import Weights
from clearance.routing.kernels import UNREACHED
from clearance.routing.snap import Snap, snap
from clearance.workflow import network_of
from tests.assess.towns import COACH, END, START, two_ways
from tests.towns import Town, lonlat

NOTHING: frozenset[str] = frozenset()


def at(network: Network, x: float, y: float) -> tuple[Snap, ...]:
    case = Case.of(network, COACH, Unverified.AVOID, None)
    return tuple(snap(network, *lonlat(x, y), case.costs.usable))


def ends(network: Network, leg: Leg = Leg.THERE) -> Both:
    return Both(leg, at(network, *START), at(network, *END))


def lifted(network: Network) -> Lifted:
    return Lifted(Ground(network), Case.of(network, COACH, Unverified.AVOID, None))


def test_home_and_destination_have_their_own_private_roads_both_ways() -> None:
    """A private yard at each end of a street; which is which does not hang on the direction of the drive."""
    town = Town()
    for ref, x in enumerate((-500, -300, 300, 500), start=1):
        town.node(ref, x, 0)
    private = {"highway": "service", "access": "private"}
    town.way(10, [1, 2], private).way(11, [2, 3]).way(12, [3, 4], private)
    network = network_of(town.extract())
    case = Case.of(network, COACH, Unverified.AVOID, None)
    west, east = (
        {int(network.arc_area[s.arc]) for s in at(network, x, 0) if network.arc_access[s.arc] == ACCESS_ENDS}
        for x in (-400, 400)
    )
    assert west
    assert east
    assert not west & east
    ground = Ground(network)
    for leg in Leg:
        there = Both(leg, at(network, -400, 0), at(network, 400, 0))
        assert ground.zones(case.costs, there) == [west, east]
        assert ground.zones(case.costs, Both(leg, there.goals, there.home)) == [east, west]
        # To a car the same, by areas of its own.
        own, other = ground.zones(case.as_car().costs, there)
        assert own
        assert other
        assert own != other


def test_the_last_two_heights_are_kept_and_no_more() -> None:
    network = two_ways({"maxheight": "3.5"}, {"maxheight": "3.7"})
    found = lifted(network)

    def of(height: int) -> Reach:
        return found.at_least(NOTHING, height, passable=True)

    first, second = of(35_000), of(36_000)
    assert of(35_000) is first
    assert of(36_000) is second
    # The one that was asked for longest ago goes.
    assert of(35_000) is first
    third = of(37_000)
    assert of(35_000) is first
    assert of(37_000) is third
    assert of(36_000) is not second
    # Another question is another search.
    assert found.at_least(NOTHING, 35_000, passable=False) is not first
    assert found.at_least(frozenset({"width"}), 35_000, passable=True) is not first


def test_drives_are_forgotten_and_clearances_kept() -> None:
    network = two_ways({"maxheight": "3.5"}, {"maxheight": "3.7"})
    found = lifted(network)
    widths, drives = found.widths(NOTHING, passable=True), found.drives(NOTHING)
    height = found.at_least(NOTHING, 35_000, passable=True)
    fan = drives.fan(ends(network))
    assert drives.fan(ends(network)) is fan
    found.forget_drives()
    assert found.widths(NOTHING, passable=True) is widths
    assert found.drives(NOTHING) is drives
    assert drives.fan(ends(network)) is not fan
    assert found.at_least(NOTHING, 35_000, passable=True) is not height


@pytest.mark.parametrize("leg", list(Leg))
@pytest.mark.parametrize(
    ("direct", "detour", "height"),
    [
        ({"maxheight": "3.5"}, {"maxheight": "3.7"}, 37_000),
        ({"maxheight": "3.9"}, {"maxheight": "3.7"}, 39_000),
        ({"maxheight": "3.9"}, {}, NO_LIMIT),
        ({"motor_vehicle": "no"}, {"motor_vehicle": "no"}, UNREACHED),
    ],
)
def test_the_finder_of_many_finds_what_a_search_for_one_does(
    leg: Leg, direct: dict[str, str], detour: dict[str, str], height: int
) -> None:
    network = two_ways(direct, detour)
    case = Case.of(network, COACH, Unverified.AVOID, None)
    shared = LiftedFinder(lifted(network), ends(network, leg))
    start, end = (shared.ends.home, shared.ends.goals)[:: 1 if leg is Leg.THERE else -1]
    one = SearchEach(case, start, end)
    for lift in (NOTHING, frozenset({"width"})):
        mine, other = (finder.tallest(lift, passable=True) for finder in (shared, one))
        assert mine.height == other.height
        assert (mine.route is None) == (other.route is None) == (height == UNREACHED)
        if mine.route is not None and other.route is not None:
            assert mine.route.arcs == other.route.arcs
            assert mine.route.seconds == pytest.approx(other.route.seconds)
            told = NO_LIMIT if mine.height is None else mine.height.tenths
            assert told == height
        many, alone = (finder.drive(lift) for finder in (shared, one))
        assert (many and many.arcs) == (alone and alone.arcs)
    assert shared.lifted.widths(NOTHING, passable=True).width(shared.ends) == height


@pytest.mark.parametrize("leg", list(Leg))
def test_a_line_is_the_route_without_its_turns(leg: Leg) -> None:
    network = two_ways({"maxheight": "3.5"})
    case = Case.of(network, COACH, Unverified.AVOID, None)
    reach = Reach(Ground(network), Weights.of_costs(network, case.costs))
    both = ends(network, leg)
    fan = reach.fan(both)
    found = 0
    for goal in both.goals:
        route, line = reach.route(leg, fan, goal), reach.line(leg, fan, goal)
        if route is None or line is None:
            assert route is line
            continue
        found += 1
        assert (line.states, line.arcs, line.start, line.end) == (
            route.states,
            route.arcs,
            route.start,
            route.end,
        )
        assert line.seconds == pytest.approx(route.seconds)
        assert line.length_m == pytest.approx(route.length_m)
        assert line.length_m == pytest.approx(3800, rel=1e-3)
        assert (line.turns, line.policy_seconds) == ((), 0.0)
    assert found > 0
    best = reach.drive(both)
    assert best is not None
    assert best.seconds == pytest.approx(min(fan.weigh(goal) for goal in both.goals))


def test_what_is_added_at_an_end_at_home_counts() -> None:
    """A home that the one way in cannot leave forward again: the other way is taken while it costs less."""
    network = two_ways()
    case = Case.of(network, COACH, Unverified.AVOID, None)
    reach = Reach(Ground(network), Weights.of_costs(network, case.costs))
    both = ends(network, Leg.BACK)
    plain = [reach.fan(both).weigh(goal) for goal in both.goals]
    dear = [reach.fan(both, (500.0,) * len(both.home)).weigh(goal) for goal in both.goals]
    assert np.isfinite(plain).any()
    for one, other in zip(plain, dear, strict=True):
        assert other == pytest.approx(one + 500) or (one == other == np.inf)
    assert [reach.fan(both).weigh(goal) for goal in both.goals] == plain

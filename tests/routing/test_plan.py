"""Starts and ends within an arc, what a drive passes, and the tallest coach."""

from __future__ import annotations

import numpy as np
import pytest

from clearance.core.coach import Coach
from clearance.core.drive import Unverified
from clearance.core.lengths import Length
from clearance.core.structure import Direction, Evidence, EvidenceClass, Kind, Span, Standing, Structure
from clearance.network.build import build_network
from clearance.network.network import Network
from clearance.routing.mask import Costs, coach_costs
from clearance.routing.plan import Tallest, find_drive, greatest_height
from clearance.routing.route import Passage, Route, hits_on, route_points
from clearance.routing.snap import Snap, snap
from tests.towns import Town, lonlat

COACH = Coach(
    height=Length.from_metres("3.8"), margin=Length.from_metres("0.2"), comfort=Length.from_metres("4.3")
)
Point = tuple[float, float]


def _ring(*, oneway: bool = False) -> Town:
    """A street of 400 m east, 1 - 2, and a detour round it: way 12 from 2 over 3 and 4 back to 1."""
    town = Town().node(1, 0, 0).node(2, 400, 0).node(3, 400, 200).node(4, 0, 200)
    tags = {"highway": "residential", "maxspeed": "36", **({"oneway": "yes"} if oneway else {})}
    return town.way(11, [1, 2], tags).way(12, [2, 3, 4, 1], tags)


def _over(
    metres: str | None, start: float, end: float | None = None, *, way: int = 11, **more: object
) -> Structure:
    evidence: tuple[Evidence, ...] = ()
    if metres is not None:
        evidence = (Evidence(evidence_class=EvidenceClass.POSTED, figure=Length.from_metres(metres)),)
    told = {"spans": (Span(way=way, start=start, end=start if end is None else end),), **more}
    return Structure(key="over", kind=Kind.BRIDGE, lon=0.0, lat=0.0, evidence=evidence, **told)  # type: ignore[arg-type]


def _snaps(network: Network, costs: Costs, place: Point) -> list[Snap]:
    return snap(network, *lonlat(*place), costs.usable)


def _drive(
    network: Network, start: Point, end: Point, unverified: Unverified = Unverified.AVOID, **more: object
) -> tuple[Route | None, Costs]:
    costs = coach_costs(network, COACH, unverified, None, **more)  # type: ignore[arg-type]
    return find_drive(network, costs, _snaps(network, costs, start), _snaps(network, costs, end)), costs


def _metres(network: Network, start: Point, end: Point, **more: object) -> float | None:
    route, _ = _drive(network, start, end, **more)  # type: ignore[arg-type]
    return None if route is None else round(route.length_m, 1)


# --- within an arc -----------------------------------------------------------------------------------


def test_start_and_end_on_one_arc() -> None:
    network = build_network(_ring().extract(), ())
    route, _ = _drive(network, (100, 0), (300, 0))
    assert route is not None
    assert len(route.arcs) == 1
    assert route.turns == ()
    assert route.length_m == pytest.approx(200, abs=0.1)
    assert route.seconds == pytest.approx(20, abs=0.01)
    assert route.policy_seconds == 0.0
    back, _ = _drive(network, (300, 0), (100, 0))
    assert back is not None
    assert network.arc_reverse[route.arcs[0]] == back.arcs[0]


def test_an_end_behind_the_start_of_a_one_way_street_is_reached_round_the_block() -> None:
    network = build_network(_ring(oneway=True).extract(), ())
    assert _metres(network, (100, 0), (300, 0)) == pytest.approx(200, abs=0.2)
    assert _metres(network, (300, 0), (100, 0)) == pytest.approx(1000, abs=0.5)


def test_only_what_lies_ahead_on_the_first_arc_counts() -> None:
    network = build_network(_ring().extract(), [_over("3", 0.5)])
    assert _metres(network, (300, 0), (400, 100)) == pytest.approx(200, abs=0.2)
    assert _metres(network, (100, 0), (400, 100)) == pytest.approx(800, abs=0.5)
    assert _metres(network, (100, 0), (300, 0)) == pytest.approx(1000, abs=0.5), "round the block"


def test_only_what_lies_before_the_end_on_the_last_arc_counts() -> None:
    network = build_network(_ring().extract(), [_over("3", 0.5)])
    assert _metres(network, (0, 100), (100, 0)) == pytest.approx(200, abs=0.2)
    assert _metres(network, (0, 100), (300, 0)) == pytest.approx(800, abs=0.5)


def test_a_start_just_under_a_structure_counts_and_so_does_one_inside_a_tunnel() -> None:
    network = build_network(_ring().extract(), [_over("3", 0.25, 0.75)])
    for x in (100, 200, 300):
        route, _ = _drive(network, (x, 0), (0, 100))
        assert route is None, x
    assert _drive(network, (90, 0), (0, 100))[0] is not None
    assert _drive(network, (0, 100), (90, 0))[0] is not None
    assert _drive(network, (0, 100), (200, 0))[0] is None


def test_the_policy_counts_what_is_passed_and_no_more() -> None:
    network = build_network(_ring().extract(), [_over(None, 0.5), _over("4.1", 1.5, way=12)])
    for start, end, seconds, policy in (
        ((300, 0), (400, 50), 15.0, 0.0),
        ((100, 0), (300, 0), 100.0, 240.0),  # round the block: tight is better than unverified
        ((100, 0), (140, 0), 4.0, 0.0),
    ):
        route, _ = _drive(network, start, end)
        assert route is not None
        assert route.seconds == pytest.approx(seconds, abs=0.05)
        assert route.policy_seconds == policy
    route, _ = _drive(network, (100, 0), (300, 0), Unverified.ACCEPT)
    assert route is not None
    assert (round(route.seconds, 1), route.policy_seconds) == (20.0, 1.0)


def test_no_way_at_all_is_none() -> None:
    town = _ring().node(8, 0, 1000).node(9, 100, 1000).way(20, [8, 9])
    network = build_network(town.extract(), ())
    assert _drive(network, (100, 0), (50, 1000))[0] is None
    low = build_network(_ring().extract(), [_over("3", 0.5), _over("3", 1.5, way=12)])
    assert _drive(low, (100, 0), (300, 0))[0] is None
    assert _drive(low, (100, 0), (300, 0), ignore=frozenset({"height"}))[0] is not None


def test_a_start_on_a_corner_may_go_any_way() -> None:
    network = build_network(_ring().extract(), ())
    assert _metres(network, (0, 0), (100, 0)) == pytest.approx(100, abs=0.2)
    assert _metres(network, (0, 0), (0, 100)) == pytest.approx(100, abs=0.2)
    assert _metres(network, (0, 100), (0, 0)) == pytest.approx(100, abs=0.2)


def test_the_same_drive_every_time_where_two_cost_the_same() -> None:
    town = Town().node(1, 0, 0).node(2, 100, 100).node(3, 100, -100).node(4, 200, 0)
    town.node(5, -100, 0).node(6, 300, 0)
    town.way(10, [5, 1]).way(11, [1, 2, 4]).way(12, [1, 3, 4]).way(13, [4, 6])
    network = build_network(town.extract(), ())
    routes = {_drive(network, (-50, 0), (250, 0))[0] for _ in range(3)}
    assert len(routes) == 1


# --- the line ----------------------------------------------------------------------------------------


def test_the_line_of_a_drive_begins_and_ends_at_its_places() -> None:
    network = build_network(_ring().extract(), ())
    route, _ = _drive(network, (300, 0), (300, 200))
    assert route is not None
    lon, lat = route_points(network, route)
    wanted = np.array([lonlat(*p) for p in ((300, 0), (400, 0), (400, 200), (300, 200))])
    np.testing.assert_allclose(np.stack((lon, lat), axis=1), wanted, rtol=0, atol=2e-7)


# --- what is passed ----------------------------------------------------------------------------------


def _passed(network: Network, start: Point, end: Point) -> tuple[list[Passage], Costs]:
    route, costs = _drive(network, start, end, ignore=frozenset({"height"}))
    assert route is not None
    return list(hits_on(network, costs, route)), costs


def test_structures_are_told_in_driving_order_with_distance_and_time() -> None:
    network = build_network(
        _ring().extract(), [_over("4.1", 0.75), _over(None, 0.5), _over("3", 0.25), _over("5", 1.5, way=12)]
    )
    passed, costs = _passed(network, (150, 0), (400, 150))
    assert [p.structure for p in passed] == [1, 0]
    assert [round(p.distance_m) for p in passed] == [50, 150]
    assert [round(p.seconds, 1) for p in passed] == [5.0, 15.0]
    assert [p.standing(costs) for p in passed] == [Standing.UNVERIFIED, Standing.TIGHT]
    assert [p.clearance(costs) for p in passed] == [None, Length(41000)]
    assert {p.direction for p in passed} == {Direction.FORWARD}
    passed, _ = _passed(network, (350, 0), (0, 150))
    assert [p.structure for p in passed] == [0, 1, 2]
    assert {p.direction for p in passed} == {Direction.BACKWARD}


def test_a_tunnel_over_several_arcs_is_one_passage_and_begins_at_its_mouth() -> None:
    town = _ring()
    town._ways = [w for w in town._ways if w.id != 11]
    town.node(5, 200, 0).node(6, 200, -50).way(13, [5, 6]).way(11, [1, 5, 2])
    network = build_network(town.extract(), [_over(None, 0.5, 1.5)])
    (one,), _ = _passed(network, (50, 0), (350, 0))
    assert round(one.distance_m) == 50
    (inside,), _ = _passed(network, (150, 0), (350, 0))
    assert inside.distance_m == 0.0
    (turned,), _ = _passed(network, (50, 0), (200, -20))
    assert round(turned.distance_m) == 50


def test_a_structure_met_twice_is_told_twice() -> None:
    spans = (Span(way=11, start=0.5, end=0.5), Span(way=12, start=0.5, end=0.5))
    network = build_network(_ring(oneway=True).extract(), [_over("4.1", 0.5, spans=spans)])
    passed, _ = _passed(network, (100, 0), (400, 150))
    assert [round(p.distance_m) for p in passed] == [100, 400]


def test_a_crossing_above_a_corner_is_one_passage() -> None:
    town = _ring()
    town._ways = [w for w in town._ways if w.id != 11]
    town.node(5, 200, 0).node(6, 200, -50).way(13, [5, 6]).way(11, [1, 5, 2])
    network = build_network(town.extract(), [_over(None, 1.0)])
    (one,), _ = _passed(network, (50, 0), (350, 0))
    assert round(one.distance_m) == 150
    route, _ = _drive(network, (50, 0), (350, 0), Unverified.AVOID)
    assert route is not None
    assert route.length_m > 890, "round the block rather than below it"
    route, _ = _drive(network, (50, 0), (350, 0), Unverified.ACCEPT)
    assert route is not None
    assert route.policy_seconds == pytest.approx(1.0)


def test_a_height_bar_on_a_node_is_told_where_it_stands_and_not_where_the_drive_ends() -> None:
    town = _ring()
    town._ways = [w for w in town._ways if w.id != 11]
    town.node(5, 200, 0).way(11, [1, 5, 2])
    network = build_network(town.extract(), [_over("4.1", 0.5, spans=(), nodes=(5,))])
    (one,), costs = _passed(network, (50, 0), (350, 0))
    assert round(one.distance_m) == 150
    assert one.direction is Direction.BOTH
    assert one.side == -1
    assert one.clearance(costs) == Length(41000)
    assert one.standing(costs) is Standing.TIGHT
    assert _passed(network, (50, 0), (199, 0))[0] == []


def test_the_figure_of_a_whole_way_is_told_as_not_passed_where_the_drive_turns_off() -> None:
    town = _ring()
    town._ways = [w for w in town._ways if w.id != 11]
    town.node(5, 200, 0).node(6, 200, -50).way(13, [5, 6]).way(11, [1, 5, 2])
    whole = Span(way=11, start=1.5, end=1.5, whole_way=True)
    network = build_network(town.extract(), [_over("4.1", 1.5, spans=(whole,))])
    (one,), _ = _passed(network, (50, 0), (200, -40))
    assert not one.passed
    (one,), _ = _passed(network, (50, 0), (390, 0))
    assert one.passed
    assert round(one.distance_m) == 250


# --- the tallest coach -------------------------------------------------------------------------------


def _tallest(network: Network, start: Point, end: Point, *, unverified_passable: bool = True) -> Tallest:
    free = coach_costs(network, COACH, Unverified.AVOID, None, ignore=frozenset({"height"}))
    a, b = _snaps(network, free, start), _snaps(network, free, end)
    return greatest_height(network, free, a, b, unverified_passable=unverified_passable)


def test_the_tallest_coach_takes_the_higher_of_two_ways() -> None:
    network = build_network(_ring().extract(), [_over("3.2", 0.5), _over("3.6", 1.5, way=12)])
    tallest = _tallest(network, (100, 0), (300, 0))
    assert tallest.height == Length(36000)
    assert tallest.limiting == (1,)
    assert tallest.route is not None
    assert tallest.route.length_m == pytest.approx(1000, abs=0.5)
    assert _tallest(network, (100, 0), (150, 0)).height is None


def test_of_ways_equally_high_the_quickest_is_shown() -> None:
    network = build_network(_ring().extract(), [_over("3.2", 0.5), _over("3.2", 1.5, way=12)])
    tallest = _tallest(network, (100, 0), (300, 0))
    assert tallest.height == Length(32000)
    assert tallest.limiting == (0,)


def test_unverified_structures_are_passable_or_closed_as_asked() -> None:
    network = build_network(_ring().extract(), [_over(None, 0.5), _over("3.6", 1.5, way=12)])
    assert _tallest(network, (100, 0), (300, 0)).height is None
    closed = _tallest(network, (100, 0), (300, 0), unverified_passable=False)
    assert closed.height == Length(36000)
    both = build_network(_ring().extract(), [_over(None, 0.5), _over(None, 1.5, way=12)])
    assert _tallest(both, (100, 0), (300, 0), unverified_passable=False).route is None


def test_the_tallest_coach_minds_bars_on_nodes_and_figures_of_whole_ways() -> None:
    town = _ring()
    town._ways = [w for w in town._ways if w.id != 11]
    town.node(5, 200, 0).way(11, [1, 5, 2])
    bar = _over("3.3", 0.5, spans=(), nodes=(5,))
    network = build_network(town.extract(), [bar, _over("3.1", 1.5, way=12)])
    tallest = _tallest(network, (100, 0), (300, 0))
    assert (tallest.height, tallest.limiting) == (Length(33000), (0,))
    unknown = _over(None, 0.5, spans=(), nodes=(5,))
    network = build_network(town.extract(), [unknown, _over("3.1", 1.5, way=12)])
    assert _tallest(network, (100, 0), (300, 0), unverified_passable=False).height == Length(31000)
    whole = Span(way=11, start=0.5, end=0.5, whole_way=True)
    network = build_network(town.extract(), [_over("2.9", 0.5, spans=(whole,))])
    assert _tallest(network, (250, 0), (350, 0)).height == Length(29000)


def test_no_way_for_any_height_has_no_route() -> None:
    town = _ring().node(8, 0, 1000).node(9, 100, 1000).way(20, [8, 9])
    network = build_network(town.extract(), ())
    assert _tallest(network, (100, 0), (50, 1000)) == Tallest(height=None, route=None)


def test_costs_in_which_heights_count_are_refused() -> None:
    network = build_network(_ring().extract(), ())
    costs = coach_costs(network, COACH, Unverified.AVOID, None)
    with pytest.raises(ValueError, match="height ignored"):
        greatest_height(network, costs, [], [], unverified_passable=True)

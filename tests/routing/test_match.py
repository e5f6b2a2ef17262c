"""Lines brought onto the roads of tiny towns, each with the trap that it is for."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from itertools import pairwise

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from clearance.core.errors import InputError
from clearance.core.line import Line
from clearance.network.build import build_network
from clearance.network.network import Network
from clearance.routing.match import Match, match_line
from clearance.structures.find import find_structures
from tests.towns import Town, lonlat

XY = Sequence[tuple[float, float]]


def _network(town: Town) -> Network:
    extract = town.extract()
    return build_network(extract, find_structures(extract))


def _line(points: XY, parts: Sequence[int] = (0,)) -> Line:
    return Line(
        points=np.array([lonlat(x, y) for x, y in points], dtype=np.float64),
        parts=np.array(parts, dtype=np.int64),
        source="line",
    )


def _along(corners: XY, step: float = 40.0) -> list[tuple[float, float]]:
    """Points each `step` metres along a line of corners, both ends included."""
    points = []
    for (ax, ay), (bx, by) in pairwise(corners):
        length = float(np.hypot(bx - ax, by - ay))
        points += [
            (ax + (bx - ax) * s / length, ay + (by - ay) * s / length) for s in np.arange(0, length, step)
        ]
    return [*points, corners[-1]]


def _noisy(points: XY, sigma: float, seed: int) -> list[tuple[float, float]]:
    noise = np.random.default_rng(seed).normal(0, sigma, (len(points), 2))
    return [(x + dx, y + dy) for (x, y), (dx, dy) in zip(points, noise.tolist(), strict=True)]


def _ways(network: Network, match: Match) -> list[list[int]]:
    """OSM ids of the ways of each part, each once where driven on."""
    result = []
    for part in match.parts:
        ids = [network.ways[network.arc_way[arc]].id for arc in part.route.arcs]
        result.append([way for i, way in enumerate(ids) if i == 0 or way != ids[i - 1]])
    return result


def _check(network: Network, line: Line, match: Match) -> None:
    """What holds of every match: routes that can be driven, and nothing of the line left out."""
    for part in match.parts:
        route = part.route
        assert 0 <= part.first < part.last < len(line.points)
        assert len(route.states) == len(route.arcs) == len(route.turns) + 1
        assert [int(network.state_arc[s]) for s in route.states] == list(route.arcs)
        for (here, there), turn in zip(pairwise(route.states), route.turns, strict=True):
            assert network.turn_ptr[here] <= turn < network.turn_ptr[here + 1]
            assert network.turn_to[turn] == there
        spans = [route.span(i) for i in range(len(route.arcs))]
        assert all(0 <= start <= end <= 1 for start, end in spans)
        lengths = [network.arc_length[a] * (e - s) for a, (s, e) in zip(route.arcs, spans, strict=True)]
        assert route.length_m == pytest.approx(sum(lengths))
        assert route.length_m > 0
    for a, b in pairwise(match.parts):
        assert a.last <= b.first
    lost = sum(u.length_m for u in match.unmatched if "interrupted" not in u.reason)
    assert match.matched_m + lost == pytest.approx(match.length_m, abs=1e-6)
    assert all(u.reason and len(u.points) >= 1 for u in (*match.unmatched, *match.assumed))


def _match(town: Town | Network, points: XY, parts: Sequence[int] = (0,)) -> tuple[Network, Match]:
    network = town if isinstance(town, Network) else _network(town)
    line = _line(points, parts)
    match = match_line(network, line)
    _check(network, line, match)
    return network, match


def _straight() -> Town:
    return Town().node(1, 0, 0).node(2, 1000, 0).way(10, [1, 2])


def test_a_line_on_a_road_is_that_road_from_where_to_where() -> None:
    network, match = _match(_straight(), _along([(100, 2), (700, 2)]))
    (part,) = match.parts
    assert not match.unmatched
    assert not match.assumed
    assert part.route.length_m == pytest.approx(600, abs=0.5)
    assert part.route.start == pytest.approx(0.1, abs=1e-3)
    assert network.arc_from[part.route.arcs[0]] < network.arc_to[part.route.arcs[0]]
    assert part.route.seconds == pytest.approx(0.6 * network.arc_seconds[part.route.arcs[0]], rel=1e-3)
    assert match.matched_m == pytest.approx(600, abs=0.5)


def test_driving_times_may_be_given() -> None:
    network = _network(_straight())
    match = match_line(network, _line([(0, 0), (1000, 0)]), seconds=np.full(2, 500.0))
    assert match.parts[0].route.seconds == pytest.approx(500.0, rel=1e-3)


def test_two_points_are_enough_for_a_straight_road() -> None:
    _, match = _match(_straight(), [(5, 1), (990, -1)])
    assert match.parts[0].route.length_m == pytest.approx(985, abs=0.5)
    assert not match.assumed


@cache
def _parallel(oneway: bool) -> Network:
    """Two roads 14 m apart for a kilometre, joined at both ends."""
    forth, back = (
        {"highway": "primary", "oneway": "yes"} if oneway else {"highway": "primary"} for _ in "ab"
    )
    return _network(
        Town()
        .node(1, 0, 0)
        .node(2, 1000, 0)
        .node(3, 1000, 14)
        .node(4, 0, 14)
        .node(5, 1100, 7)
        .node(6, -100, 7)
        .way(10, [1, 2], forth)
        .way(11, [3, 4], back)
        .way(12, [2, 5], forth)
        .way(13, [5, 3], back)
        .way(14, [4, 6], back)
        .way(15, [6, 1], forth)
    )


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize(("y", "way"), [(0.0, 10), (14.0, 11)])
def test_of_parallel_roads_the_nearer_is_taken_through_noise(seed: int, y: float, way: int) -> None:
    points = _noisy(_along([(50, y), (950, y)], 60), 5, seed)
    network, match = _match(_parallel(False), points)
    assert _ways(network, match) == [[way]]
    assert not match.unmatched


@pytest.mark.parametrize("seed", range(5))
def test_of_two_carriageways_the_direction_tells(seed: int) -> None:
    """The noise is larger than what parts them, and the nearer one may not be driven that way."""
    network, match = _match(_parallel(True), _noisy(_along([(950, 4), (50, 4)], 60), 10, seed))
    assert _ways(network, match) == [[11]]


@cache
def _crossing() -> Network:
    """A bridge over a street, at right angles, with ways round that join them far off."""
    return _network(
        Town()
        .node(1, -400, 0)
        .node(2, 400, 0)
        .node(3, 0, -400)
        .node(4, 0, -30)
        .node(5, 0, 30)
        .node(6, 0, 400)
        .way(10, [1, 2])
        .way(11, [3, 4])
        .way(12, [4, 5], {"highway": "residential", "bridge": "yes", "layer": "1", "maxheight": "3"})
        .way(13, [5, 6])
        .way(14, [2, 6])
        .way(15, [1, 3])
    )


@pytest.mark.parametrize("seed", range(5))
def test_a_line_under_a_bridge_stays_on_the_lower_road(seed: int) -> None:
    network, match = _match(_crossing(), _noisy(_along([(-350, 0), (350, 0)], 50), 8, seed))
    assert _ways(network, match) == [[10]]
    # The height on the bridge way itself is held against both roads, and so it is found here.
    route = match.parts[0].route
    assert any(network.hit_passed[network.hit_arc == arc].any() for arc in route.arcs)


@pytest.mark.parametrize("seed", range(5))
def test_a_line_over_a_bridge_stays_on_it(seed: int) -> None:
    network, match = _match(_crossing(), _noisy(_along([(0, -350), (0, 350)], 50), 8, seed))
    assert _ways(network, match) == [[11, 12, 13]]


def test_what_is_closed_to_the_coach_is_matched_all_the_same() -> None:
    town = (
        Town()
        .node(1, 0, 0)
        .node(2, 300, 0)
        .node(3, 600, 0)
        .way(10, [1, 2])
        .way(11, [2, 3], {"highway": "residential", "motorhome": "no", "maxheight": "2"})
    )
    network, match = _match(town, _along([(10, 0), (590, 0)]))
    assert _ways(network, match) == [[10, 11]]


def test_a_hole_in_the_points_is_bridged_and_said_where_the_road_bends() -> None:
    town = (
        Town()
        .node(1, 0, 0)
        .node(2, 400, 0)
        .node(3, 500, 300)
        .node(4, 900, 300)
        .node(5, 900, 0)
        .node(6, 1400, 0)
        .way(10, [1, 2, 3, 4, 5, 6])
    )
    network, match = _match(town, [*_along([(0, 0), (380, 0)]), *_along([(920, 0), (1400, 0)])])
    assert _ways(network, match) == [[10]]
    (guess,) = match.assumed
    assert "by up to 300 m" in guess.reason
    assert guess.distance_m == pytest.approx(380, abs=1)
    assert guess.length_m == pytest.approx(540, abs=1)
    straight, hole = _match(_straight(), [*_along([(0, 0), (200, 0)]), *_along([(800, 0), (1000, 0)])])
    assert _ways(straight, hole) == [[10]]
    assert not hole.assumed


def test_a_stretch_off_the_roads_is_unmatched_and_the_rest_is_not() -> None:
    points = _along([(0, 0), (300, 0), (300, 400), (700, 400), (700, 0), (1000, 0)])
    network, match = _match(_straight(), points)
    assert _ways(network, match) == [[10], [10]]
    (lost,) = match.unmatched
    assert lost.reason == "no known road is within 50 m of the line"
    assert 1000 < lost.length_m < 1300
    assert match.parts[0].route.length_m == pytest.approx(300, abs=60)
    assert match.parts[1].route.length_m == pytest.approx(300, abs=60)


def test_a_line_that_begins_and_ends_off_the_roads() -> None:
    network, match = _match(_straight(), _along([(200, -300), (200, 0), (800, 0), (800, 300)]))
    assert _ways(network, match) == [[10]]
    assert [u.distance_m for u in match.unmatched] == [0.0, pytest.approx(900, abs=60)]


def test_a_line_near_no_road_is_all_unmatched() -> None:
    _, match = _match(_straight(), _along([(100, 900), (700, 900)]))
    assert not match.parts
    (lost,) = match.unmatched
    assert lost.length_m == pytest.approx(600, abs=0.5)
    assert not match.notes


def test_a_line_outside_the_area_is_said_to_be_so() -> None:
    _, match = _match(_straight(), _along([(100, 90_000), (700, 90_000)]))
    assert not match.parts
    assert match.unmatched[0].reason == "the line is outside the area of the road file"


def test_swapped_coordinates_are_noticed() -> None:
    network = _network(_straight())
    line = _line(_along([(100, 0), (700, 0)]))
    line = Line(points=line.points[:, ::-1].copy(), parts=line.parts)
    match = match_line(network, line)
    assert not match.parts
    assert "look swapped" in match.notes[0]


def test_a_line_that_turns_back_on_the_road_is_said_to_do_so() -> None:
    network, match = _match(_straight(), _along([(100, 0), (700, 0), (200, 0)]))
    assert _ways(network, match) == [[10], [10]]
    out, back = match.parts
    assert network.arc_reverse[out.route.arcs[-1]] == back.route.arcs[0]
    (lost,) = match.unmatched
    assert "turns back" in lost.reason
    assert lost.length_m < 100


def test_a_line_that_turns_at_a_loop_is_driven_through() -> None:
    town = Town().node(1, 0, 0).node(2, 600, 0, {"highway": "turning_loop"}).way(10, [1, 2])
    _, match = _match(town, _along([(100, 0), (600, 0), (200, 0)]))
    assert len(match.parts) == 1
    assert not match.unmatched
    assert match.parts[0].route.length_m == pytest.approx(900, abs=30)


@cache
def _corner(restricted: bool) -> Network:
    """A street with a side street, into which turning left may be barred."""
    town = (
        Town()
        .node(1, 0, 0)
        .node(2, 400, 0)
        .node(3, 800, 0)
        .node(4, 400, 400)
        .way(10, [1, 2])
        .way(11, [2, 3])
        .way(12, [2, 4])
    )
    if restricted:
        town.relation(
            20,
            [("w", 10, "from"), ("n", 2, "via"), ("w", 12, "to")],
            {"type": "restriction", "restriction": "no_left_turn"},
        )
    return _network(town)


def test_a_turn_that_is_barred_is_never_matched() -> None:
    points = _along([(50, 0), (400, 0), (400, 350)])
    network, match = _match(_corner(False), points)
    assert _ways(network, match) == [[10, 12]]
    network, match = _match(_corner(True), points)
    assert _ways(network, match) == [[10], [12]]
    (lost,) = match.unmatched
    assert "turn restrictions" in lost.reason
    assert lost.length_m < 150


@pytest.mark.parametrize(
    ("corners", "ways"),
    [
        ([(10, 0), (290, 0), (300, 0), (300, 140)], [[101, 103, 106]]),
        ([(150, 140), (150, 0), (290, 0), (440, 0)], [[104, 103, 105]]),
        ([(10, 0), (440, 0)], [[101, 103], [105]]),
    ],
)
def test_a_restriction_over_a_way_is_remembered_along_it(corners: XY, ways: list[list[int]]) -> None:
    """From 101 over 103 nothing may go on to 105: the other ways on are open, and 105 for others."""
    network, match = _match(_village(), _along(corners, 25))
    assert _ways(network, match) == ways


def test_a_line_against_a_one_way_street_is_unmatched() -> None:
    town = (
        Town()
        .node(1, 0, 0)
        .node(2, 300, 0)
        .node(3, 700, 0)
        .node(4, 1000, 0)
        .way(10, [1, 2])
        .way(11, [2, 3], {"highway": "residential", "oneway": "-1"})
        .way(12, [3, 4])
    )
    network, match = _match(town, _along([(0, 0), (1000, 0)]))
    assert _ways(network, match) == [[10], [12]]
    (lost,) = match.unmatched
    assert "one-way" in lost.reason
    assert lost.length_m == pytest.approx(400, abs=100)


def test_a_coach_that_stands_still_goes_nowhere() -> None:
    still = _noisy([(400.0, 0.0)] * 200, 3, seed=1)
    points = [*_along([(0, 0), (400, 0)]), *still, *_along([(400, 0), (800, 0)])]
    _, match = _match(_straight(), points)
    (part,) = match.parts
    assert not match.unmatched
    assert part.route.length_m == pytest.approx(800, abs=1)


def test_a_last_point_a_little_behind_is_noise() -> None:
    _, match = _match(_straight(), [*_along([(100, 0), (400, 0)], 60), (390, 0)])
    (part,) = match.parts
    assert part.last == 6
    assert not match.unmatched


def test_points_out_of_order_do_not_part_the_way() -> None:
    points = _along([(0, 0), (1000, 0)], 60)
    points[8], points[9] = points[9], points[8]
    network, match = _match(_straight(), points)
    assert _ways(network, match) == [[10]]
    assert not match.unmatched


def test_points_doubled_change_nothing() -> None:
    once = _along([(0, 0), (900, 0)])
    twice = [p for p in once for _ in range(2)]
    assert _match(_straight(), twice)[1].parts[0].route == _match(_straight(), once)[1].parts[0].route


def test_a_line_of_one_place_is_unmatched() -> None:
    _, match = _match(_straight(), [(400, 0), (400, 0)])
    assert not match.parts
    assert len(match.unmatched) == 1


def test_one_stray_point_is_left_out_and_said_to_be() -> None:
    points = _along([(0, 0), (1000, 0)], 60)
    points[8] = (points[8][0], 240.0)
    network, match = _match(_straight(), points)
    assert _ways(network, match) == [[10]]
    assert not match.unmatched
    (guess,) = match.assumed
    assert "a point far off" in guess.reason


def test_an_interruption_of_the_line_is_told_and_not_filled() -> None:
    first, second = _along([(0, 0), (300, 0)]), _along([(700, 0), (1000, 0)])
    network, match = _match(_straight(), [*first, *second], (0, len(first)))
    assert _ways(network, match) == [[10], [10]]
    (gap,) = match.unmatched
    assert gap.reason == "the line is interrupted for 400 m"
    assert gap.length_m == pytest.approx(400, abs=0.5)
    assert match.length_m == pytest.approx(600, abs=0.5)


def test_a_part_that_begins_where_the_last_one_ended_goes_on() -> None:
    first, second = _along([(0, 0), (500, 0)]), _along([(510, 0), (1000, 0)])
    _, match = _match(_straight(), [*first, *second], (0, len(first)))
    assert len(match.parts) == 1
    assert not match.unmatched


def test_both_legs_of_a_hairpin_are_known_apart() -> None:
    """One piece without a junction comes near the line twice, 30 m apart."""
    town = (
        Town()
        .node(1, 0, 0)
        .node(2, 600, 0)
        .node(3, 630, 15)
        .node(4, 600, 30)
        .node(5, 0, 30)
        .way(10, [1, 2, 3, 4, 5])
    )
    _, match = _match(town, _noisy(_along([(20, 0), (600, 0), (630, 15), (600, 30), (20, 30)]), 4, 3))
    (part,) = match.parts
    assert not match.unmatched
    assert len(part.route.arcs) == 1
    assert part.route.length_m == pytest.approx(1230, abs=40)


def test_a_network_without_roads_and_an_endless_line_are_refused() -> None:
    with pytest.raises(InputError, match="no roads"):
        match_line(
            _network(Town().node(1, 0, 0).node(2, 1, 1).way(9, [1, 2], {"building": "yes"})),
            _line([(0, 0), (9, 9)]),
        )
    zigzag = Line(points=np.array([(-40.0, -60.0), (-40.0, 60.0)]), parts=np.array([0]))
    with pytest.raises(InputError, match="more than 5,000 km"):
        match_line(_network(_straight()), zigzag)


@cache
def _village() -> Network:
    """A grid of streets, some one-way, some turns barred, one restriction over a way."""
    town = Town()
    for row in range(4):
        for column in range(4):
            town.node(1 + 4 * row + column, 150 * column, 150 * row)
    way = 100
    for row in range(4):
        for column in range(4):
            here = 1 + 4 * row + column
            for there in ([here + 1] if column < 3 else []) + ([here + 4] if row < 3 else []):
                way += 1
                tags = {"highway": "residential"} | ({"oneway": "yes"} if way % 5 == 0 else {})
                town.way(way, [here, there], tags)
    town.relation(
        1,
        [("w", 101, "from"), ("w", 103, "via"), ("w", 105, "to")],
        {"type": "restriction", "restriction": "no_straight_on"},
    )
    network = _network(town)
    assert network.state_arc.size > network.arc_tail.size  # a state that remembers the way it was reached
    return network


_POINTS = st.lists(st.tuples(st.floats(-100, 600), st.floats(-100, 600)), min_size=2, max_size=25)


@settings(deadline=None)
@given(points=_POINTS, cuts=st.sets(st.integers(1, 24), max_size=3))
def test_any_line_is_matched_or_said_not_to_be(points: XY, cuts: set[int]) -> None:
    parts = [0, *sorted(cut for cut in cuts if cut < len(points))]
    _match(_village(), points, parts)


@settings(deadline=None)
@given(seed=st.integers(0, 2**32 - 1), sigma=st.sampled_from([0.0, 3.0]))
def test_a_drive_at_random_is_found_again(seed: int, sigma: float) -> None:
    """By turns at random from state to state: its arcs come back, but for what noise hides at the ends."""
    network = _village()
    rng = np.random.default_rng(seed)
    states = [int(rng.integers(network.arc_tail.size))]
    while len(states) < 8:
        turns = network.turn_to[network.turn_ptr[states[-1]] : network.turn_ptr[states[-1] + 1]]
        if not turns.size:
            break
        states.append(int(rng.choice(turns)))
    assume(len(states) > 3)
    arcs = network.state_arc[states].tolist()
    corners = [int(network.arc_tail[arcs[0]]), *(int(network.arc_head[a]) for a in arcs)]
    xy = [_xy(network, node) for node in corners]
    _, match = _match(network, _noisy(_along(xy, 30), sigma, seed))
    matched = [arc for part in match.parts for arc in part.route.arcs]
    assert len(match.parts) == 1
    inner = arcs[1:-1]
    found = [i for i in range(len(matched)) if matched[i : i + len(inner)] == inner]
    assert found, (arcs, matched)


def _xy(network: Network, node: int) -> tuple[float, float]:
    origin = np.array(lonlat(0, 0))
    scale = 1 / (np.array(lonlat(1000, 1000)) - origin) * 1000
    at: npt.NDArray[np.float64] = (
        np.array([network.node_lon[node], network.node_lat[node]]) - origin
    ) * scale
    return float(at[0]), float(at[1])

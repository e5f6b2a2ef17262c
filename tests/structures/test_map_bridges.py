"""What counts as one bridge of the map: decks end to end or in one outline, tracks abreast, underpasses."""

from __future__ import annotations

import numpy as np
import pytest

from clearance.core.structure import Kind
from clearance.structures.find import find_structures
from clearance.structures.map_bridges import M_PER_DEGREE, MapBridge, map_bridges, metres
from tests.towns import LON0, Town, lonlat

ROAD = {"highway": "residential", "name": "Heather Street"}
LANE = {"highway": "tertiary", "name": "Low Lane"}
DECK = {"highway": "secondary", "name": "Mill Road", "bridge": "yes", "layer": "1"}
RAIL = {"railway": "rail", "bridge": "yes", "layer": "1"}


def under(length: float = 400) -> Town:
    """Heather Street runs eastward along y = 0 from x = -length / 2."""
    return Town().node(1, -length / 2, 0).node(2, length / 2, 0).way(10, [1, 2], ROAD)


def over(
    town: Town,
    way: int,
    x: float,
    *,
    tags: dict[str, str] | None = None,
    south: float = -20,
    north: float = 20,
) -> Town:
    """A deck that crosses the street northward at x; its nodes are 10 * way and 10 * way + 1."""
    town.node(10 * way, x, south).node(10 * way + 1, x, north)
    return town.way(way, [10 * way, 10 * way + 1], tags or DECK)


def bridges(town: Town) -> list[MapBridge]:
    extract = town.extract()
    return map_bridges(find_structures(extract), extract)


def only(town: Town) -> MapBridge:
    (found,) = bridges(town)
    return found


def test_a_bridge_with_what_is_on_and_under_it() -> None:
    found = only(over(under(), 20, 30))
    assert (found.under, found.on, found.deck) == ((0,), (), (20,))
    assert found.kinds == {Kind.BRIDGE}
    assert (found.public, found.unsure, found.by_line) == (True, False, False)
    assert (found.oneway, found.heading) == (False, None)
    assert found.length_m == pytest.approx(40, rel=0.01)
    assert found.points.tolist() == [pytest.approx(lonlat(30, 0), abs=2e-7)]
    assert found.lines.shape == (1, 4)
    assert found.gates.shape == (3, 2)
    assert found.below == pytest.approx((*lonlat(-200, 0), *lonlat(200, 0)), abs=2e-7)
    assert {w for n in found.over_names.names for w in n.words} == {"mill"}
    assert {w for n in found.under_names.names for w in n.words} == {"heather"}


def test_lengths_are_metres() -> None:
    lines = np.array([[*lonlat(0, 0), *lonlat(30, 40)], [*lonlat(0, 0), *lonlat(0, 0)]])
    assert metres(lines) == pytest.approx([50, 0], rel=0.005)
    assert pytest.approx(111_195) == M_PER_DEGREE


def test_decks_end_to_end_are_one_bridge() -> None:
    town = under().node(3, 30, -40).node(4, 30, -10).node(5, 30, 40)
    town.way(20, [3, 4], DECK).way(21, [4, 5], DECK)
    found = only(town)
    assert sorted(found.deck) == [20, 21]
    assert found.length_m == pytest.approx(80, rel=0.01)
    # A railway that ends where the road bridge does is another.
    town.node(6, 60, 70).way(22, [5, 6], RAIL)
    assert sorted(len(b.lines) for b in bridges(town)) == [1, 2]


@pytest.mark.parametrize(("apart", "count"), [(6, 1), (12, 2)])
def test_tracks_side_by_side_are_one_bridge(apart: float, count: int) -> None:
    town = over(over(under(), 20, 30, tags=RAIL), 21, 30 + apart, tags=RAIL)
    assert len(bridges(town)) == count
    roads = over(over(under(), 20, 30), 21, 30 + apart)
    assert len(bridges(roads)) == 2


@pytest.mark.parametrize(("width", "count"), [(40, 1), (12, 2)])
def test_decks_within_one_outline_are_one_bridge(width: float, count: int) -> None:
    """Decks at x = 10 and 30; an outline around 20 holds both, or none."""
    town = over(over(under(), 20, 10), 21, 30)
    for i, (x, y) in enumerate(((-1, -1), (1, -1), (1, 1), (-1, 1))):
        town.node(900 + i, 20 + x * width / 2, y * 25)
    town.way(90, [900, 901, 902, 903, 900], {"man_made": "bridge"})
    assert len([b for b in bridges(town) if b.deck]) == count


@pytest.mark.parametrize(("north", "count"), [(13, 1), (11, 2)])
def test_most_of_a_deck_must_be_in_the_outline(north: float, count: int) -> None:
    """Four fifths of 40 m: from -20 up to 12."""
    town = over(over(under(), 20, 10), 21, 30)
    for i, (x, y) in enumerate(((0, -25), (40, -25), (40, north), (0, north))):
        town.node(900 + i, x, y)
    town.way(90, [900, 901, 902, 903, 900], {"man_made": "bridge"})
    assert len([b for b in bridges(town) if b.deck]) == count


@pytest.mark.parametrize(("apart", "count"), [(140, 1), (160, 2)])
def test_crossings_of_one_viaduct_far_apart_are_several_bridges(apart: float, count: int) -> None:
    town = under().node(3, -200, apart).node(4, 200, apart).way(11, [3, 4], LANE)
    found = bridges(over(town, 20, 30, south=-20, north=apart + 20))
    assert len(found) == count
    assert sorted(i for b in found for i in b.under) == [0, 1]


def test_the_decks_of_a_parted_viaduct_go_to_the_nearest_crossing() -> None:
    town = under().node(3, -200, 400).node(4, 200, 400).way(11, [3, 4], LANE)
    town.node(5, 30, -20).node(6, 30, 100).node(7, 30, 420)
    town.way(20, [5, 6], DECK).way(21, [6, 7], DECK)
    by_name = {next(w for n in b.under_names.names for w in n.words): b.deck for b in bridges(town)}
    assert by_name == {"heather": (20,), "low": (21,)}


@pytest.mark.parametrize(("length", "count"), [(90, 1), (110, 2)])
@pytest.mark.parametrize("kind", ["tunnel", "covered"])
def test_a_short_tunnel_under_one_deck_is_its_underpass(length: float, count: int, kind: str) -> None:
    town = Town().node(1, -length / 2, 0).node(2, length / 2, 0)
    town.way(10, [1, 2], ROAD | {kind: "yes", "layer": "-1"})
    assert len(bridges(over(town, 20, 0))) == count
    # Under two decks it is neither's.
    if count == 1:
        assert len(bridges(over(over(town, 20, -10), 21, 10))) == 3


def test_a_tunnel_of_several_ways_is_one() -> None:
    town = Town().node(1, -100, 0).node(2, 0, 0).node(3, 100, 0)
    tunnel = ROAD | {"tunnel": "yes"}
    town.way(10, [1, 2], tunnel).way(11, [2, 3], tunnel | {"maxheight": "4.2"})
    found = only(town)
    assert found.kinds == {Kind.TUNNEL}
    assert (len(found.under), found.by_line, found.deck) == (2, True, ())
    assert found.length_m == pytest.approx(200, rel=0.01)


@pytest.mark.parametrize(
    ("tags", "oneway", "heading"),
    [
        ({}, False, None),
        ({"oneway": "yes"}, True, 0.0),
        ({"oneway": "-1"}, True, 180.0),
        ({"oneway": "reversible"}, False, None),
    ],
)
def test_the_direction_of_a_deck(tags: dict[str, str], oneway: bool, heading: float | None) -> None:
    found = only(over(under(), 20, 30, tags=DECK | tags))
    assert found.oneway is oneway
    assert found.heading == (None if heading is None else pytest.approx(heading, abs=0.1))
    assert only(over(under(), 20, 30, tags=RAIL)).oneway is None


@pytest.mark.parametrize(("angle", "oneway"), [(50, True), (70, True), (130, False), (180, False)])
def test_decks_of_one_bridge_that_lead_apart_have_no_direction(angle: float, oneway: bool) -> None:
    """Half the angle between two one-way decks must be below 60 degrees."""
    x, y = 40 * np.sin(np.radians(angle)), 40 * np.cos(np.radians(angle))
    town = under().node(3, 30, -20).node(4, 30, 20).node(5, 30 + float(x), 20 + float(y))
    town.way(20, [3, 4], DECK | {"oneway": "yes"}).way(21, [4, 5], DECK | {"oneway": "yes"})
    found = [b for b in bridges(town) if b.under]
    assert found[0].oneway is oneway
    if oneway:
        assert found[0].heading == pytest.approx(angle / 2, abs=1)


@pytest.mark.parametrize(
    ("highway", "public"),
    [
        *((word, False) for word in ("service", "track", "footway", "path", "cycleway", "bridleway")),
        ("pedestrian", False),
        *((word, True) for word in ("residential", "motorway", "unclassified")),
    ],
)
def test_byways_are_not_public(highway: str, public: bool) -> None:
    town = (
        Town().node(1, -200, 0).node(2, 200, 0).way(10, [1, 2], {"highway": highway, "motor_vehicle": "yes"})
    )
    assert only(over(town, 20, 30)).public is public


def test_kinds_where_the_order_is_not_told() -> None:
    found = bridges(over(under(), 20, 30, tags={"railway": "rail"}))
    assert [b.kinds for b in found] == [{Kind.RAIL_BRIDGE}]
    assert found[0].unsure
    path = bridges(over(under(), 20, 30, tags={"highway": "path"}))
    assert [b.kinds for b in path] == [{Kind.FOOTBRIDGE}]
    told = only(over(under(), 20, 30, tags=RAIL))
    assert told.kinds == {Kind.RAIL_BRIDGE}
    assert not told.unsure


def test_the_piece_of_the_road_beneath_the_crossing() -> None:
    town = Town().node(1, -100, 0).node(2, 0, 0).node(3, 100, 50).way(10, [1, 2, 3], ROAD)
    found = only(over(town, 20, 60, south=0, north=60))
    assert found.below == pytest.approx((*lonlat(0, 0), *lonlat(100, 50)), abs=2e-7)
    assert only(over(town, 20, -60)).below == pytest.approx((*lonlat(-100, 0), *lonlat(0, 0)), abs=2e-7)


def test_a_covered_deck_is_on_its_own_bridge() -> None:
    covered = DECK | {"bridge": "covered"}
    found = only(over(under(), 20, 30, tags=covered))
    assert (len(found.under), len(found.on)) == (1, 1)
    assert Kind.COVERED_BRIDGE in found.kinds
    assert found.points.tolist() == [pytest.approx(lonlat(30, 0), abs=2e-7)]
    alone = Town().node(3, 0, -20).node(4, 0, 20).way(20, [3, 4], DECK)
    bare = only(alone)
    assert (bare.under, bare.on, bare.deck, bare.below) == ((), (), (20,), None)
    assert bare.by_line
    assert bare.gates.tolist() == [
        pytest.approx([LON0, lonlat(0, -20)[1]], abs=2e-7),
        pytest.approx([LON0, lonlat(0, 20)[1]], abs=2e-7),
    ]


#: Metres of a tiny town, northward and eastward, for one metre as distances of bridges are reckoned.
NORTH = 111_131.8 / M_PER_DEGREE
EAST = 78_846.8 / (M_PER_DEGREE * float(np.cos(np.radians(45))))


def test_decks_of_several_pieces_join_by_their_ends_alone() -> None:
    """Three decks of two pieces each, end to end, the middle one drawn backwards."""
    town = under()
    for n, y in enumerate((-60, -40, -20, 0.1, 20, 40, 60)):
        town.node(30 + n, 30, y)
    town.way(20, [30, 31, 32], DECK).way(21, [34, 33, 32], DECK).way(22, [34, 35, 36], DECK)
    assert sorted(only(town).deck) == [20, 21, 22]
    # A deck that meets another in its middle is another bridge.
    town.node(40, 60, -40).node(41, 90, -40).way(23, [40, 41], DECK)
    town.way(24, [31, 40], DECK)
    assert sorted(sorted(b.deck) for b in bridges(town)) == [[20, 21, 22], [23, 24]]


@pytest.mark.parametrize("foot", [{"highway": "footway"}, {"man_made": "pipeline"}, {"waterway": "canal"}])
def test_decks_of_different_sorts_that_share_an_end_are_several(foot: dict[str, str]) -> None:
    other = foot | {"bridge": "yes", "layer": "1"}
    for sort in (DECK, RAIL, other):
        town = under().node(3, 30, -20).node(4, 30, 20).node(5, 30, 60)
        town.way(20, [3, 4], sort).way(21, [4, 5], other)
        assert len(bridges(town)) == (1 if sort is other else 2)


@pytest.mark.parametrize(("apart", "count"), [(7.9, 1), (8.1, 2)])
@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize("across", [True, False])
def test_tracks_up_to_eight_metres_apart(apart: float, count: int, side: int, across: bool) -> None:
    """Tracks to either side of the first, over a street that runs east, or north."""
    town = Town().node(1, 0, 0).way(10, [1, 2], ROAD)
    if across:
        town.node(2, 400, 0)
        over(over(town, 20, 200, tags=RAIL), 21, 200 + side * apart * EAST, tags=RAIL)
    else:
        town.node(2, 0, 400)
        for way, y in ((20, 200.0), (21, 200 + side * apart * NORTH)):
            town.node(10 * way, -20, y).node(10 * way + 1, 20, y).way(way, [10 * way, 10 * way + 1], RAIL)
    assert len(bridges(town)) == count


def test_tracks_that_share_no_deck_stay_apart() -> None:
    """Rails on the ground whose order is not told are no bridge, however near."""
    town = over(over(under(), 20, 30, tags=RAIL), 21, 34, tags={"railway": "rail", "layer": "1"})
    assert len(bridges(town)) == 2


def test_three_tracks_abreast_are_one_bridge() -> None:
    town = over(over(over(under(), 20, 30, tags=RAIL), 21, 42, tags=RAIL), 22, 36, tags=RAIL)
    assert only(town).under == (0, 1, 2)


@pytest.mark.parametrize(("apart", "count"), [(149.5, 1), (150.5, 2)])
def test_a_viaduct_is_parted_beyond_150_metres(apart: float, count: int) -> None:
    y = apart * NORTH
    town = under().node(3, -200, y).node(4, 200, y).way(11, [3, 4], LANE)
    assert len(bridges(over(town, 20, 30, south=-20, north=y + 20))) == count
    # A third road half-way between joins them again.
    town.node(5, -200, y / 2).node(6, 200, y / 2).way(12, [5, 6], LANE)
    assert len(bridges(town)) == 1


@pytest.mark.parametrize(("length", "count"), [(99.5, 1), (100.5, 2)])
@pytest.mark.parametrize("parts", [1, 2])
def test_an_underpass_is_no_longer_than_100_metres(length: float, count: int, parts: int) -> None:
    """In one way or in two: all of it counts."""
    town = Town()
    for n in range(parts + 1):
        town.node(1 + n, (n / parts - 0.5) * length * EAST, 0)
    for n in range(parts):
        town.way(10 + n, [1 + n, 2 + n], ROAD | {"tunnel": "yes", "layer": "-1"})
    found = bridges(over(town, 20, 10))
    assert len(found) == count
    (bridge,) = [b for b in found if b.deck]
    assert (bridge.by_line, bridge.lines.shape) == (False, (1, 4))
    assert len(bridge.points) == (2 if count == 1 else 1)


def test_tunnels_of_several_pieces_join_by_their_ends() -> None:
    town = Town()
    for n in range(6):
        town.node(1 + n, 40 * n, 0)
    tunnel = ROAD | {"tunnel": "yes"}
    town.way(10, [1, 2, 3], tunnel | {"maxheight": "4.4"}).way(11, [5, 4, 3], tunnel | {"maxheight": "4.2"})
    town.way(12, [5, 6], tunnel)
    found = only(town)
    assert len(found.under) == 3
    assert found.length_m == pytest.approx(200, rel=0.01)
    side = town.node(8, 40, 50).node(9, 40, 90).way(13, [8, 9], tunnel)
    assert len(bridges(side)) == 2


@pytest.mark.parametrize(("half", "oneway"), [(59.5, True), (60.5, False)])
def test_one_way_decks_up_to_60_degrees_from_their_mean(half: float, oneway: bool) -> None:
    """Two decks end to end, the second turned by twice that."""
    angle = np.radians(2 * half)
    x, y = 40 * float(np.sin(angle)) * EAST, 40 * float(np.cos(angle)) * NORTH
    town = under().node(3, 30, -20).node(4, 30, 20).node(5, 30 + x, 20 + y)
    town.way(20, [3, 4], DECK | {"oneway": "yes"}).way(21, [4, 5], DECK | {"oneway": "yes"})
    found = next(b for b in bridges(town) if b.under)
    assert found.oneway is oneway
    assert found.heading == (pytest.approx(half, abs=0.5) if oneway else None)


@pytest.mark.parametrize(("x", "y", "heading"), [(40, 0, 90), (-40, 0, 270), (-40, -40, 225), (40, -40, 135)])
def test_the_direction_of_a_bent_deck_is_from_end_to_end(x: float, y: float, heading: float) -> None:
    town = Town().node(3, 0, 0).node(4, x / 2 + y / 4, y / 2 + x / 4).node(5, x * EAST, y * NORTH)
    found = only(town.way(20, [3, 4, 5], DECK | {"oneway": "yes"}))
    assert found.heading == pytest.approx(heading, abs=0.1)
    # One deck of two that is driven both ways is enough.
    town.node(6, x * 2, y * 2).way(21, [5, 6], DECK)
    assert (only(town).oneway, only(town).heading) == (False, None)


def test_a_ring_of_a_deck_leads_nowhere() -> None:
    town = Town().node(1, 0, 0).node(2, 30, 0).node(3, 30, 30)
    found = only(town.way(20, [1, 2, 3, 1], DECK | {"oneway": "yes"}))
    assert (found.oneway, found.heading) == (False, None)


def test_of_two_roads_beneath_one_told_is_enough() -> None:
    """Beneath: a street on layer 1, of which nothing tells that it is lower, and a service road."""
    deck = {"highway": "secondary", "bridge": "yes"}
    town = Town().node(1, -200, 0).node(2, 200, 0).way(10, [1, 2], ROAD | {"layer": "1"})
    found = bridges(over(town, 20, 30, tags=deck))
    assert [b.unsure for b in found if 20 in b.deck] == [True]
    town.node(3, -200, 10).node(4, 200, 10).way(11, [3, 4], {"highway": "service"})
    found = [b for b in bridges(town) if 20 in b.deck and b.under]
    assert [(b.unsure, b.public, len(b.under)) for b in found] == [(False, True, 2)]
    assert not only(Town().node(3, 0, -20).node(4, 0, 20).way(20, [3, 4], DECK)).unsure


def test_a_building_over_a_road_has_no_line() -> None:
    town = under()
    for n, (x, y) in enumerate(((-10, -10), (10, -10), (10, 10), (-10, 10)), start=3):
        town.node(n, x, y)
    found = only(town.way(20, [3, 4, 5, 6, 3], {"building": "roof", "layer": "1", "name": "Shed Roof"}))
    assert (found.length_m, found.lines.shape, found.by_line) == (0.0, (0, 4), False)
    assert found.kinds == {Kind.COVERED}
    assert (found.deck, found.oneway) == ((), None)
    assert {w for n in found.over_names.names for w in n.words} == {"shed", "roof"}
    assert found.below == pytest.approx((*lonlat(-200, 0), *lonlat(200, 0)), abs=2e-7)


def test_a_road_that_ends_just_under_the_deck() -> None:
    """Its last node lies on the line of the deck, and is none of its nodes."""
    town = Town().node(1, -60, 0).node(2, -30, 0).node(3, 0, 0).way(10, [1, 2, 3], ROAD)
    found = only(over(town, 20, 0))
    assert found.below == pytest.approx((*lonlat(-30, 0), *lonlat(0, 0)), abs=2e-7)


def test_a_height_on_a_deck_is_on_it() -> None:
    found = only(over(under(), 20, 30, tags=DECK | {"maxheight": "4.5"}))
    assert (len(found.on), len(found.under)) == (1, 1)
    assert found.kinds == {Kind.BRIDGE, Kind.LIMIT}


def test_an_outline_of_a_bridge_joins_no_deck_beside_it() -> None:
    """An outline over the street alone, and decks that are no part of it."""
    town = over(over(under(), 20, 10), 21, 60)
    for i, (x, y) in enumerate(((-1, -1), (1, -1), (1, 1), (-1, 1))):
        town.node(900 + i, 35 + x * 10, y * 25)
    town.way(90, [900, 901, 902, 903, 900], {"man_made": "bridge", "layer": "1"})
    assert len([b for b in bridges(town) if b.deck]) == 2
    other = over(over(under(), 20, 10), 21, 30)
    for i, (x, y) in enumerate(((-1, -1), (1, -1), (1, 1), (-1, 1))):
        other.node(900 + i, 20 + x * 20, y * 25)
    other.way(90, [900, 901, 902, 903, 900], {"man_made": "pier"})
    assert len([b for b in bridges(other) if b.deck]) == 2


def test_ways_of_one_node_are_no_decks() -> None:
    assert bridges(Town().node(1, 0, 0).way(20, [1], DECK)) == []


def test_two_roofs_over_one_road_are_two() -> None:
    town = under()
    for k, x in ((0, -40), (1, 40)):
        for n, (dx, dy) in enumerate(((-10, -10), (10, -10), (10, 10), (-10, 10))):
            town.node(30 + 10 * k + n, x + dx, dy)
        first = 30 + 10 * k
        town.way(20 + k, [first, first + 1, first + 2, first + 3, first], {"building": "roof", "layer": "1"})
    assert [b.under for b in bridges(town)] == [(0,), (1,)]

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

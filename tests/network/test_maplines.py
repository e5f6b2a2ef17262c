"""The lines of the base map: whole pieces, only those near."""

from __future__ import annotations

from clearance.network.maplines import map_lines
from clearance.workflow import network_of
from tests.towns import Town, lonlat


def test_pieces_in_the_box_come_whole_and_others_not() -> None:
    town = Town().node(1, 0, 0).node(2, 100, 0).node(3, 200, 50).node(4, 5000, 0).node(5, 5100, 0)
    town.way(10, [1, 2, 3], {"highway": "primary", "name": "Near Road"}).way(11, [4, 5])
    network = network_of(town.extract())
    west, south = lonlat(-10, -10)
    east, north = lonlat(20, 10)
    (line,) = map_lines(network, (west, south, east, north))
    assert (line.name, line.highway, line.is_rail) == ("Near Road", "primary", False)
    assert line.points == (lonlat(0, 0), lonlat(100, 0), lonlat(200, 50))
    assert map_lines(network, (10.0, 10.0, 11.0, 11.0)) == ()
    assert map_lines(network_of(Town().extract()), (-180, -90, 180, 90)) == ()


def test_railways_in_the_box_come_after_the_roads() -> None:
    town = Town().node(1, 0, 0).node(2, 100, 0).node(3, 50, -500).node(4, 50, 500).node(5, 9000, 0)
    town.node(6, 9000, 100).way(10, [1, 2])
    town.way(20, [3, 4], {"railway": "rail", "name": "Coast Line"}).way(21, [5, 6], {"railway": "rail"})
    west, south = lonlat(-10, -10)
    east, north = lonlat(20, 10)
    # The line runs past the box to the east of it.
    assert [line.is_rail for line in map_lines(network_of(town.extract()), (west, south, east, north))] == [
        False
    ]
    east, north = lonlat(60, 10)
    road, rail = map_lines(network_of(town.extract()), (west, south, east, north))
    assert (road.is_rail, rail.is_rail, rail.name) == (False, True, "Coast Line")
    assert rail.points == (lonlat(50, -500), lonlat(50, 500))


def test_an_area_with_nothing_but_a_railway_has_lines() -> None:
    town = Town().node(1, 0, 0).node(2, 100, 0).way(20, [1, 2], {"railway": "rail"})
    assert len(map_lines(network_of(town.extract()), (-180, -90, 180, 90))) == 1

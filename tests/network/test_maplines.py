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

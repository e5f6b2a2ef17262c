"""Railways on the base map: those that a driver can see, whole."""

from __future__ import annotations

import pytest

from clearance.network.backdrop import railways
from tests.towns import Town, lonlat


def _town(tags: dict[str, str]) -> Town:
    town = Town().node(1, 0, 0).node(2, 100, 0).node(3, 200, 50)
    return town.way(20, [1, 2, 3], tags)


def test_a_railway_is_a_line_with_its_name() -> None:
    (line,) = railways(_town({"railway": "rail", "name": "Coast Line"}).extract())
    assert line.points == (lonlat(0, 0), lonlat(100, 0), lonlat(200, 50))
    assert (line.name, line.highway, line.is_rail) == ("Coast Line", "", True)


@pytest.mark.parametrize(
    ("tags", "count"),
    [
        ({"railway": "narrow_gauge", "bridge": "yes"}, 1),
        ({"railway": "disused"}, 1),
        ({"railway": "rail", "tunnel": "no"}, 1),
        ({"railway": "abandoned", "bridge": "yes"}, 0),
        ({"railway": "razed", "bridge": "yes"}, 0),
        ({"railway": "construction"}, 0),
        ({"railway": "platform"}, 0),
        ({"railway": "subway", "tunnel": "yes"}, 0),
        ({"highway": "residential"}, 0),
    ],
)
def test_only_rails_that_lie_in_the_open(tags: dict[str, str], count: int) -> None:
    assert len(list(railways(_town(tags).extract()))) == count


def test_a_way_of_one_node_is_no_line() -> None:
    assert not list(railways(Town().node(1, 0, 0).way(20, [1], {"railway": "rail"}).extract()))

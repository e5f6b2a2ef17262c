"""Streets, roads, facilities and towns as places."""

from __future__ import annotations

import pytest

from clearance.core.places import Place
from clearance.sources.place_names import named_places
from tests.towns import Town, lonlat


def named(town: Town, name: str) -> list[Place]:
    return [place for place in named_places(town.extract()) if place.name == name]


def street(town: Town, way: int, xs: tuple[float, float], **tags: str) -> Town:
    a, b = way * 10, way * 10 + 1
    tags = {"highway": "residential", "name": "Mill Lane", **tags}
    return town.node(a, xs[0], 0).node(b, xs[1], 0).way(way, [a, b], tags)


def test_joined_pieces_are_one_street_with_a_point_on_it() -> None:
    town = Town().node(1, 0, 0).node(2, 100, 0).node(3, 100, 300)
    tags = {"highway": "residential", "name": "Mill Lane"}
    town.way(1, [1, 2], tags).way(2, [2, 3], tags)
    (place,) = named(town, "Mill Lane")
    assert (place.kind, place.osm) == ("street", "way/2")
    # centre of mass of 100 m east and 300 m north is (87.5, 112.5): nearest on the road is (100, 112.5)
    assert (place.lon, place.lat) == pytest.approx(lonlat(100, 112.5), abs=2e-6)


@pytest.mark.parametrize(("gap", "count"), [(250, 1), (350, 2)])
def test_pieces_within_300_m_are_one_street(gap: float, count: int) -> None:
    town = street(street(Town(), 1, (0, 100)), 2, (100 + gap, 200 + gap))
    assert len(named(town, "Mill Lane")) == count


def test_a_footway_is_no_street_and_a_railway_has_no_place() -> None:
    town = street(Town(), 1, (0, 100), highway="footway")
    town.node(1, 0, 90).node(2, 9, 90).way(5, [1, 2], {"railway": "rail", "name": "Mill Lane"})
    assert named(town, "Mill Lane") == []


def test_each_number_of_a_road_is_a_place() -> None:
    town = street(Town(), 1, (0, 100), ref="R 12; R 14")
    assert [(p.name, p.kind) for p in named_places(town.extract())] == [
        ("Mill Lane", "street"),
        ("R 12", "road"),
        ("R 14", "road"),
    ]


def test_facilities_and_towns() -> None:
    town = (
        Town()
        .node(1, 0, 0, {"place": "village", "name": "Fenwick"})
        .node(2, 10, 0, {"amenity": "sanitary_dump_station"})
        .node(3, 20, 0, {"amenity": "fuel", "brand": "Twin Pumps"})
        .node(4, 30, 0, {"barrier": "gate"})
        .node(5, 0, 100)
        .node(6, 40, 100)
        .node(7, 40, 140)
        .node(8, 0, 140)
        .way(1, [5, 6, 7, 8, 5], {"tourism": "camp_site", "name": "Otter Field"})
        .way(2, [5, 6, 7], {"amenity": "parking"})
        .way(3, [7, 8, 5], {"source": "survey"})
        .relation(9, [("w", 2, "outer"), ("w", 3, "outer")], {"type": "multipolygon", "shop": "gas"})
    )
    places = {place.osm: place for place in named_places(town.extract())}
    assert {osm: (p.kind, p.name) for osm, p in places.items()} == {
        "node/1": ("village", "Fenwick"),
        "node/2": ("dump station", ""),
        "node/3": ("fuel", "Twin Pumps"),
        "way/1": ("camp site", "Otter Field"),
        "way/2": ("parking", ""),
        "relation/9": ("gas", ""),
    }
    for osm in ("way/1", "relation/9"):
        assert (places[osm].lon, places[osm].lat) == pytest.approx(lonlat(20, 120), abs=3e-4)
        assert lonlat(0, 100)[0] < places[osm].lon < lonlat(40, 140)[0]
    assert (places["node/1"].lon, places["node/1"].lat) == lonlat(0, 0)


def test_nothing_named_gives_nothing() -> None:
    assert named_places(Town().node(1, 0, 0).node(2, 9, 0).way(1, [1, 2]).extract()) == ()

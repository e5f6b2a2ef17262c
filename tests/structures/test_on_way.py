"""What structures of a road's own tags, and of its nodes, are called and where they are shown."""

from __future__ import annotations

import pytest

from clearance.core.structure import Kind, Structure
from clearance.structures.find import find_structures
from clearance.structures.on_way import middle_of
from tests.towns import LAT0, LON0, M_PER_LAT, M_PER_LON, Town

TUNNEL = {"highway": "residential", "tunnel": "yes"}


def only(town: Town) -> Structure:
    (found,) = find_structures(town.extract())
    return found


@pytest.mark.parametrize(
    ("tags", "name", "road"),
    [
        ({}, "", ""),
        ({"name": "Mill Lane"}, "", "Mill Lane"),
        ({"ref": "R 7"}, "", "R 7"),
        ({"name": "Mill Lane", "ref": "R 7"}, "", "Mill Lane"),
        ({"tunnel:name": "Deep Cut"}, "Deep Cut", ""),
        ({"bridge:name": "Low Span"}, "Low Span", ""),
        ({"bridge:name": "Low Span", "tunnel:name": "Deep Cut"}, "Deep Cut", ""),
    ],
)
def test_names_of_a_tunnel(tags: dict[str, str], name: str, road: str) -> None:
    found = only(Town().node(1, 0, 0).node(2, 50, 0).way(10, [1, 2], TUNNEL | tags))
    assert (found.name, found.road, found.kind, found.key) == (name, road, Kind.TUNNEL, "way/10:own")
    assert found.tags == {"way/10": TUNNEL | tags}
    assert (found.evidence, found.warnings, found.upper) == ((), (), "")


def test_a_tunnel_of_several_ways_has_the_first_name_told() -> None:
    town = Town().node(1, 0, 0).node(2, 50, 0).node(3, 100, 0)
    town.way(10, [1, 2], TUNNEL).way(11, [2, 3], TUNNEL | {"tunnel:name": "Deep Cut"})
    assert only(town).name == "Deep Cut"


@pytest.mark.parametrize("kind", [Kind.TUNNEL, Kind.COVERED])
@pytest.mark.parametrize("kinds", [("tunnel", "tunnel"), ("covered", "covered"), ("tunnel", "covered")])
def test_ways_of_one_kind_alone_are_joined(kind: Kind, kinds: tuple[str, str]) -> None:
    town = Town().node(1, 0, 0).node(2, 50, 0).node(3, 100, 0)
    for i, tag in enumerate(kinds):
        town.way(10 + i, [1 + i, 2 + i], {"highway": "residential", tag: "yes"})
    found = find_structures(town.extract())
    assert len(found) == (1 if kinds[0] == kinds[1] else 2)
    assert any(s.kind is kind for s in found) == (str(kind).split()[0] in kinds)


def test_three_ways_in_a_row_and_a_ring() -> None:
    town = Town()
    for ref, (x, y) in enumerate(((0, 0), (50, 0), (100, 0), (150, 0)), start=1):
        town.node(ref, x, y)
    town.way(11, [2, 3], TUNNEL).way(10, [2, 1], TUNNEL).way(12, [4, 3], TUNNEL)
    assert [span.way for span in only(town).spans] == [10, 11, 12]
    ring = Town().node(1, 0, 0).node(2, 50, 0).node(3, 50, 50)
    ring.way(10, [1, 2], TUNNEL).way(11, [2, 3], TUNNEL).way(12, [3, 1], TUNNEL)
    assert {span.way for span in only(ring).spans} == {10, 11, 12}


def test_a_road_that_crosses_at_the_joint_parts_a_tunnel() -> None:
    town = Town().node(1, 0, 0).node(2, 50, 0).node(3, 100, 0).node(4, 50, 80).node(5, 50, -80)
    town.way(10, [1, 2], TUNNEL).way(11, [2, 3], TUNNEL).way(12, [4, 2, 5], {"highway": "service"})
    assert [len(s.spans) for s in find_structures(town.extract())] == [1, 1]
    # One that ends in the middle of another way does not go on in it.
    tee = Town().node(1, 0, 0).node(2, 50, 0).node(3, 100, 0).node(4, 50, 80)
    tee.way(10, [1, 2, 3], TUNNEL).way(11, [2, 4], TUNNEL)
    assert sorted(len(s.spans) for s in find_structures(tee.extract())) == [1, 1]


def test_the_middle_of_a_way_is_half_its_length_along() -> None:
    town = Town().node(1, 0, 0).node(2, 0, 300).node(3, 100, 300)
    town.way(10, [1, 2, 3], TUNNEL)
    extract = town.extract()
    lon, lat = middle_of(extract, extract.ways[0])
    assert lon == pytest.approx(LON0, abs=2e-7)
    assert lat == pytest.approx(LAT0 + 200 / M_PER_LAT, abs=5e-6)
    assert (lon, lat) == (round(lon, 7), round(lat, 7))
    east = Town().node(1, 0, 0).node(2, 300, 0).node(3, 300, 100).way(10, [1, 2, 3], TUNNEL).extract()
    assert middle_of(east, east.ways[0])[0] == pytest.approx(LON0 + 200 / M_PER_LON, abs=5e-6)


@pytest.mark.parametrize(
    ("tags", "name"),
    [({"barrier": "height_restrictor"}, ""), ({"barrier": "height_restrictor", "name": "Bar"}, "Bar")],
)
def test_names_of_a_height_bar(tags: dict[str, str], name: str) -> None:
    road = {"highway": "residential", "name": "Mill Lane"}
    found = only(Town().node(1, 0, 0).node(2, 50, 10, tags).node(3, 100, 0).way(10, [1, 2, 3], road))
    assert (found.name, found.road, found.key, found.nodes) == (name, "Mill Lane", "node/2:own", (2,))
    assert found.lon == pytest.approx(LON0 + 50 / M_PER_LON, abs=2e-7)
    assert found.lat == pytest.approx(LAT0 + 10 / M_PER_LAT, abs=2e-7)
    assert found.warnings == ("node/2: height bar with no height in the map data",)
    beside = only(Town().node(1, 0, 0, tags))
    assert (beside.road, beside.nodes) == ("", ())


@pytest.mark.parametrize(
    ("upper", "name"),
    [
        ({}, ""),
        ({"name": "Coast Line"}, "Coast Line"),
        ({"ref": "12"}, "12"),
        ({"name": "Coast Line", "bridge:name": "High Arch"}, "High Arch"),
    ],
)
def test_names_of_a_bridge(upper: dict[str, str], name: str) -> None:
    town = Town().node(1, 0, 0).node(2, 100, 0).node(3, 25, -20).node(4, 25, 20)
    town.way(10, [1, 2], {"highway": "residential", "ref": "R 7"})
    town.way(20, [3, 4], {"railway": "rail", "bridge": "yes", **upper})
    found = only(town)
    assert (found.name, found.road, found.key, found.upper) == (name, "R 7", "way/10:way/20:1", "way/20")
    assert found.spans[0].start == found.spans[0].end == pytest.approx(0.25, abs=5e-5)
    assert (found.lon, found.lat) == (round(found.lon, 7), round(found.lat, 7))
    assert found.lon == pytest.approx(LON0 + 25 / M_PER_LON, abs=2e-7)


@pytest.mark.parametrize(("apart", "count"), [(10, 1), (40, 2)])
def test_meetings_of_the_same_two_ways_near_each_other_are_one(apart: float, count: int) -> None:
    """2e-4 degrees, some 16 to 22 m, are the same place."""
    town = Town().node(1, 0, 0).node(2, 100, 0)
    for ref, (x, y) in enumerate(((40, -20), (40, 20), (40 + apart, 20), (40 + apart, -20)), start=3):
        town.node(ref, x, y)
    town.way(10, [1, 2], {"highway": "residential"})
    town.way(20, [3, 4, 5, 6], {"railway": "rail", "bridge": "yes"})
    found = [s for s in find_structures(town.extract()) if s.spans[0].way == 10]
    assert [s.key for s in found] == [f"way/10:way/20:{n + 1}" for n in range(count)]


@pytest.mark.parametrize(("length", "counts"), [(74, True), (76, False)])
def test_a_street_over_a_tunnel_as_short_as_an_underpass_counts(length: float, counts: bool) -> None:
    town = Town().node(1, 0, 0).node(2, length, 0).node(3, 30, -20).node(4, 30, 20)
    town.way(10, [1, 2], TUNNEL).way(20, [3, 4], {"highway": "residential"})
    over = [s for s in find_structures(town.extract()) if s.upper == "way/20"]
    assert bool(over) is counts


def test_each_piece_of_a_way_is_as_long_as_at_its_own_latitude() -> None:
    """From the equator to 60 degrees north, then 10 degrees eastward, which are half as long there."""
    town = (
        Town().node(1, 0, -45 * M_PER_LAT).node(2, 0, 15 * M_PER_LAT).node(3, 10 * M_PER_LON, 15 * M_PER_LAT)
    )
    extract = town.way(10, [1, 2, 3], TUNNEL).extract()
    assert middle_of(extract, extract.ways[0]) == pytest.approx((LON0, 32.5), abs=1e-4)


def test_parts_of_a_tunnel_are_told_by_their_numbers_from_whichever_end() -> None:
    """The first is in the middle; each has a bend, and ends of which one is met first."""
    for backward in (False, True):
        town = Town()
        for n in range(7):
            town.node(1 + n, 30 * n, n % 2)
        for way, nodes in ((10, [3, 4, 5]), (11, [1, 2, 3]), (12, [5, 6, 7])):
            town.way(way, nodes[::-1] if backward else nodes, TUNNEL | ({"lit": "yes"} if way == 12 else {}))
        found = only(town)
        assert [(s.way, s.start, s.end) for s in found.spans] == [
            (10, 0.0, 2.0),
            (11, 0.0, 2.0),
            (12, 0.0, 2.0),
        ]
        assert list(found.tags) == ["way/10", "way/11", "way/12"]
        assert found.key == "way/10:own"


def test_two_tunnels_are_two_structures() -> None:
    town = Town()
    for n in range(8):
        town.node(1 + n, 30 * n, 0)
    for way, first in ((10, 1), (11, 2), (12, 5), (13, 6)):
        town.way(way, [first, first + 1], TUNNEL)
    town.way(14, [3, 4, 5], {"highway": "residential"})
    found = find_structures(town.extract())
    assert [[span.way for span in s.spans] for s in found] == [[10, 11], [12, 13]]


def test_a_part_that_warns_stays_apart() -> None:
    """A height that cannot be read is told of its own part alone; cover and none above it, too."""
    for more in ({"maxheight": "low"}, {"maxheight": "default"}, {"maxheight": "none"}):
        town = Town().node(1, 0, 0).node(2, 50, 0).node(3, 100, 0)
        town.way(10, [1, 2], TUNNEL).way(11, [2, 3], TUNNEL | more)
        found = find_structures(town.extract())
        assert [[span.way for span in s.spans] for s in found] == [[10], [11]]


def test_a_passage_is_never_joined() -> None:
    town = Town().node(1, 0, 0).node(2, 50, 0).node(3, 100, 0)
    for way in (10, 11):
        town.way(way, [way - 9, way - 8], {"highway": "service", "tunnel": "building_passage"})
    assert [len(s.spans) for s in find_structures(town.extract())] == [1, 1]


@pytest.mark.parametrize(
    ("tags", "stands"),
    [
        ({"maxheight": "none"}, False),
        ({"maxheight": "none", "maxheight:physical": "4.5"}, True),
        ({"maxheight": "none", "maxheight:forward": "default"}, True),
        ({"maxheight": "default"}, True),
        ({"maxheight": "low"}, True),
        ({"maxheight": "none", "tunnel": "yes"}, True),
    ],
)
def test_none_alone_stands_nowhere(tags: dict[str, str], stands: bool) -> None:
    found = only(Town().node(1, 0, 0).node(2, 50, 0).way(10, [1, 2], {"highway": "residential", **tags}))
    assert bool(found.spans) is stands


def test_a_middle_between_whole_units_is_told_to_seven_digits() -> None:
    for x, y in ((33.337, 77.771), (-12.343, 5.007), (71.111, -3.339)):
        extract = (
            Town().node(1, 0, 0).node(2, x, y).node(3, 2 * x, y / 3).way(10, [1, 2, 3], TUNNEL).extract()
        )
        lon, lat = middle_of(extract, extract.ways[0])
        assert (lon, lat) == (round(lon, 7), round(lat, 7))

"""Roads inside outlines: how far inside, whose canopy it is, in which order, and what is beside the road."""

from __future__ import annotations

import pytest

from clearance.core.lengths import Length
from clearance.core.structure import Kind, Structure
from clearance.structures.find import find_structures
from tests.towns import LAT0, LON0, M_PER_LAT, M_PER_LON, Town

LANE = {"highway": "service", "name": "Pump Lane"}
ROOF = {"building": "roof"}


def lane(tags: dict[str, str] | None = None) -> Town:
    """Pump Lane runs 200 m eastward along y = 0."""
    return Town().node(1, 0, 0).node(2, 200, 0).way(10, [1, 2], tags or LANE)


def square(
    town: Town, ref: int, x: float, y: float, *, size: float, tags: dict[str, str] | None = None
) -> Town:
    """An outline with its middle at (x, y), `size` metres wide and high."""
    half = size / 2
    for i, (dx, dy) in enumerate(((-half, -half), (half, -half), (half, half), (-half, half))):
        town.node(ref * 10 + i, x + dx, y + dy)
    return town.way(ref, [ref * 10 + i for i in (0, 1, 2, 3, 0)], tags or {"source": "survey"})


def found(town: Town, kind: Kind | None = None) -> list[Structure]:
    return [s for s in find_structures(town.extract()) if kind is None or s.kind is kind]


@pytest.mark.parametrize(("depth", "under"), [(0.3, False), (0.8, True)])
def test_a_sloppy_corner_is_not_inside(depth: float, under: bool) -> None:
    """Half a metre inside an outline, or 5e-6 degrees, is the least."""
    town = square(lane(), 20, -10 + depth, 0, size=20, tags=ROOF)
    assert bool([s for s in found(town) if s.spans]) is under


def test_where_on_the_way_and_in_the_world() -> None:
    town = Town().node(1, 0, 0).node(2, 50, 0).node(3, 100, 0).node(4, 200, 0).way(10, [1, 2, 3, 4], LANE)
    (roof,) = found(square(town, 20, 90, 0, size=40, tags=ROOF))
    assert roof.kind is Kind.COVERED
    ((span,),) = (roof.spans,)
    assert span.way == 10
    assert [span.start, span.end] == pytest.approx([1.4, 2.1], abs=1e-3)
    assert not span.whole_way
    assert roof.lon == pytest.approx(LON0 + 90 / M_PER_LON, abs=2e-7)
    assert roof.lat == pytest.approx(LAT0, abs=2e-7)
    assert (roof.key, roof.road, roof.upper) == ("way/10:way/20:area", "Pump Lane", "way/20")


def test_a_height_of_the_lane_holds_on_all_of_it() -> None:
    (roof,) = found(square(lane(LANE | {"maxheight": "3.9"}), 20, 90, 0, size=40, tags=ROOF), Kind.COVERED)
    assert roof.spans[0].whole_way
    assert roof.lowest() == Length.from_metres("3.9")
    (both,) = found(
        square(lane(LANE | {"maxheight": "3.9"}), 20, 90, 0, size=40, tags=ROOF | {"maxheight": "3.5"}),
        Kind.COVERED,
    )
    assert both.lowest() == Length.from_metres("3.5")


@pytest.mark.parametrize(("away", "canopy"), [(29, True), (32, False)])
@pytest.mark.parametrize("area", [False, True])
def test_a_roof_within_thirty_metres_of_a_station_is_its_canopy(
    away: float, canopy: bool, area: bool
) -> None:
    """3e-4 degrees northward are 33 m; eastward, where degrees are shorter, some 24."""
    town = square(lane(), 20, 100, 0, size=20, tags=ROOF)
    fuel = {"amenity": "fuel", "name": "Lamplight Fuel", "maxheight": "4.1"}
    y = 10 + away * 33.34 / 30
    if area:
        square(town, 30, 100, y + 5, size=10, tags=fuel)
    else:
        town.node(9, 100, y, fuel)
    (roof,) = [s for s in found(town) if s.spans]
    assert roof.kind is (Kind.FUEL_CANOPY if canopy else Kind.COVERED)
    assert roof.lowest() == (Length.from_metres("4.1") if canopy else None)
    assert not roof.ambiguous_order


def test_of_two_stations_the_nearest_is_meant() -> None:
    town = square(lane(), 20, 100, 0, size=20, tags=ROOF)
    town.node(8, 100, 25, {"amenity": "fuel", "maxheight": "5"})
    town.node(9, 100, 20, {"amenity": "fuel", "maxheight": "4.1"})
    (roof,) = [s for s in found(town) if s.spans]
    assert roof.lowest() == Length.from_metres("4.1")


def test_a_building_beside_a_station_is_no_canopy() -> None:
    town = square(lane(), 20, 100, 0, size=20, tags={"building": "yes"})
    town.node(9, 100, 15, {"amenity": "fuel", "maxheight": "4.1"})
    (house,) = [s for s in found(town) if s.spans]
    assert (house.kind, house.ambiguous_order) == (Kind.BUILDING, True)
    assert "nothing tells whether it goes" in house.warnings[-1]


def test_a_roof_that_is_mapped_says_more_than_the_area_of_its_station() -> None:
    station = {"amenity": "fuel", "maxheight": "4.1"}
    town = square(square(lane(), 20, 100, 0, size=20, tags=ROOF), 30, 100, 0, size=60, tags=station)
    (canopy,) = [s for s in found(town) if s.spans]
    assert (canopy.upper, canopy.lowest()) == ("way/20", Length.from_metres("4.1"))
    # Where no roof is mapped, all of the lane inside the station counts.
    (whole,) = [s for s in found(square(lane(), 30, 100, 0, size=60, tags=station)) if s.spans]
    assert (whole.kind, whole.upper) == (Kind.FUEL_CANOPY, "way/30")
    # Another lane without a roof keeps what the area says.
    town.node(3, 80, -25).node(4, 120, -25).way(11, [3, 4], LANE)
    assert {s.spans[0].way: s.upper for s in found(town) if s.spans} == {10: "way/20", 11: "way/30"}


@pytest.mark.parametrize(
    ("road", "area", "kind"),
    [
        ({"tunnel": "yes"}, {"building": "yes"}, None),
        ({"covered": "yes"}, {"building": "roof"}, None),
        ({"tunnel": "building_passage"}, {"building": "yes"}, None),
        ({"bridge": "yes", "layer": "1"}, {"building": "yes"}, None),
        ({"layer": "2"}, {"building": "roof", "layer": "1"}, None),
        ({}, {"man_made": "bridge"}, None),
        ({"bridge": "yes"}, {"man_made": "bridge"}, None),
        ({}, {"man_made": "bridge", "layer": "1"}, Kind.BRIDGE),
        ({"covered": "yes"}, {"amenity": "parking", "parking": "multi-storey"}, Kind.CAR_PARK),
        ({}, {"amenity": "parking", "parking": "multi-storey"}, Kind.CAR_PARK),
        ({"area": "yes"}, {"building": "roof"}, None),
        ({}, {"landuse": "meadow"}, None),
    ],
)
def test_what_a_road_inside_an_outline_is_under(
    road: dict[str, str], area: dict[str, str], kind: Kind | None
) -> None:
    town = square(lane(LANE | road), 20, 100, 0, size=40, tags=area)
    made = [s for s in found(town) if s.upper == "way/20"]
    assert [s.kind for s in made] == ([] if kind is None else [kind])
    assert not any(s.ambiguous_order for s in made)


def test_roofs_of_several_ways_and_with_a_yard() -> None:
    """A multipolygon: an outline of 60 m around a yard of 20 m that is open to the sky."""
    town = square(square(lane(), 20, 100, 0, size=60), 21, 100, 0, size=20)
    town.relation(
        40,
        [("w", 20, "outer"), ("w", 21, "inner")],
        {"type": "multipolygon", "building": "roof", "name": "Ring"},
    )
    (ring,) = [s for s in found(town) if s.spans]
    assert (ring.upper, ring.name) == ("relation/40", "Ring")
    assert [ring.spans[0].start, ring.spans[0].end] == pytest.approx([0.35, 0.65], abs=1e-3)
    inside = Town().node(1, 95, 0).node(2, 105, 0).way(10, [1, 2], LANE)
    square(square(inside, 20, 100, 0, size=60), 21, 100, 0, size=20)
    inside.relation(
        40, [("w", 20, "outer"), ("w", 21, "inner")], {"type": "multipolygon", "building": "roof"}
    )
    assert [s for s in found(inside) if s.spans] == []
    # Without its outer ring it has no inside.
    open_ring = square(lane(), 21, 100, 0, size=20)
    open_ring.relation(
        40, [("w", 21, "inner"), ("w", 99, "outer")], {"type": "multipolygon", "building": "roof"}
    )
    assert [s for s in found(open_ring) if s.spans] == []
    other = square(lane(), 20, 100, 0, size=60)
    other.relation(40, [("w", 20, "outer")], {"type": "boundary", "building": "roof"})
    assert [s for s in found(other) if s.spans] == []


def test_what_stands_beside_the_road_is_listed() -> None:
    town = lane()
    square(town, 20, 100, 200, size=40, tags={"amenity": "parking", "parking": "underground", "name": "Deep"})
    square(town, 21, 300, 200, size=40, tags={"building": "yes", "maxheight": "2.5"})
    square(town, 22, 500, 200, size=40, tags={"amenity": "fuel", "maxheight": "4"})
    square(town, 23, 700, 200, size=40, tags={"amenity": "fuel"})
    town.node(9, 900, 200, {"amenity": "fuel", "maxheight": "3"})
    listed = {s.key: s for s in found(town)}
    assert {key: s.kind for key, s in listed.items()} == {
        "way/20:own": Kind.CAR_PARK,
        "way/21:own": Kind.BUILDING,
        "way/22:own": Kind.FUEL_CANOPY,
        "node/9:own": Kind.FUEL_CANOPY,
    }
    assert not any(s.spans for s in listed.values())
    deep = listed["way/20:own"]
    assert deep.name == "Deep"
    assert [listed[key].name for key in ("way/21:own", "way/22:own", "node/9:own")] == ["", "", ""]
    assert all((s.lon, s.lat) == (round(s.lon, 7), round(s.lat, 7)) for s in listed.values())
    assert deep.lon == pytest.approx(LON0 + 100 / M_PER_LON, abs=20 / M_PER_LON)
    assert deep.lat == pytest.approx(LAT0 + 200 / M_PER_LAT, abs=20 / M_PER_LAT)
    assert listed["way/22:own"].lowest() == Length.from_metres("4")


def test_a_height_on_a_relation_or_elsewhere_is_not_lost() -> None:
    town = lane().node(3, 0, 500).node(4, 10, 500).way(11, [3, 4], {"railway": "rail", "maxheight": "5"})
    town.node(5, 50, 500, {"tourism": "picnic_site", "maxheight": "2"})
    town.relation(
        40,
        [("n", 1, "label"), ("w", 99, ""), ("w", 10, "")],
        {"type": "route", "maxheight": "3.2", "name": "Loop"},
    )
    town.relation(41, [("n", 1, "label")], {"type": "route", "maxheight": "3.1"})
    listed = {s.key: s for s in found(town)}
    assert set(listed) == {"way/11:own", "node/5:own", "relation/40:own"}
    loop = listed["relation/40:own"]
    assert (loop.kind, loop.name, loop.lowest()) == (Kind.LIMIT, "Loop", Length.from_metres("3.2"))
    assert (loop.lon, loop.lat) == pytest.approx((LON0 + 200 / M_PER_LON, LAT0), abs=2e-7)
    assert listed["node/5:own"].lon == pytest.approx(LON0 + 50 / M_PER_LON, abs=2e-7)


def test_outlines_that_are_none() -> None:
    """Three nodes there and back enclose nothing; a triangle, and a bow tie, do."""
    back = lane().node(5, 100, -10).node(6, 110, 10).way(20, [5, 6, 5], ROOF)
    assert found(back) == []
    open_line = lane().node(5, 100, -10).node(6, 110, 10).node(7, 120, -10).way(20, [5, 6, 7], ROOF)
    assert found(open_line) == []
    triangle = lane().node(5, 100, -10).node(6, 110, 10).node(7, 120, -10).way(20, [5, 6, 7, 5], ROOF)
    assert [s.kind for s in found(triangle)] == [Kind.COVERED]
    corners = lane()
    for n, (x, y) in enumerate(((60, -10), (100, 10), (100, -10), (60, 10)), start=20):
        corners.node(n, x, y)
    (roof,) = found(corners.way(20, [20, 21, 22, 23, 20], ROOF | {"layer": "1"}))
    assert [roof.spans[0].start, roof.spans[0].end] == pytest.approx([0.3, 0.5], abs=1e-3)


def test_a_ring_of_ways_of_two_nodes_and_members_that_are_no_rings() -> None:
    """Members that are nodes, or ways of one node, or not in the extract, take nothing away."""
    town = lane()
    for n, (x, y) in enumerate(((80, -20), (120, -20), (120, 20), (80, 20))):
        town.node(20 + n, x, y)
        town.way(20 + n, [20 + n, 20 + (n + 1) % 4], {"source": "survey"})
    town.way(30, [20], {"source": "survey"})
    members = [("w", 20 + n, "outer") for n in range(4)]
    extra = [("n", 10, "outer"), ("w", 30, "outer"), ("w", 99, "inner"), ("n", 21, "inner")]
    town.relation(40, [*extra, *members], {"type": "multipolygon", "building": "roof"})
    (roof,) = found(town)
    assert (roof.upper, roof.kind) == ("relation/40", Kind.COVERED)
    assert [roof.spans[0].start, roof.spans[0].end] == pytest.approx([0.4, 0.6], abs=1e-3)


def test_a_place_between_whole_units_is_told_to_seven_digits() -> None:
    """A slanting lane under a slanting roof, and a car park beside it."""
    town = Town().node(1, 0, 0).node(2, 200, 63.7).way(10, [1, 2], LANE)
    for n, (x, y) in enumerate(((71.3, 0.7), (127.9, 3.1), (113.3, 77.7), (77.1, 51.3)), start=20):
        town.node(n, x, y)
        town.node(10 + n, x + 300, y)
    town.way(20, [20, 21, 22, 23, 20], ROOF)
    town.way(30, [30, 31, 32, 33, 30], {"amenity": "parking", "parking": "underground"})
    for s in found(town):
        assert (s.lon, s.lat) == (round(s.lon, 7), round(s.lat, 7))
    (roof,) = [s for s in found(town) if s.spans]
    start, end = roof.spans[0].start, roof.spans[0].end
    assert roof.lon == pytest.approx(LON0 + 200 * (start + end) / 2 / M_PER_LON, abs=2e-7)
    assert roof.lat == pytest.approx(LAT0 + 63.7 * (start + end) / 2 / M_PER_LAT, abs=2e-7)


def test_a_lane_that_leaves_a_roof_and_comes_back_is_under_it_all_the_way() -> None:
    """From the first place inside to the last, over a yard that is open."""
    town = Town().node(1, 0, 0).node(2, 50, 0).node(3, 100, 0).node(4, 150, 0).node(5, 200, 0)
    town.way(10, [1, 2, 3, 4, 5], LANE)
    square(square(town, 20, 100, 0, size=120), 21, 100, 0, size=60)
    town.relation(40, [("w", 20, "outer"), ("w", 21, "inner")], {"type": "multipolygon", "building": "roof"})
    (roof,) = [s for s in found(town) if s.spans]
    assert [roof.spans[0].start, roof.spans[0].end] == pytest.approx([0.8, 3.2], abs=2e-3)


def test_which_lane_is_under_which_roof() -> None:
    """Two lanes, two roofs: three pairs. An outline with a warning of its own, and a lane with one."""
    town = lane(LANE | {"maxheight": "low"}).node(3, 100, 30).node(4, 300, 30).way(11, [3, 4], LANE)
    square(town, 20, 150, 15, size=60, tags=ROOF)
    square(town, 21, 50, 0, size=20, tags=ROOF | {"maxheight": "high", "name": "Old Shed"})
    square(town, 22, 250, 60, size=20, tags={"building": "yes", "maxheight": "2.2", "name": "Hall"})
    made = {s.key: s for s in found(town)}
    assert set(made) == {"way/10:way/20:area", "way/10:way/21:area", "way/11:way/20:area", "way/22:own"}
    shed = made["way/10:way/21:area"]
    assert (shed.name, shed.road) == ("Old Shed", "Pump Lane")
    assert any("low" in w for w in shed.warnings)
    assert any("high" in w for w in shed.warnings)
    assert list(shed.tags) == ["way/10", "way/21"]
    assert shed.spans[0].whole_way
    plain = made["way/11:way/20:area"]
    assert (plain.name, plain.warnings, plain.spans[0].whole_way) == ("", (), False)
    assert made["way/22:own"].name == "Hall"


def test_a_station_near_a_house_or_under_no_roof() -> None:
    """A house at a station is no canopy; the station of a canopy brings its tags."""
    fuel = {"amenity": "fuel", "maxheight": "4.1", "name": "Lamplight Fuel"}
    town = square(lane(), 20, 100, 0, size=20, tags=ROOF).node(9, 100, 15, fuel)
    (canopy,) = [s for s in found(town) if s.spans]
    assert list(canopy.tags) == ["way/10", "way/20", "node/9"]
    assert canopy.tags["node/9"] == fuel
    assert [s.key for s in found(town)] == ["node/9:own", "way/10:way/20:area"]
    area = square(square(lane(), 20, 100, 0, size=20, tags=ROOF), 30, 100, 20, size=10, tags=fuel)
    assert [s.key for s in found(area)] == ["way/10:way/20:area"]  # the canopy tells its height
    tunnel = square(lane(LANE | {"tunnel": "yes"}), 20, 100, 0, size=20, tags=ROOF).node(9, 100, 15, fuel)
    assert Kind.FUEL_CANOPY in {s.kind for s in found(tunnel) if s.spans}


def test_of_stations_at_one_place_the_first_is_meant() -> None:
    town = square(lane(), 20, 100, 0, size=20, tags=ROOF)
    for ref, y, metres in ((9, 20, "4.2"), (8, 20, "4.1"), (7, 30, "4.3")):
        town.node(ref, 100, y, {"amenity": "fuel", "maxheight": metres})
    (roof,) = [s for s in found(town) if s.spans]
    assert roof.lowest() == Length.from_metres("4.1")
    assert list(roof.tags) == ["way/10", "way/20", "node/8"]


def test_two_roofs_and_an_area_of_one_station() -> None:
    """Only what the area says of the lanes under a roof is dropped."""
    station = {"amenity": "fuel", "maxheight": "4.1"}
    town = square(lane(), 30, 100, 0, size=160, tags=station)
    square(square(town, 20, 60, 0, size=20, tags=ROOF), 21, 140, 0, size=20, tags=ROOF)
    assert [s.key for s in found(town) if s.spans] == ["way/10:way/20:area", "way/10:way/21:area"]
    # A house beside the pumps is no roof over the lane.
    house = square(lane(), 30, 100, 0, size=160, tags=station)
    square(house, 20, 60, 0, size=20, tags={"building": "yes"})
    assert [s.key for s in found(house) if s.spans] == ["way/10:way/20:area", "way/10:way/30:area"]
    # A roof far from any station says nothing of it.
    far = square(square(lane(), 30, 160, 0, size=40, tags=station), 20, 40, 0, size=20, tags=ROOF)
    assert {s.key: s.kind for s in found(far) if s.spans} == {
        "way/10:way/20:area": Kind.COVERED,
        "way/10:way/30:area": Kind.FUEL_CANOPY,
    }


def test_a_station_that_is_a_node_is_listed_once() -> None:
    town = lane().node(9, 900, 200, {"amenity": "fuel", "maxheight": "3"})
    assert [s.key for s in found(town)] == ["node/9:own"]

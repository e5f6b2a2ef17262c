"""Structures of tiny towns: each kind, its evidence, and what must not be one."""

from __future__ import annotations

from dataclasses import replace

import pytest

from clearance.core.extract import Way
from clearance.core.lengths import Length
from clearance.core.structure import Direction, EvidenceClass, Kind, Structure
from clearance.structures.find import find_structures
from tests.towns import Town, lonlat

ROAD = {"highway": "residential", "name": "Cooper's Row"}


def crossing_town(
    upper: dict[str, str], road: dict[str, str] | None = None, *, shared: bool = False
) -> list[Structure]:
    """A road of 200 m eastward, and something of 100 m northward across it at x = 50."""
    town = Town().node(1, 0, 0).node(2, 200, 0).node(3, 50, -50).node(4, 50, 50).node(5, 50, 0)
    town.way(10, [1, 5, 2] if shared else [1, 2], ROAD | (road or {}))
    town.way(20, [3, 5, 4] if shared else [3, 4], upper)
    return list(find_structures(town.extract()))


@pytest.mark.parametrize(
    ("upper", "kind"),
    [
        ({"highway": "primary", "bridge": "yes", "layer": "1"}, Kind.BRIDGE),
        ({"railway": "rail", "bridge": "yes", "layer": "1"}, Kind.RAIL_BRIDGE),
        ({"railway": "rail", "bridge": "trestle"}, Kind.RAIL_TRESTLE),
        ({"railway": "rail", "bridge": "yes", "bridge:structure": "trestle"}, Kind.RAIL_TRESTLE),
        ({"railway": "disused", "bridge": "viaduct"}, Kind.RAIL_BRIDGE),
        ({"highway": "footway", "bridge": "yes"}, Kind.FOOTBRIDGE),
        ({"waterway": "canal", "bridge": "aqueduct"}, Kind.AQUEDUCT),
        ({"man_made": "pipeline", "location": "overhead"}, Kind.PIPE),
        ({"man_made": "goods_conveyor", "layer": "1"}, Kind.CONVEYOR),
        ({"man_made": "gantry", "layer": "1"}, Kind.GANTRY),
    ],
)
def test_each_kind_of_line_over_a_road(upper: dict[str, str], kind: Kind) -> None:
    """With no height anywhere each is a structure of that kind with no figure: unverified."""
    (found,) = crossing_town(upper)
    assert (found.kind, found.ambiguous_order, found.road) == (kind, False, "Cooper's Row")
    assert found.lowest() is None
    assert not found.verified()
    assert {s.way for s in found.spans} == {10}
    assert found.spans[0].start == found.spans[0].end == pytest.approx(0.25, abs=1e-4)
    assert (found.lon, found.lat) == pytest.approx(lonlat(50, 0), abs=2e-7)
    assert set(found.tags) == {"way/10", "way/20"}


def test_a_shared_node_is_a_junction_and_no_structure() -> None:
    assert crossing_town({"highway": "primary"}, shared=True) == []


def test_a_bridge_that_ends_at_a_shared_node_is_no_crossing() -> None:
    town = Town().node(1, 0, 0).node(2, 200, 0).node(3, 100, 0).node(4, 100, 80)
    town.way(10, [1, 3, 2], ROAD).way(20, [3, 4], {"highway": "primary", "bridge": "yes", "layer": "1"})
    assert find_structures(town.extract()) == ()


def test_abandoned_rails_without_a_bridge_are_gone() -> None:
    assert crossing_town({"railway": "abandoned"}) == []
    assert crossing_town({"railway": "razed", "bridge": "yes"}) == []


@pytest.mark.parametrize(
    ("upper", "over"),
    [
        ({"highway": "primary"}, []),  # a street on the ground over a tunnel of 200 m
        ({"highway": "footway"}, []),
        ({"highway": "primary", "bridge": "yes", "layer": "1"}, [Kind.BRIDGE]),
        ({"railway": "rail"}, [Kind.RAIL_BRIDGE]),
    ],
)
def test_a_road_in_a_tunnel_passes_the_tunnel_and_not_each_street_above(
    upper: dict[str, str], over: list[Kind]
) -> None:
    found = crossing_town(upper, {"tunnel": "yes"})
    assert sorted(s.kind for s in found) == sorted([Kind.TUNNEL, *over])
    assert all(s.spans[0].way == 10 for s in found)


def test_a_road_over_a_tunnel_passes_nothing() -> None:
    found = crossing_town({"railway": "rail", "tunnel": "yes", "layer": "-1"})
    assert found == []


def test_untold_order_gives_both_roads_a_structure() -> None:
    found = crossing_town({"highway": "residential"})
    assert [s.kind for s in found] == [Kind.UNKNOWN_CROSSING] * 2
    assert {s.spans[0].way for s in found} == {10, 20}
    assert all(s.ambiguous_order and s.warnings and not s.verified() for s in found)


def test_rails_of_untold_order_concern_the_road() -> None:
    (found,) = crossing_town({"railway": "rail"})
    assert found.ambiguous_order
    assert found.spans[0].way == 10


@pytest.mark.parametrize(
    ("upper", "slight"),
    [
        ({"highway": "path"}, True),
        ({"man_made": "pipeline"}, True),
        ({"man_made": "pipeline", "location": "overground"}, False),
        ({"railway": "rail"}, False),
        ({"highway": "residential"}, False),
        ({"highway": "footway", "bridge": "yes"}, False),
        ({"railway": "rail", "bridge": "yes"}, False),
    ],
)
def test_a_footpath_of_untold_order_is_slight_and_still_unverified(
    upper: dict[str, str], slight: bool
) -> None:
    found = next(s for s in crossing_town(upper) if s.spans[0].way == 10)
    assert found.slight is slight
    assert not found.verified()


def test_the_height_on_the_road_below_is_the_evidence() -> None:
    (found,) = crossing_town({"railway": "rail", "bridge": "yes"}, {"maxheight": "12'6\""})
    assert found.lowest() == Length.from_feet(12, 6)
    assert found.verified()
    (evidence,) = found.evidence
    assert (evidence.element, evidence.key, evidence.raw) == ("way/10", "maxheight", "12'6\"")
    assert evidence.evidence_class is EvidenceClass.POSTED
    assert found.spans[0].whole_way  # the figure bears on the rest of the way too


def test_a_height_on_the_bridge_way_condemns_but_never_clears_the_road_below() -> None:
    found = crossing_town({"highway": "primary", "bridge": "yes", "maxheight": "3.5"})
    below = next(s for s in found if s.spans[0].way == 10)
    assert below.lowest() == Length.from_metres("3.5")
    assert not below.verified()
    assert any("bridge way itself" in w for w in below.warnings)
    on_it = next(s for s in found if s.spans[0].way == 20)
    assert (on_it.kind, on_it.lowest()) == (Kind.LIMIT, Length.from_metres("3.5"))


@pytest.mark.parametrize(
    ("tags", "kind"),
    [
        ({"tunnel": "yes"}, Kind.TUNNEL),
        ({"tunnel": "building_passage"}, Kind.BUILDING_PASSAGE),
        ({"covered": "yes"}, Kind.COVERED),
        ({"bridge": "covered"}, Kind.COVERED_BRIDGE),
        ({"bridge": "yes", "bridge:structure": "truss"}, Kind.COVERED_BRIDGE),
        ({"highway": "service", "service": "drive-through"}, Kind.DRIVE_THROUGH),
        ({"maxheight": "3.9"}, Kind.LIMIT),
        ({"maxheight": "default"}, Kind.LIMIT),
        ({"maxheight": "round the corner"}, Kind.LIMIT),
    ],
)
def test_structures_told_by_the_road_itself(tags: dict[str, str], kind: Kind) -> None:
    town = Town().node(1, 0, 0).node(2, 50, 0).node(3, 100, 0).way(10, [1, 2, 3], ROAD | tags)
    (found,) = find_structures(town.extract())
    assert found.kind is kind
    assert [(s.way, s.start, s.end) for s in found.spans] == [(10, 0.0, 2.0)]
    assert found.verified() is (tags.get("maxheight") == "3.9")
    assert (found.lon, found.lat) == pytest.approx(lonlat(50, 0), abs=2e-7)


def test_a_tunnel_drawn_as_several_ways_is_one_thing_to_pass() -> None:
    town = (
        Town().node(1, 0, 0).node(2, 100, 0).node(3, 200, 0).node(4, 300, 0).node(5, 400, 0).node(6, 500, 0)
    )
    tunnel = ROAD | {"tunnel": "yes"}
    town.way(10, [1, 2], ROAD).way(11, [2, 3], tunnel).way(12, [4, 3], tunnel | {"lit": "yes"})
    town.way(13, [4, 5], tunnel | {"maxheight": "4.2"}).way(14, [5, 6], ROAD)
    joined, own = find_structures(town.extract())
    assert {s.way for s in joined.spans} == {11, 12}
    assert set(joined.tags) == {"way/11", "way/12"}
    assert {s.way for s in own.spans} == {13}  # with a height of its own


def test_tunnels_that_part_at_a_junction_stay_apart() -> None:
    town = Town().node(1, 0, 0).node(2, 100, 0).node(3, 200, 50).node(4, 200, -50)
    tunnel = ROAD | {"tunnel": "yes"}
    town.way(11, [1, 2], tunnel).way(12, [2, 3], tunnel).way(13, [2, 4], tunnel)
    assert [len(s.spans) for s in find_structures(town.extract())] == [1, 1, 1]


def test_none_with_nothing_above_is_listed_and_stands_nowhere() -> None:
    town = Town().node(1, 0, 0).node(2, 50, 0).way(10, [1, 2], ROAD | {"maxheight": "none"})
    (found,) = find_structures(town.extract())
    assert found.spans == ()
    assert found.evidence[0].raw == "none"


def test_none_under_a_bridge_is_never_clear() -> None:
    (found,) = crossing_town({"railway": "rail", "bridge": "yes"}, {"maxheight": "none"})
    assert not found.verified()
    assert found.lowest() is None


def test_directions_are_kept() -> None:
    heights = {"maxheight:forward": "4.3", "maxheight:backward": "3.5"}
    (found,) = crossing_town({"railway": "rail", "bridge": "yes"}, heights)
    assert found.lowest(Direction.FORWARD) == Length.from_metres("4.3")
    assert found.lowest(Direction.BACKWARD) == Length.from_metres("3.5")
    assert found.lowest() == Length.from_metres("3.5")


@pytest.mark.parametrize(
    ("tags", "kind", "figure"),
    [
        ({"barrier": "height_restrictor", "maxheight": "2.1"}, Kind.HEIGHT_BAR, "2.1"),
        ({"barrier": "height_restrictor"}, Kind.HEIGHT_BAR, None),
        ({"barrier": "gate", "maxheight": "3 m"}, Kind.BARRIER, "3"),
        ({"maxheight": "3.2"}, Kind.LIMIT, "3.2"),
        ({"amenity": "parking_entrance", "parking": "underground"}, Kind.CAR_PARK, None),
    ],
)
def test_structures_on_a_node(tags: dict[str, str], kind: Kind, figure: str | None) -> None:
    town = Town().node(1, 0, 0).node(2, 50, 0, tags).node(3, 100, 0).way(10, [1, 2, 3], ROAD)
    (found,) = find_structures(town.extract())
    assert (found.kind, found.nodes, found.road) == (kind, (2,), "Cooper's Row")
    assert found.lowest() == (None if figure is None else Length.from_metres(figure))
    if figure is None and kind is Kind.HEIGHT_BAR:
        assert any("no height" in w for w in found.warnings)


def test_a_plain_gate_is_no_structure() -> None:
    town = Town().node(1, 0, 0).node(2, 50, 0, {"barrier": "gate"}).node(3, 100, 0).way(10, [1, 2, 3], ROAD)
    assert find_structures(town.extract()) == ()


def building_town(
    building: dict[str, str], road: dict[str, str] | None = None, *, x: float = 40.0
) -> list[Structure]:
    """A road of 100 m eastward through a square of 20 m that begins at `x`, with no shared node."""
    town = Town().node(1, 0, 0).node(2, 100, 0).way(10, [1, 2], ROAD | (road or {}))
    for ref, (dx, y) in enumerate([(0, -10), (20, -10), (20, 10), (0, 10)], start=3):
        town.node(ref, x + dx, y)
    town.way(20, [3, 4, 5, 6, 3], building)
    return list(find_structures(town.extract()))


def test_a_road_through_a_building_is_under_it_or_untold() -> None:
    (roof,) = building_town({"building": "roof", "layer": "1"})
    assert (roof.kind, roof.ambiguous_order) == (Kind.COVERED, False)
    assert [(s.start, s.end) for s in roof.spans] == [pytest.approx((0.4, 0.6), abs=1e-3)]
    (house,) = building_town({"building": "house"})
    assert (house.kind, house.ambiguous_order) == (Kind.BUILDING, True)
    assert building_town({"building": "house"}, {"bridge": "yes", "layer": "1"}) == []
    assert building_town({"building": "house"}, x=200) == []


def test_a_passage_told_by_the_road_is_one_structure() -> None:
    (found,) = building_town({"building": "house"}, {"tunnel": "building_passage", "maxheight": "3.1"})
    assert (found.kind, found.lowest()) == (Kind.BUILDING_PASSAGE, Length.from_metres("3.1"))


def test_a_car_park_deck_concerns_the_lane_inside() -> None:
    area = {"amenity": "parking", "parking": "multi-storey", "building": "yes", "maxheight": "2.1"}
    (found,) = building_town(area, {"highway": "service", "name": ""})
    assert (found.kind, found.lowest()) == (Kind.CAR_PARK, Length.from_metres("2.1"))
    (beside,) = building_town(area, x=300)
    assert (beside.kind, beside.spans) == (Kind.CAR_PARK, ())


def test_a_roof_by_a_filling_station_is_its_canopy() -> None:
    town = Town().node(1, 0, 0).node(2, 100, 0).way(10, [1, 2], {"highway": "service"})
    town.node(9, 50, 15, {"amenity": "fuel", "name": "Lamplight Fuel", "maxheight": "13'6\""})
    for ref, (x, y) in enumerate([(40, -10), (60, -10), (60, 10), (40, 10)], start=3):
        town.node(ref, x, y)
    town.way(20, [3, 4, 5, 6, 3], {"building": "roof"})
    found = [s for s in find_structures(town.extract()) if s.spans]
    assert [s.kind for s in found] == [Kind.FUEL_CANOPY]
    assert found[0].lowest() == Length.from_feet(13, 6)


def test_heights_on_what_is_no_road_are_listed_too() -> None:
    town = Town().node(1, 0, 0).node(2, 50, 0).way(10, [1, 2], {"highway": "footway", "maxheight": "1.8"})
    (found,) = find_structures(town.extract())
    assert (found.spans, found.lowest()) == ((), Length.from_metres("1.8"))


def test_an_area_without_roads_has_no_structures() -> None:
    assert find_structures(Town().extract()) == ()


#: Units of 1e-7 degrees in a metre eastward.
UNITS = 10_000_000 / 78_846.8


def units(x: int) -> float:
    """Metres of a tiny town for a whole number of 1e-7 degrees eastward."""
    return x / UNITS


@pytest.mark.parametrize(("apart", "count"), [(1_999, 1), (2_000, 2)])
def test_two_meetings_are_one_up_to_2000_units_apart(apart: int, count: int) -> None:
    """The street is 2 ** 14 units long, so that each place on it is exact."""
    town = Town().node(1, 0, 0).node(2, units(16_384), 0).way(10, [1, 2], ROAD)
    town.node(3, units(4_000), -20).node(4, units(4_000), 20)
    town.node(5, units(4_000 + apart), 20).node(6, units(4_000 + apart), -20)
    town.way(20, [3, 4, 5, 6], {"railway": "rail", "bridge": "yes"})
    assert len([s for s in find_structures(town.extract()) if s.spans]) == count


@pytest.mark.parametrize("apart", [10, 40])
def test_meetings_along_a_street_that_runs_north(apart: float) -> None:
    town = Town().node(1, 0, 0).node(2, 0, 200).way(10, [1, 2], ROAD)
    town.node(3, -20, 50).node(4, 20, 50).node(5, 20, 50 + apart).node(6, -20, 50 + apart)
    town.way(20, [3, 4, 5, 6], {"railway": "rail", "bridge": "yes"})
    found = [s for s in find_structures(town.extract()) if s.spans]
    assert len(found) == (1 if apart == 10 else 2)
    assert [s.spans[0].start for s in found] == pytest.approx([0.25, 0.45][: len(found)], abs=1e-3)


def test_meetings_of_other_ways_at_one_place_are_several() -> None:
    """Two railways and two streets, all within a few metres."""
    town = Town().node(1, 0, 0).node(2, 200, 0).node(3, 0, 5).node(4, 200, 5)
    town.way(10, [1, 2], ROAD).way(11, [3, 4], ROAD)
    for way, x in ((20, 50), (21, 53)):
        town.node(10 * way, x, -50).node(10 * way + 1, x, 50)
        town.way(way, [10 * way, 10 * way + 1], {"railway": "rail", "bridge": "yes"})
    assert [s.key for s in find_structures(town.extract())] == [
        f"way/{road}:way/{rail}:1" for road in (10, 11) for rail in (20, 21)
    ]


def test_where_a_crossing_lies_on_a_street_of_several_pieces() -> None:
    """At a place between whole units, which is told to 1e-7 degrees."""
    town = Town().node(1, 0, 0).node(2, 100, 0).node(3, 130, 0).node(4, 200, 7).way(10, [1, 2, 3, 4], ROAD)
    town.node(5, 151.237, -50).node(6, 149.118, 51).way(20, [5, 6], {"railway": "rail", "bridge": "yes"})
    (found,) = find_structures(town.extract())
    assert found.spans[0].start == pytest.approx(2.288, abs=2e-3)
    assert (found.lon, found.lat) == (round(found.lon, 7), round(found.lat, 7))
    assert (found.lon, found.lat) == pytest.approx(lonlat(150.15, 2.015), abs=5e-7)


@pytest.mark.parametrize(("length", "counts"), [(74.5, True), (75.5, False)])
def test_how_long_an_underpass_may_be(length: float, counts: bool) -> None:
    """In two pieces at a right angle; metres on a sphere, a degree of latitude being 111,194.9."""
    town = Town().node(1, 0, 0).node(2, 40 * 1.00276, 0).node(3, 40 * 1.00276, (length - 40) * 0.99943)
    town.way(10, [1, 2, 3], ROAD | {"tunnel": "yes"}).node(4, 20, -20).node(5, 20, 20)
    for upper, told in (({"highway": "residential"}, counts), ({"highway": "footway"}, False)):
        extract = town.extract()
        both = replace(extract, ways=(*extract.ways, Way(20, (4, 5), upper)))
        assert any(s.upper for s in find_structures(both)) is told


def test_a_height_on_the_bridge_way_is_counted_both_ways_and_says_so() -> None:
    heights = {"maxheight:forward": "3.5", "maxheight:conditional": "3.2 @ (22:00-06:00)"}
    found = crossing_town({"highway": "primary", "bridge": "yes", **heights})
    below = next(s for s in found if s.spans[0].way == 10)
    on_it = next(s for s in found if s.spans[0].way == 20)
    note = "posted on the bridge way itself: it may mean the road on the bridge or the one under it"
    assert len(below.evidence) == len(on_it.evidence) == 2
    for e, own in zip(below.evidence, on_it.evidence, strict=True):
        assert e.direction is Direction.BOTH
        assert e.element == "way/20"
        assert e.note == (f"{own.note}; {note}" if own.note else note)
        assert not e.can_clear
    assert below.warnings == (f"way/20: height is {note}",)
    assert below.lowest(Direction.BACKWARD) == Length.from_metres("3.2")
    (plain,) = crossing_town({"highway": "primary", "bridge": "yes"})
    assert plain.warnings == ()


def test_a_height_that_cannot_be_read_bears_on_the_whole_way() -> None:
    (found,) = crossing_town({"railway": "rail", "bridge": "yes"}, {"maxheight": "low"})
    assert found.spans[0].whole_way
    (none,) = crossing_town({"railway": "rail", "bridge": "yes"})
    assert not none.spans[0].whole_way


def test_a_height_of_a_road_in_untold_order_is_of_the_road_too() -> None:
    """The road may run over the railway: then its height is of something else on it."""
    untold = crossing_town({"railway": "rail"}, {"maxheight": "3.5"})
    assert {s.key: s.kind for s in untold} == {
        "way/10:own": Kind.LIMIT,
        "way/10:way/20:1": Kind.UNKNOWN_CROSSING,
    }
    assert untold[1].warnings[-1].startswith("way/10 and way/20 cross without a shared node")
    told = crossing_town({"railway": "rail", "bridge": "yes"}, {"maxheight": "3.5"})
    assert [s.key for s in told] == ["way/10:way/20:1"]
    assert told[0].warnings == ()


def test_ways_of_one_node_are_no_roads() -> None:
    town = Town().node(1, 0, 0).node(2, 50, 10).way(10, [1], ROAD | {"maxheight": "3.9"})
    town.way(11, [2], ROAD | {"tunnel": "yes"})
    (found,) = find_structures(town.extract())
    assert (found.key, found.kind, found.spans, found.name) == ("way/10:own", Kind.LIMIT, (), "Cooper's Row")
    unnamed = Town().node(1, 0, 0).way(10, [1], {"railway": "rail", "maxheight": "3.9"})
    (found,) = find_structures(unnamed.extract())
    assert (found.name, found.tags) == ("", {"way/10": {"railway": "rail", "maxheight": "3.9"}})


@pytest.mark.parametrize(
    ("tags", "warned"),
    [
        ({}, True),
        ({"maxheight": "low"}, True),
        ({"maxheight": "2.1"}, False),
        ({"maxheight:forward": "2.1", "maxheight:backward": "low"}, False),
    ],
)
def test_a_height_bar_with_any_figure_needs_no_warning(tags: dict[str, str], warned: bool) -> None:
    town = Town().node(1, 0, 0).node(2, 50, 0, {"barrier": "height_restrictor", **tags}).node(3, 100, 0)
    (found,) = find_structures(town.way(10, [1, 2, 3], ROAD).extract())
    assert ("node/2: height bar with no height in the map data" in found.warnings) is warned
    gate = Town().node(1, 0, 0).node(2, 50, 0, {"barrier": "gate", "maxheight": "low"}).node(3, 100, 0)
    (found,) = find_structures(gate.way(10, [1, 2, 3], ROAD).extract())
    assert not any("height bar" in w for w in found.warnings)


def test_a_node_on_two_roads_is_named_by_the_first() -> None:
    town = Town().node(1, 0, 0).node(2, 50, 0, {"maxheight": "3"}).node(3, 100, 0)
    town.way(10, [1, 2], ROAD).way(11, [2, 3], {"highway": "residential", "name": "Low Lane"})
    (found,) = find_structures(town.extract())
    assert found.road == "Cooper's Row"
    assert found.tags == {"node/2": {"maxheight": "3"}}

"""Structures of tiny towns: each kind, its evidence, and what must not be one."""

from __future__ import annotations

import pytest

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

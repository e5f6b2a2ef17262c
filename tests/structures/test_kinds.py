"""Which tags make which kind of structure, word by word."""

from __future__ import annotations

import pytest

from clearance.core.structure import Kind
from clearance.structures.kinds import area_kind, is_slight, line_kind, node_kind, way_kind
from clearance.structures.levels import Order, is_bridge, is_tunnel, order_over_area, order_over_line

FOOT = (
    *("footway", "path", "cycleway", "steps", "pedestrian", "bridleway", "corridor", "elevator"),
    *("platform", "via_ferrata"),
)
RAILS = (
    *("rail", "light_rail", "tram", "subway", "narrow_gauge", "monorail", "funicular", "preserved"),
    *("miniature", "siding", "spur", "yard"),
)
OLD_RAILS = ("disused", "abandoned", "construction", "tram_crossing")
NO_ROADS = ("proposed", "razed", "no", "planned", "abandoned", "demolished")
DECKS = ("multi-storey", "underground", "rooftop", "sheds", "carports", "garage_boxes")


@pytest.mark.parametrize("word", FOOT)
def test_ways_for_those_on_foot(word: str) -> None:
    assert line_kind({"highway": word}) is Kind.FOOTBRIDGE
    assert is_slight({"highway": word})


@pytest.mark.parametrize("word", RAILS)
def test_rails(word: str) -> None:
    assert line_kind({"railway": word}) is Kind.RAIL_BRIDGE
    assert line_kind({"railway": word, "bridge": "trestle"}) is Kind.RAIL_TRESTLE
    assert line_kind({"railway": word, "bridge": "yes", "bridge:structure": "trestle"}) is Kind.RAIL_TRESTLE
    assert not is_slight({"railway": word})


@pytest.mark.parametrize("word", OLD_RAILS)
def test_old_rails_count_where_they_still_span(word: str) -> None:
    assert line_kind({"railway": word}) is None
    assert line_kind({"railway": word, "layer": "0"}) is None
    assert line_kind({"railway": word, "layer": "1"}) is Kind.RAIL_BRIDGE
    assert line_kind({"railway": word, "bridge": "yes"}) is Kind.RAIL_BRIDGE


@pytest.mark.parametrize(
    ("tags", "kind"),
    [
        ({"man_made": "pipeline"}, Kind.PIPE),
        ({"man_made": "goods_conveyor"}, Kind.CONVEYOR),
        ({"man_made": "conveyor"}, Kind.CONVEYOR),
        ({"man_made": "cargo_conveyor"}, Kind.CONVEYOR),
        ({"man_made": "gantry"}, Kind.GANTRY),
        ({"man_made": "aqueduct"}, Kind.AQUEDUCT),
        ({"man_made": "pier"}, None),
        ({"bridge": "aqueduct"}, Kind.AQUEDUCT),
        ({"waterway": "canal", "bridge": "yes"}, Kind.AQUEDUCT),
        ({"waterway": "canal", "layer": "1"}, Kind.AQUEDUCT),
        ({"waterway": "canal"}, None),
        ({"waterway": "canal", "layer": "high"}, None),
        ({"highway": "primary"}, Kind.BRIDGE),
        *(({"highway": word}, None) for word in NO_ROADS),
        ({"highway": "primary", "area": "yes"}, None),
        ({"highway": "primary", "area": "yes", "bridge": "yes"}, Kind.BRIDGE),
        ({"power": "line"}, None),
        ({}, None),
    ],
)
def test_lines(tags: dict[str, str], kind: Kind | None) -> None:
    assert line_kind(tags) is kind


def test_what_mostly_crosses_on_the_level_or_below() -> None:
    assert is_slight({"man_made": "pipeline"})
    assert not is_slight({"man_made": "pipeline", "location": "overhead"})
    assert not is_slight({"highway": "primary"})
    assert not is_slight({"man_made": "gantry"})


@pytest.mark.parametrize(
    ("tags", "kind"),
    [
        *(({"amenity": "parking", "parking": word}, Kind.CAR_PARK) for word in DECKS),
        ({"amenity": "parking", "parking": "surface"}, None),
        ({"parking": "multi-storey"}, None),
        *(({"amenity": "parking", "building": word}, Kind.CAR_PARK) for word in
          ("parking", "garages", "garage", "carport")),
        ({"building": "parking"}, Kind.CAR_PARK),
        ({"building": "garage"}, Kind.BUILDING),
        ({"building": "garages"}, Kind.BUILDING),
        ({"building": "carport"}, Kind.BUILDING),
        ({"amenity": "fuel"}, None),
        ({"amenity": "fuel", "building": "no"}, None),
        ({"amenity": "fuel", "building": "yes"}, Kind.FUEL_CANOPY),
        ({"amenity": "fuel", "maxheight": "4"}, Kind.FUEL_CANOPY),
        ({"amenity": "cafe", "maxheight": "4"}, None),
        ({"man_made": "bridge"}, Kind.BRIDGE),
        ({"man_made": "bridge", "building": "yes"}, Kind.BUILDING),
        ({"man_made": "pier"}, None),
        ({"building": "roof"}, Kind.COVERED),
        ({"building": "canopy"}, Kind.COVERED),
        ({"building": "yes"}, Kind.BUILDING),
        ({"building:part": "yes"}, Kind.BUILDING),
        ({"building:part": "no"}, None),
        ({"building": "no"}, None),
        ({}, None),
    ],
)  # fmt: skip
def test_outlines(tags: dict[str, str], kind: Kind | None) -> None:
    assert area_kind(tags) is kind


@pytest.mark.parametrize(
    ("tags", "kind"),
    [
        ({"service": "drive-through", "tunnel": "yes"}, Kind.DRIVE_THROUGH),
        ({"service": "driveway"}, None),
        ({"tunnel": "building_passage"}, Kind.BUILDING_PASSAGE),
        ({"tunnel": "yes"}, Kind.TUNNEL),
        ({"tunnel": "avalanche_protector"}, Kind.TUNNEL),
        ({"tunnel": "no"}, None),
        ({"bridge": "covered"}, Kind.COVERED_BRIDGE),
        ({"bridge": "yes", "covered": "yes"}, Kind.COVERED_BRIDGE),
        ({"bridge": "yes", "bridge:structure": "truss"}, Kind.COVERED_BRIDGE),
        ({"bridge": "yes", "bridge:structure": "beam"}, None),
        ({"bridge:structure": "truss"}, None),
        ({"bridge": "yes", "covered": "no"}, None),
        ({"covered": "yes"}, Kind.COVERED),
        ({"covered": "arcade", "bridge": "no"}, Kind.COVERED),
        *(({"parking": word}, Kind.CAR_PARK) for word in DECKS),
        ({"parking": "surface"}, None),
        ({"indoor": "yes"}, Kind.CAR_PARK),
        ({"indoor": "no"}, None),
        ({}, None),
    ],
)
def test_roads(tags: dict[str, str], kind: Kind | None) -> None:
    assert way_kind({"highway": "service", **tags}) is kind


@pytest.mark.parametrize(
    ("tags", "bare", "with_height"),
    [
        ({"barrier": "height_restrictor"}, Kind.HEIGHT_BAR, Kind.HEIGHT_BAR),
        ({"amenity": "parking_entrance"}, Kind.CAR_PARK, Kind.CAR_PARK),
        ({"amenity": "parking_entrance", "parking": "underground"}, Kind.CAR_PARK, Kind.CAR_PARK),
        ({"amenity": "parking_entrance", "parking": "surface"}, None, Kind.LIMIT),
        ({"amenity": "fuel"}, None, Kind.FUEL_CANOPY),
        ({"amenity": "parking"}, None, Kind.CAR_PARK),
        ({"barrier": "gate"}, None, Kind.BARRIER),
        ({}, None, Kind.LIMIT),
    ],
)
def test_nodes(tags: dict[str, str], bare: Kind | None, with_height: Kind | None) -> None:
    assert node_kind(tags, has_height=False) is bare
    assert node_kind(tags, has_height=True) is with_height


@pytest.mark.parametrize("word", ["no", "none", "removed", "demolished", "proposed"])
def test_bridges_and_tunnels_that_are_not_there(word: str) -> None:
    assert not is_bridge({"bridge": word})
    assert not is_tunnel({"tunnel": word})
    assert is_bridge({"bridge": word, "location": "overhead"})


@pytest.mark.parametrize(
    ("location", "bridge", "tunnel"),
    [
        ("overhead", True, False),
        ("bridge", True, False),
        ("underground", False, True),
        ("underwater", False, True),
        ("indoor", False, True),
        ("overground", False, False),
    ],
)
def test_words_of_location(location: str, bridge: bool, tunnel: bool) -> None:
    assert is_bridge({"location": location}) is bridge
    assert is_tunnel({"location": location}) is tunnel
    expected = Order.ABOVE if bridge else Order.BELOW if tunnel else Order.UNTOLD
    assert order_over_line({}, {"man_made": "pipeline", "location": location}) is expected


@pytest.mark.parametrize(
    ("road", "area", "order"),
    [
        *(({}, {"building": word}, Order.ABOVE) for word in ("roof", "canopy", "carport")),
        ({}, {"building": "yes"}, Order.UNTOLD),
        *(({}, {"building": "yes", key: "5"}, Order.ABOVE) for key in ("min_height", "building:min_level")),
        *(({}, {"building": "yes", key: "0"}, Order.UNTOLD) for key in ("min_height", "building:min_level")),
        ({}, {"building": "yes", "min_height": ""}, Order.UNTOLD),
        ({"covered": "yes"}, {"building": "yes"}, Order.ABOVE),
        ({"covered": "no"}, {"building": "yes"}, Order.UNTOLD),
        ({"layer": "up"}, {"building": "roof"}, Order.UNTOLD),
        # The tunnel of an outline itself says nothing of the road.
        ({}, {"building": "yes", "tunnel": "yes"}, Order.UNTOLD),
        ({"tunnel": "yes"}, {"building": "yes", "layer": "-2"}, Order.UNTOLD),
    ],
)
def test_order_of_roads_and_outlines(road: dict[str, str], area: dict[str, str], order: Order) -> None:
    assert order_over_area(road, area) is order

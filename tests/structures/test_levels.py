"""Order of two things that cross: layer, bridge and tunnel decide, else it is untold."""

from __future__ import annotations

import pytest

from clearance.structures.levels import Order, layer, order_over_area, order_over_line

OPPOSITE = {Order.ABOVE: Order.BELOW, Order.BELOW: Order.ABOVE, Order.UNTOLD: Order.UNTOLD}


@pytest.mark.parametrize(
    ("road", "other", "expected"),
    [
        ({}, {"bridge": "yes", "layer": "1"}, Order.ABOVE),
        ({}, {"bridge": "yes"}, Order.ABOVE),  # no layer on the bridge is common
        ({}, {"layer": "1"}, Order.ABOVE),
        ({"tunnel": "yes", "layer": "-1"}, {}, Order.ABOVE),
        ({"layer": "-1"}, {}, Order.ABOVE),
        ({"tunnel": "yes"}, {}, Order.ABOVE),
        ({}, {"tunnel": "culvert"}, Order.BELOW),
        ({"bridge": "yes", "layer": "1"}, {"bridge": "yes", "layer": "2"}, Order.ABOVE),
        ({"bridge": "yes"}, {"bridge": "yes"}, Order.UNTOLD),
        ({}, {}, Order.UNTOLD),
        ({"layer": "1"}, {"bridge": "yes"}, Order.UNTOLD),  # they contradict each other
        ({"layer": "0;1"}, {"layer": "1"}, Order.UNTOLD),  # no number
        ({"layer": "0;1"}, {"bridge": "yes"}, Order.ABOVE),
        ({"bridge": "no"}, {"bridge": "no", "tunnel": "no"}, Order.UNTOLD),
    ],
)
def test_order_of_lines_and_its_mirror(road: dict[str, str], other: dict[str, str], expected: Order) -> None:
    assert order_over_line(road, other) is expected
    assert order_over_line(other, road) is OPPOSITE[expected]


def test_a_gantry_stands_over_the_road_whatever_its_tags() -> None:
    assert order_over_line({}, {"man_made": "gantry"}) is Order.ABOVE
    assert order_over_line({"layer": "2", "bridge": "yes"}, {"man_made": "gantry"}) is Order.BELOW


@pytest.mark.parametrize(
    ("road", "area", "expected"),
    [
        ({}, {"building": "roof"}, Order.ABOVE),
        ({}, {"building": "roof", "layer": "1"}, Order.ABOVE),
        ({}, {"building": "yes"}, Order.UNTOLD),
        ({}, {"building": "yes", "min_height": "5"}, Order.ABOVE),
        ({"covered": "yes"}, {"building": "yes"}, Order.ABOVE),
        ({"tunnel": "building_passage"}, {"building": "yes"}, Order.ABOVE),
        ({"bridge": "yes", "layer": "1"}, {"building": "yes"}, Order.BELOW),
        ({"layer": "2"}, {"building": "roof", "layer": "1"}, Order.BELOW),
    ],
)
def test_order_of_a_road_inside_an_outline(
    road: dict[str, str], area: dict[str, str], expected: Order
) -> None:
    assert order_over_area(road, area) is expected


def test_a_layer_that_is_no_number_is_no_layer() -> None:
    assert (layer({}), layer({"layer": "-2"}), layer({"layer": "ground"})) == (0, -2, None)

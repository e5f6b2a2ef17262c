"""Which elements matter, and that the questions to a server miss none of them."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clearance.sources.overpass import WAY_FILTERS, points_query
from clearance.sources.wanted import LIMIT_KEYS, NODE_KEYS, WAY_KEYS, Want, want_node, want_relation, want_way

WAYS = [
    ({"highway": "residential"}, Want.YES),
    ({"highway": "footway"}, Want.YES),
    ({"railway": "rail"}, Want.YES),
    ({"railway": "abandoned"}, Want.YES),
    ({"railway": "razed"}, Want.NO),
    ({"railway": "razed", "bridge": "yes"}, Want.YES),
    ({"railway": "platform"}, Want.YES),
    ({"railway": "platform", "layer": "-1"}, Want.NO),
    ({"railway": "platform", "layer": "below"}, Want.YES),
    ({"aeroway": "taxiway", "bridge": "yes"}, Want.YES),
    ({"aeroway": "taxiway", "bridge": "no"}, Want.NO),
    ({"waterway": "canal", "bridge": "aqueduct"}, Want.YES),
    ({"waterway": "canal", "layer": "1"}, Want.YES),
    ({"waterway": "river"}, Want.NO),
    ({"man_made": "pipeline"}, Want.YES),
    ({"man_made": "pipeline", "location": "underground"}, Want.NO),
    ({"man_made": "gantry"}, Want.YES),
    ({"man_made": "pier"}, Want.NO),
    ({"building": "house"}, Want.NEAR_ROAD),
    ({"building:part": "yes"}, Want.NEAR_ROAD),
    ({"building": "no"}, Want.NO),
    ({"building": "yes", "name": "Town Hall"}, Want.YES),
    ({"building": "roof", "amenity": "fuel"}, Want.YES),
    ({"building": "yes", "maxheight": "3"}, Want.YES),
    ({"amenity": "parking"}, Want.YES),
    ({"amenity": "bench"}, Want.NO),
    ({"amenity": "bench", "name": "Ann's"}, Want.YES),
    ({"shop": "gas"}, Want.YES),
    ({"shop": "bakery"}, Want.NO),
    ({"tourism": "caravan_site"}, Want.YES),
    ({"barrier": "fence"}, Want.NO),
    ({"barrier": "wall", "maxheight:physical": "3"}, Want.YES),
    ({"natural": "wood", "name": "Elm Wood"}, Want.NO),
    ({}, Want.NO),
]

NODES = [
    ({"maxheight": "3"}, True),
    ({"maxheight:physical": "3"}, True),
    ({"maxwidth": "2"}, True),
    ({"barrier": "bollard"}, True),
    ({"traffic_sign": "x"}, True),
    ({"motor_vehicle": "no"}, True),
    ({"highway": "turning_loop"}, True),
    ({"highway": "street_lamp"}, False),
    ({"highway": "street_lamp", "barrier": "gate"}, True),
    ({"railway": "level_crossing"}, True),
    ({"railway": "switch"}, False),
    ({"railway": "station", "name": "Fenwick"}, True),
    ({"place": "town", "name": "Fenwick"}, True),
    ({"place": "town"}, False),
    ({"amenity": "sanitary_dump_station"}, True),
    ({"fuel:lpg": "yes"}, True),
    ({"fuel:lpg": "no"}, False),
    ({"tourism": "information", "information": "board", "name": "Fenwick"}, False),
    ({"tourism": "information", "information": "office", "name": "Fenwick"}, True),
    ({"natural": "tree"}, False),
    ({}, False),
]

_KEYS = st.sampled_from(
    [*WAY_KEYS, *NODE_KEYS, *LIMIT_KEYS, "maxheight:forward", "natural", "name", "layer", "location", "type"]
)
_VALUES = st.sampled_from(
    [
        "yes",
        "no",
        "1",
        "-1",
        "fuel",
        "gas",
        "rail",
        "station",
        "house",
        "pipeline",
        "bridge",
        "multipolygon",
        "restriction",
    ]
)
TAGS = st.dictionaries(_KEYS, _VALUES, max_size=4)


@pytest.mark.parametrize(("tags", "want"), WAYS)
def test_ways(tags: dict[str, str], want: Want) -> None:
    assert want_way(tags) is want


@pytest.mark.parametrize(("tags", "want"), NODES)
def test_nodes(tags: dict[str, str], want: bool) -> None:
    assert want_node(tags) is want


@pytest.mark.parametrize(
    ("tags", "want"),
    [
        ({"type": "restriction", "restriction": "no_u_turn"}, Want.YES),
        ({"type": "restriction:hgv"}, Want.YES),
        ({"type": "restrictions"}, Want.NO),
        ({"type": "multipolygon", "building": "yes"}, Want.NEAR_ROAD),
        ({"type": "multipolygon", "building": "yes", "name": "Mall"}, Want.YES),
        ({"type": "multipolygon", "amenity": "parking"}, Want.YES),
        ({"type": "multipolygon", "man_made": "bridge"}, Want.YES),
        ({"type": "multipolygon", "landuse": "forest"}, Want.NO),
        ({"type": "boundary", "name": "Fenwick", "building": "yes"}, Want.NO),
        ({"building": "yes"}, Want.NO),
    ],
)
def test_relations(tags: dict[str, str], want: Want) -> None:
    assert want_relation(tags) is want


def _passes(filters: str, tags: dict[str, str]) -> bool:
    """Whether tags pass one question's filters, read as the query language has it."""
    for key, key_like, op, value in re.findall(r'\[(?:"([^"]+)"|~"([^"]+)")(?:(=|~)"([^"]*)")?\]', filters):
        pairs = [(k, v) for k, v in tags.items() if (k == key if key else re.search(key_like, k))]
        if op == "=":
            pairs = [(k, v) for k, v in pairs if v == value]
        elif op == "~":
            pairs = [(k, v) for k, v in pairs if re.search(value, v)]
        if not pairs:
            return False
    return True


@given(TAGS)
def test_no_wanted_element_is_missed_by_the_questions(tags: dict[str, str]) -> None:
    points = points_query("0 0 0 1 1 1", 9)
    areas, nodes, restrictions = (
        re.search(rf"{start}((?:\[[^\]]*\])+)\(poly", points)
        for start in (r"^\[[^]]*\]\[[^]]*\];relation", r"\(node", r";relation(?=\[\"type\"~)")
    )
    assert areas
    assert nodes
    assert restrictions
    if want_way(tags) is not Want.NO:
        assert any(_passes(way_filter, tags) for way_filter in WAY_FILTERS)
    if want_node(tags):
        assert _passes(nodes[1], tags)
    if want_relation(tags) is not Want.NO:
        assert _passes(areas[1], tags) or _passes(restrictions[1], tags)

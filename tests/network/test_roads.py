"""What tags mean is the same with and without the keys that are passed over."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clearance.core.extract import Way
from clearance.network.network import FLAG_HAZMAT_BAN
from clearance.network.roads import _IDLE_KEYS, _facts, node_facts, read_roads

telling = st.dictionaries(
    st.sampled_from(
        [
            *("highway", "access", "vehicle", "motor_vehicle", "motorhome", "motorcar", "trailer", "oneway"),
            *(
                "oneway:motorcar",
                "maxspeed",
                "source:maxspeed",
                "zone:traffic",
                "maxweight",
                "maxwidth:forward",
            ),
            *("maxlength:conditional", "hazmat", "service", "junction", "surface", "tracktype", "barrier"),
            *("access:conditional", "motor_vehicle:backward", "maxspeed:backward", "maxweight:hgv"),
        ]
    ),
    st.sampled_from(
        [
            *("residential", "track", "service", "yes", "no", "private", "50", "7.5", "-1", "drive-through"),
            *("no @ (22:00-06:00)", "5 @ wet", "asphalt", "DE:urban", "roundabout", "reversible", "gate"),
        ]
    ),
)
idle = st.dictionaries(
    st.sampled_from(
        [
            *(
                "name",
                "name:de",
                "ref",
                "maxheight",
                "maxheight:conditional",
                "bridge",
                "layer",
                "lit",
                "note",
            ),
            *("source", "source:name", "sidewalk:left", "lanes:forward", "destination:ref", "tiger:cfcc"),
        ]
    ),
    st.sampled_from(["no", "private", "3.5", "yes", "B 7", "no @ (22:00-06:00)"]),
)


@given(telling, idle)
def test_idle_keys_change_nothing(told: dict[str, str], idle: dict[str, str]) -> None:
    assert all(_IDLE_KEYS.fullmatch(key) for key in idle)
    assert not any(_IDLE_KEYS.fullmatch(key) for key in told)
    assert _facts({**told, **idle}) == _facts(told)


def test_every_way_keeps_its_own_name_in_rules_and_warnings() -> None:
    tags = {"highway": "residential", "maxweight": "x", "motor_vehicle:conditional": "no @ Su"}
    roads = read_roads([Way(1, (1, 2), tags), Way(2, (2, 3), {**tags, "name": "Mill Lane"})])
    assert {rule.element for _, _, rule in roads.rules} == {"way/1", "way/2"}
    assert [warning.split(":")[0] for warning in roads.warnings] == ["way/1", "way/2"]


def test_ways_with_one_node_or_no_use_are_left_out() -> None:
    ways = [
        Way(1, (1,), {"highway": "residential"}),
        Way(2, (1, 2), {"highway": "residential", "access": "no"}),
        Way(3, (1, 2), {"railway": "rail"}),
        Way(4, (1, 2), {"highway": "residential", "hazmat": "no"}),
    ]
    roads = read_roads(ways)
    assert [way.id for way in roads.ways] == [4]
    assert roads.flags.tolist() == [FLAG_HAZMAT_BAN]
    assert read_roads([]).usable.shape == (0, 2)


@pytest.mark.parametrize(
    ("tags", "access", "access_car"),
    [
        ({"barrier": "gate"}, 1, 1),
        ({"barrier": "bollard"}, 2, 2),
        ({"barrier": "lift_gate", "motorcar": "yes"}, 1, 0),
        ({"barrier": "gate", "motor_vehicle:forward": "yes", "motor_vehicle:backward": "no"}, 2, 2),
        ({"highway": "turning_loop"}, 0, 0),
    ],
)
def test_nodes(tags: dict[str, str], access: int, access_car: int) -> None:
    facts = node_facts(tags, "node/7")
    assert (facts.access, facts.access_car) == (access, access_car)


def test_a_gate_with_hours_has_a_rule_for_both_vehicles() -> None:
    facts = node_facts(
        {"barrier": "gate", "access": "yes", "access:conditional": "no @ (20:00-06:00)"}, "node/7"
    )
    assert [(r.target, r.value, r.condition, r.modes) for r in facts.rules] == [
        ("access", 2, "20:00-06:00", ())
    ]

"""Which way along a road traffic may go."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clearance.core.access import Vehicle
from clearance.core.oneway import direction_note, directions

BOTH, FORWARD, BACKWARD, NEITHER = (True, True), (True, False), (False, True), (False, False)


@pytest.mark.parametrize(
    ("tags", "expected"),
    [
        ({}, BOTH),
        *[({"oneway": value}, FORWARD) for value in ("yes", "1", "true", "YES")],
        *[({"oneway": value}, BACKWARD) for value in ("-1", "reverse")],
        *[({"oneway": value}, BOTH) for value in ("no", "0", "false", "alternating", "")],
        *[({"oneway": value}, NEITHER) for value in ("reversible", "sometimes")],
        ({"junction": "roundabout"}, FORWARD),
        ({"junction": "circular"}, FORWARD),
        ({"junction": "roundabout", "oneway": "-1"}, BACKWARD),
        ({"junction": "roundabout", "oneway": "no"}, BOTH),
        ({"junction": "yes"}, BOTH),
        ({"highway": "motorway"}, FORWARD),
        ({"highway": "motorway", "oneway": "no"}, BOTH),
        ({"highway": "motorway_link"}, BOTH),
        ({"highway": "trunk"}, BOTH),
        ({"oneway": "yes", "oneway:motor_vehicle": "no"}, BOTH),
        ({"oneway:motor_vehicle": "yes"}, FORWARD),
        ({"oneway": "yes", "oneway:bicycle": "no", "oneway:bus": "no", "oneway:psv": "no"}, FORWARD),
        ({"oneway:vehicle": "-1", "oneway:motor_vehicle": "yes"}, FORWARD),
        # Whatever may close a direction closes it: the time decides, and a wrong guess would be head-on.
        ({"oneway:conditional": "yes @ (07:00-09:00)"}, FORWARD),
        ({"oneway:conditional": "-1 @ (07:00-09:00)"}, BACKWARD),
        ({"oneway": "yes", "oneway:conditional": "-1 @ (07:00-09:00)"}, NEITHER),
        ({"oneway": "yes", "oneway:conditional": "no @ (07:00-09:00)"}, FORWARD),
        ({"oneway": "reversible", "oneway:conditional": "yes @ (Mo); -1 @ (Tu)"}, NEITHER),
        ({"oneway:conditional": "yes"}, NEITHER),
    ],
)
def test_directions(tags: dict[str, str], expected: tuple[bool, bool]) -> None:
    for vehicle in Vehicle:
        assert directions(tags, vehicle) == expected


def test_a_key_for_one_vehicle_leaves_the_other_alone() -> None:
    tags = {"oneway": "yes", "oneway:motorhome": "no", "oneway:motorcar": "-1"}
    assert directions(tags, Vehicle.COACH) == BOTH
    assert directions(tags, Vehicle.CAR) == BACKWARD


@pytest.mark.parametrize(
    ("tags", "noted"),
    [
        ({}, False),
        ({"oneway": "yes"}, False),
        ({"oneway": "reversible"}, True),
        ({"oneway": "sometimes"}, True),
        ({"oneway": "yes", "oneway:conditional": "no @ (07:00-09:00)"}, False),
        ({"oneway": "yes", "oneway:conditional": "-1 @ (07:00-09:00)"}, True),
        ({"oneway:conditional": "yes @ (07:00-09:00)"}, True),
    ],
)
def test_a_note_says_where_a_direction_was_closed_in_doubt(tags: dict[str, str], noted: bool) -> None:
    note = direction_note(tags, Vehicle.COACH)
    assert bool(note) is noted
    if noted:
        assert all(f"{key}={value}" in note for key, value in tags.items())


KEYS = ["oneway", "oneway:conditional", "oneway:motor_vehicle", "oneway:motorhome", "junction", "highway"]
VALUES = ["yes", "no", "-1", "yes @ (Mo)", "-1 @ wet", "reversible", "roundabout", "motorway"]


@given(
    st.dictionaries(st.sampled_from(KEYS), st.one_of(st.sampled_from(VALUES), st.text(max_size=12))),
    st.sampled_from(VALUES),
)
def test_a_condition_never_opens_a_direction(tags: dict[str, str], condition: str) -> None:
    without = {key: value for key, value in tags.items() if not key.endswith("conditional")}
    ahead, back = directions({**without, "oneway:conditional": condition}, Vehicle.COACH)
    always = directions(without, Vehicle.COACH)
    assert ahead <= always[0]
    assert back <= always[1]
    directions(tags, Vehicle.CAR)
    direction_note(tags, Vehicle.CAR)

"""Who may drive where, by the most specific key."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clearance.core.access import (
    Access,
    Vehicle,
    hazmat_ban,
    hazmat_conditions,
    is_road,
    node_access,
    road_access,
)
from clearance.core.structure import Direction

OPEN, ENDS, CLOSED = Access.OPEN, Access.ENDS, Access.CLOSED
COACH, CAR = Vehicle.COACH, Vehicle.CAR


def road(highway: str = "residential", towing: bool = False, **tags: str) -> tuple[Access, Access]:
    """(coach, car) on a road with these tags; double underscores stand for colons."""
    named = {"highway": highway, **{key.replace("__", ":"): value for key, value in tags.items()}}
    return road_access(named, COACH, towing).access, road_access(named, CAR, towing).access


def test_access_is_ordered_from_open_to_closed() -> None:
    assert OPEN < ENDS < CLOSED
    assert [int(a) for a in (OPEN, ENDS, CLOSED)] == [0, 1, 2]


@pytest.mark.parametrize(
    "highway",
    [
        "motorway",
        "motorway_link",
        "trunk",
        "primary",
        "secondary_link",
        "tertiary",
        "unclassified",
        "residential",
        "living_street",
        "service",
        "road",
    ],
)
def test_roads_are_open_unless_told_otherwise(highway: str) -> None:
    assert is_road({"highway": highway})
    assert road(highway) == (OPEN, OPEN)
    assert road(highway, access="no") == (CLOSED, CLOSED)
    assert is_road({"highway": highway, "access": "no"})


@pytest.mark.parametrize(
    "highway",
    [
        "construction",
        "proposed",
        "busway",
        "bus_guideway",
        "raceway",
        "steps",
        "corridor",
        "platform",
        "elevator",
        "razed",
        "foo",
        "",
    ],
)
def test_what_is_no_road_is_closed_whatever_the_access(highway: str) -> None:
    assert not is_road({"highway": highway, "motor_vehicle": "yes"})
    assert road(highway, motor_vehicle="yes", motorhome="yes") == (CLOSED, CLOSED)


def test_ferries_and_railways_are_no_roads() -> None:
    for tags in ({"route": "ferry", "motor_vehicle": "yes"}, {"railway": "rail"}, {}):
        assert not is_road(tags)
        assert road_access(tags, COACH).access is CLOSED


@pytest.mark.parametrize("highway", ["footway", "path", "cycleway", "bridleway", "pedestrian"])
def test_ways_made_for_others_are_roads_only_by_a_motor_key(highway: str) -> None:
    assert not is_road({"highway": highway, "access": "yes", "vehicle": "yes"})
    assert road(highway, access="yes") == (CLOSED, CLOSED)
    assert road(highway, motor_vehicle="no") == (CLOSED, CLOSED)
    assert is_road({"highway": highway, "motor_vehicle": "designated"})
    assert road(highway, motor_vehicle="yes") == (OPEN, OPEN)
    assert road(highway, motorcar="yes") == (CLOSED, OPEN)
    assert road(highway, motorhome="yes") == (OPEN, CLOSED)
    expected = ENDS if highway == "pedestrian" else CLOSED
    assert road(highway, motor_vehicle="destination") == (expected, expected)


@pytest.mark.parametrize(
    ("value", "access"),
    [
        ("yes", OPEN),
        ("permissive", OPEN),
        ("designated", OPEN),
        ("official", OPEN),
        ("public", OPEN),
        ("private", ENDS),
        ("customers", ENDS),
        ("destination", ENDS),
        ("delivery", ENDS),
        ("permit", ENDS),
        ("residents", ENDS),
        ("discouraged", ENDS),
        ("unknown", ENDS),
        ("24/7", ENDS),
        ("what", ENDS),
        ("no", CLOSED),
        ("agricultural", CLOSED),
        ("forestry", CLOSED),
        ("agricultural;forestry", CLOSED),
        ("military", CLOSED),
        ("emergency", CLOSED),
        ("use_sidepath", CLOSED),
        ("restricted", CLOSED),
        ("psv", CLOSED),
        ("yes;permissive", OPEN),
        ("destination;delivery", ENDS),
        ("agricultural;destination", ENDS),
        ("yes;private", ENDS),
        ("destination;no", CLOSED),
        (" YES ", OPEN),
        (";", ENDS),
    ],
)
def test_values(value: str, access: Access) -> None:
    assert road(access=value) == (access, access)


def test_the_most_specific_key_tells() -> None:
    assert road(access="no", vehicle="yes") == (OPEN, OPEN)
    assert road(vehicle="no", motor_vehicle="destination", access="yes") == (ENDS, ENDS)
    assert road(motor_vehicle="no", motorhome="yes") == (OPEN, CLOSED)
    assert road(motor_vehicle="yes", motorhome="no") == (CLOSED, OPEN)
    assert road(motor_vehicle="no", motorcar="yes") == (CLOSED, OPEN)
    assert road(access="no", hgv="yes", tourist_bus="yes") == (CLOSED, CLOSED)
    assert road(hgv="no", tourist_bus="no", bicycle="no") == (OPEN, OPEN)
    assert road(access="", vehicle="private") == (ENDS, ENDS)
    assert road(access__motor_vehicle="destination") == (ENDS, ENDS)


def test_a_road_closed_to_cars_is_closed_to_the_coach_unless_motorhomes_are_named() -> None:
    assert road(motorcar="no") == (CLOSED, CLOSED)
    assert road(motorcar="destination", motor_vehicle="yes") == (ENDS, ENDS)
    assert road(motorcar="no", motorhome="yes") == (OPEN, CLOSED)


def test_what_is_towed_may_close_but_never_open() -> None:
    assert road(trailer="no") == (OPEN, OPEN)
    assert road(trailer="no", towing=True) == (CLOSED, CLOSED)
    assert road(caravan="destination", motorhome="yes", towing=True)[0] is ENDS
    assert road(access="no", trailer="yes", towing=True) == (CLOSED, CLOSED)


def test_the_tag_that_tells_is_named() -> None:
    reading = road_access({"highway": "service", "access": "private"}, COACH)
    assert (reading.key, reading.value) == ("access", "private")
    reading = road_access({"highway": "steps"}, COACH)
    assert (reading.key, reading.value) == ("highway", "steps")
    assert road_access({"highway": "service"}, COACH).key == ""


def test_access_by_direction() -> None:
    tags = {"highway": "residential", "motor_vehicle:backward": "no", "access": "destination"}
    reading = road_access(tags, COACH)
    assert (reading.forward, reading.backward, reading.access) == (ENDS, CLOSED, ENDS)
    # The mode counts before the direction: a sign for motor vehicles is more specific than one for all.
    tags = {"highway": "residential", "access:backward": "no", "motor_vehicle": "yes"}
    assert road_access(tags, COACH).backward is OPEN


def test_service_ways() -> None:
    assert road("service", service="parking_aisle") == (OPEN, OPEN)
    assert road("service", service="driveway") == (ENDS, ENDS)
    assert road("service", service="driveway", access="yes") == (OPEN, OPEN)
    assert road("service", service="emergency_access") == (CLOSED, CLOSED)


def test_tracks_are_for_the_ends_of_a_drive() -> None:
    assert road("track") == (ENDS, ENDS)
    assert road("track", access="yes") == (ENDS, ENDS)
    assert road("track", tracktype="grade3", surface="gravel") == (ENDS, ENDS)
    assert road("track", tracktype="grade1") == (OPEN, OPEN)
    assert road("track", surface="asphalt", access="private") == (ENDS, ENDS)
    assert road("track", motor_vehicle="yes") == (OPEN, OPEN)
    assert road("track", motor_vehicle="agricultural") == (CLOSED, CLOSED)


def conditions(**tags: str) -> list[tuple[Access, str, str, Direction]]:
    named = {"highway": "residential", **{key.replace("__", ":"): value for key, value in tags.items()}}
    return [(c.access, c.condition, c.key, c.direction) for c in road_access(named, COACH).conditional]


def test_conditions_are_handed_on_with_their_direction() -> None:
    # As mapped in Liechtenstein.
    raw = "destination @ (06:30-08:30);destination @ (16:30-18:30)"
    assert conditions(vehicle__conditional=raw) == [
        (ENDS, "06:30-08:30", "vehicle:conditional", Direction.BOTH),
        (ENDS, "16:30-18:30", "vehicle:conditional", Direction.BOTH),
    ]
    assert conditions(motor_vehicle__forward__conditional="no @ (07:00-10:00)") == [
        (CLOSED, "07:00-10:00", "motor_vehicle:forward:conditional", Direction.FORWARD)
    ]
    assert conditions(access__conditional="yes @ (Su)") == [
        (OPEN, "Su", "access:conditional", Direction.BOTH)
    ]


def test_conditions_less_specific_than_the_tag_that_tells_are_left_out() -> None:
    assert conditions(access__conditional="no @ (Su)", motor_vehicle="yes") == []
    assert len(conditions(motor_vehicle__conditional="no @ (Su)", access="yes")) == 1
    assert len(conditions(motor_vehicle__conditional="no @ (Su)", motor_vehicle="yes")) == 1
    assert conditions(access__conditional="no @ (Su)", motor_vehicle__forward="yes") == [
        (CLOSED, "Su", "access:conditional", Direction.BACKWARD)
    ]
    assert conditions(motorhome__conditional="no @ (22:00-06:00)", motor_vehicle__conditional="no @ wet") == [
        (CLOSED, "wet", "motor_vehicle:conditional", Direction.BOTH),
        (CLOSED, "22:00-06:00", "motorhome:conditional", Direction.BOTH),
    ]


def test_conditions_of_cars_and_trailers_only_close() -> None:
    assert conditions(motorcar__conditional="yes @ (Su); no @ (Sa)") == [
        (CLOSED, "Sa", "motorcar:conditional", Direction.BOTH)
    ]
    tags = {"highway": "residential", "trailer:conditional": "no @ wet"}
    assert road_access(tags, COACH).conditional == ()
    assert len(road_access(tags, COACH, towing=True).conditional) == 1


def test_a_condition_that_cannot_be_read_is_one_that_nobody_can_judge() -> None:
    assert conditions(access__conditional="destination") == [
        (ENDS, "destination", "access:conditional", Direction.BOTH)
    ]
    assert conditions(access__conditional="no @ (")[0][0] is CLOSED


@pytest.mark.parametrize(
    ("barrier", "access"),
    [
        ("cattle_grid", OPEN),
        ("toll_booth", OPEN),
        ("height_restrictor", OPEN),
        ("border_control", OPEN),
        ("entrance", OPEN),
        ("gate", ENDS),
        ("lift_gate", ENDS),
        ("swing_gate", ENDS),
        ("bollard", CLOSED),
        ("block", CLOSED),
        ("cycle_barrier", CLOSED),
        ("stile", CLOSED),
        ("chain", CLOSED),
        ("bus_trap", CLOSED),
        ("yes", CLOSED),
        ("shuter", CLOSED),
        ("no", OPEN),
        ("", OPEN),
    ],
)
def test_barriers_of_which_nothing_else_is_told(barrier: str, access: Access) -> None:
    for vehicle in Vehicle:
        assert node_access({"barrier": barrier}, vehicle).access is access


def test_access_of_barriers() -> None:
    assert node_access({"barrier": "gate", "access": "yes"}, COACH).access is OPEN
    assert node_access({"barrier": "gate", "access": "no"}, COACH).access is CLOSED
    assert node_access({"barrier": "lift_gate", "motor_vehicle": "private"}, COACH).access is ENDS
    assert node_access({"barrier": "bollard", "access": "yes"}, COACH).access is CLOSED
    assert node_access({"barrier": "bollard", "motor_vehicle": "yes"}, COACH).access is OPEN
    assert node_access({"barrier": "cattle_grid", "motorhome": "no"}, COACH).access is CLOSED
    assert node_access({"barrier": "gate", "motorhome": "no"}, CAR).access is ENDS
    assert node_access({"barrier": "bollard"}, COACH).value == "bollard"
    assert node_access({"highway": "crossing", "access": "no"}, COACH).access is OPEN
    gate = node_access({"barrier": "gate", "motor_vehicle:conditional": "yes @ (08:00-18:00)"}, COACH)
    assert [c.access for c in gate.conditional] == [OPEN]
    assert (
        node_access({"barrier": "bollard", "access:conditional": "yes @ (08:00-18:00)"}, COACH).conditional
        == ()
    )


@pytest.mark.parametrize(
    ("tags", "banned"),
    [
        ({}, False),
        ({"hazmat": "no"}, True),
        ({"hazmat": "yes"}, False),
        ({"hazmat": "designated"}, False),
        ({"hazmat": "destination"}, True),
        ({"hazmat:forward": "no"}, True),
        ({"hazmat:water": "no"}, False),
        ({"hazmat:A": "no"}, False),
        ({"hazmat:B": "no"}, True),
        ({"hazmat:E": "no"}, True),
        ({"hazmat": "E"}, True),
        ({"hazmat": "A"}, True),
        ({"hazmat": ""}, False),
    ],
)
def test_bans_on_dangerous_goods(tags: dict[str, str], banned: bool) -> None:
    assert hazmat_ban({"highway": "primary", **tags}) is banned


def test_conditional_bans_on_dangerous_goods() -> None:
    (ban,) = hazmat_conditions({"hazmat:forward:conditional": "no @ (07:00-19:00); yes @ wet"})
    assert (ban.access, ban.condition, ban.direction) == (CLOSED, "07:00-19:00", Direction.FORWARD)
    assert hazmat_conditions({"hazmat": "no"}) == ()


KEYS = st.tuples(
    st.sampled_from(
        ["access", "vehicle", "motor_vehicle", "motorhome", "motorcar", "trailer", "hazmat", "barrier"]
    ),
    st.sampled_from(["", ":forward", ":backward", ":conditional", ":forward:conditional"]),
).map("".join)
VALUES = st.one_of(
    st.sampled_from(["yes", "no", "private", "destination", "no @ (Su)", "yes @ wet", "gate", "bollard"]),
    st.text(max_size=12),
)
TAGS = st.tuples(
    st.dictionaries(KEYS, VALUES, max_size=5),
    st.sampled_from(["residential", "track", "path", "pedestrian", "steps", "service", ""]),
).map(lambda pair: {**pair[0], "highway": pair[1]})


@given(TAGS, st.sampled_from(list(Vehicle)))
def test_any_tags_are_judged_and_towing_only_closes(tags: dict[str, str], vehicle: Vehicle) -> None:
    alone, towing = road_access(tags, vehicle), road_access(tags, vehicle, towing=True)
    assert towing.forward >= alone.forward
    assert towing.backward >= alone.backward
    assert alone.access is CLOSED or is_road(tags)
    assert node_access(tags, vehicle, towing=True).access >= node_access(tags, vehicle).access
    hazmat_ban(tags)
    hazmat_conditions(tags)


def test_where_no_tag_tells_none_is_named() -> None:
    for tags in ({"highway": "residential"}, {"highway": "residential", "access:conditional": "no @ wet"}):
        told = road_access(tags, COACH)
        assert (told.key, told.value, told.access) == ("", "", OPEN)
    gate = node_access({"barrier": "gate"}, COACH)
    assert (gate.key, gate.value) == ("barrier", "gate")
    gate = node_access({"barrier": "gate", "access": "yes"}, COACH)
    assert (gate.key, gate.value) == ("access", "yes")
    bollard = node_access({"barrier": "bollard", "access": "yes"}, COACH)
    assert (bollard.key, bollard.value) == ("barrier", "bollard")

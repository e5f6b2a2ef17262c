"""The way in and out of a stop, to the metre."""

from __future__ import annotations

from dataclasses import replace

import pytest

from clearance.assess.day import Halt, plan_day
from clearance.core.coach import Coach
from clearance.core.drive import InOut, InOutAnswer, Unverified
from clearance.core.lengths import Length
from clearance.core.places import Place
from clearance.workflow import network_of
from tests.assess.towns import COACH, halt
from tests.towns import LAT0, LON0, M_PER_LAT, M_PER_LON, Town, lonlat


def street() -> Town:
    """Long Street from west to east; Blind Lane goes north from (1000, 0), with a bend at (1000, 200)."""
    town = Town()
    for ref, x, y in ((1, 0, 0), (2, 1000, 0), (3, 2000, 0), (4, 1000, 200), (5, 1300, 200), (6, 1600, 200)):
        town.node(ref, x, y)
    town.way(10, [1, 2, 3], {"highway": "residential", "name": "Long Street"})
    return town.way(11, [2, 4, 5, 6], {"highway": "residential", "name": "Blind Lane"})


def at(town: Town, x: float, y: float, coach: Coach = COACH) -> InOut:
    found = plan_day(
        network_of(town.extract()), coach, [halt(100, 0), halt(x, y)], unverified=Unverified.AVOID
    ).stops[-1]
    assert found.in_out is not None
    return found.in_out


@pytest.mark.parametrize(("x", "y", "metres"), [(1000, 100, 100), (1150, 200, 350), (1450, 200, 650)])
def test_how_long_a_dead_end_is(x: float, y: float, metres: float) -> None:
    told = at(street(), x, y)
    assert told.answer is InOutAnswer.NEEDS_ROOM
    assert told.dead_end_m == pytest.approx(metres, rel=1e-3)
    assert (told.turn_kind, told.turn_m, told.serious) == ("", 0.0, False)


def test_a_lane_that_leads_off_ends_the_dead_end_unless_it_is_closed() -> None:
    for access, metres in (("yes", 150), ("no", 350), ("private", 350)):
        town = street().node(7, 1000, 400).way(12, [4, 7], {"highway": "residential", "access": access})
        assert at(town, 1150, 200).dead_end_m == pytest.approx(
            metres if access != "private" else 350, rel=1e-3
        )


@pytest.mark.parametrize(("kind", "answer"), [("turning_circle", InOutAnswer.NEEDS_ROOM),
                                              ("turning_loop", InOutAnswer.DRIVES_THROUGH)])  # fmt: skip
def test_the_place_to_turn_ahead(kind: str, answer: InOutAnswer) -> None:
    town = street().node(6, 1600, 200, {"highway": kind})
    told = at(town, 1150, 200)
    assert told.answer is answer
    if answer is InOutAnswer.NEEDS_ROOM:
        assert told.turn_kind == "turning circle"
        assert told.turn_m == pytest.approx(450, rel=1e-3)
        assert told.turn_lon == pytest.approx(LON0 + 1600 / M_PER_LON, abs=1e-6)
        assert told.turn_lat == pytest.approx(LAT0 + 200 / M_PER_LAT, abs=1e-6)


def test_the_nearest_place_to_turn_counts_and_none_behind() -> None:
    town = street().node(5, 1300, 200, {"highway": "turning_circle"})
    town = town.node(6, 1600, 200, {"highway": "turning_circle"})
    assert at(town, 1150, 200).turn_m == pytest.approx(150, rel=1e-3)
    assert at(town, 1450, 200).turn_m == pytest.approx(150, rel=1e-3)
    behind = street().node(5, 1300, 200, {"highway": "turning_circle"})
    assert at(behind, 1450, 200).turn_kind == ""


@pytest.mark.parametrize(
    ("towing", "reversible", "serious"),
    [(False, False, False), (False, True, False), (True, False, True), (True, True, False)],
)
def test_what_is_serious(towing: bool, reversible: bool, serious: bool) -> None:
    coach = replace(COACH, towing=towing, tow_reversible=reversible)
    assert at(street(), 1150, 200, coach).serious is serious


@pytest.mark.parametrize(
    ("tags", "said"),
    [
        ({"highway": "service", "service": "drive-through"}, "a drive-through lane"),
        ({"highway": "service", "indoor": "yes"}, "a car-park deck or its ramp"),
        ({"highway": "service", "parking": "multi-storey"}, "a car-park deck or its ramp"),
    ],
)
def test_lanes_that_are_none_for_a_coach(tags: dict[str, str], said: str) -> None:
    town = street().node(8, 500, 0).node(9, 500, 100)
    town.way(13, [1, 8], {"highway": "residential"}).way(14, [8, 9], tags)
    told = at(town, 500, 60)
    assert told.answer is InOutAnswer.DO_NOT_ENTER
    assert told.reason == f"the place lies on {said}; stop at the road"
    # At the kerb, the street is as near as the lane.
    assert at(town, 500, 2).answer is not InOutAnswer.DO_NOT_ENTER


def test_a_way_in_that_is_closed_and_too_low_is_not_entered() -> None:
    lane = {"highway": "service", "motorhome": "no", "tunnel": "yes"}
    for height, answer in (("3", InOutAnswer.DO_NOT_ENTER), ("5", None)):
        built = street().node(8, 500, 0).node(9, 500, 100).way(13, [1, 8], {"highway": "residential"})
        built.way(14, [8, 9], {**lane, "maxheight": height})
        told = at(built, 500, 60)
        assert (told.answer is InOutAnswer.DO_NOT_ENTER) is (answer is not None)
        if answer is not None:
            assert told.reason == "the way in passes a tunnel that is too low"


def test_the_stop_that_a_bridge_closes_on_the_way_out_is_a_dead_end() -> None:
    """A loop of streets with a low railway behind the stop: forward leads nowhere for a tall coach."""
    town = street().node(7, 1600, 0)
    town.way(12, [6, 7], {"highway": "residential", "maxheight": "3.5"})
    town = town.node(3, 2000, 0).way(13, [7, 3], {"highway": "residential"})
    tall, low = COACH, Coach(height=Length.from_metres("2.5"))
    assert at(town, 1150, 200, tall).answer is InOutAnswer.NEEDS_ROOM
    assert at(town, 1150, 200, low).answer is InOutAnswer.DRIVES_THROUGH


@pytest.mark.parametrize(("north", "entered"), [(4.5, True), (5.5, False)])
def test_a_lane_counts_where_the_street_is_five_metres_farther(north: float, entered: bool) -> None:
    town = Town().node(1, 0, 0).node(2, 1000, 0).node(8, 500, 0).node(9, 500, 100).way(13, [1, 8, 2])
    town.way(14, [8, 9], {"highway": "service", "service": "drive-through"})
    assert (at(town, 500, north).answer is not InOutAnswer.DO_NOT_ENTER) is entered


@pytest.mark.parametrize(("heights", "told"), [(("5", "3"), True), (("3", "5"), True), (("5", "4.5"), False)])
def test_of_all_that_stands_over_the_way_in_each_is_looked_at(heights: tuple[str, str], told: bool) -> None:
    """A lane that is closed to the coach, with two railways over it."""
    town = Town().node(1, 0, 0).node(2, 1000, 0).node(8, 500, 0).node(9, 500, 60).node(10, 500, 120)
    town.way(13, [1, 8, 2])
    lane = {"highway": "service", "motorhome": "no"}
    for n, (height, y) in enumerate(zip(heights, (30, 90), strict=True)):
        town.node(20 + n, 450, y).node(30 + n, 550, y)
        town.way(40 + n, [20 + n, 30 + n], {"railway": "rail", "bridge": "yes", "layer": "1"})
        town.way(50 + n, [8 + n, 9 + n], lane | {"maxheight": height})
    near, far = at(town, 500, 45), at(town, 500, 100)
    low = [height == "3" for height in heights]
    for answer, is_low in ((near, low[0]), (far, low[1])):
        assert (answer.answer is InOutAnswer.DO_NOT_ENTER) is is_low
        if is_low:
            assert answer.reason == "the way in passes a railway bridge that is too low"
    assert any(low) is told


def test_a_stop_far_off_any_road_is_driven_to_as_ever() -> None:
    """A town may lie 400 m from its nearest road; the road is what is entered then."""
    network = network_of(street().extract())
    lon, lat = lonlat(500, -400)
    stops = [halt(100, 0), Halt(place=Place(lon=lon, lat=lat, name="Long", kind="town", osm="node/1"))]
    found = plan_day(network, COACH, stops, unverified=Unverified.AVOID).stops[-1]
    assert found.in_out is not None
    assert found.in_out.answer is InOutAnswer.NEEDS_ROOM
    assert found.off_road_m == pytest.approx(400, abs=1)


@pytest.mark.parametrize("reach", [30, 80])
def test_a_dead_end_that_the_drive_begins_in_counts_from_there(reach: float) -> None:
    """From within the lane to its end: no junction lies between, and what lies behind is not driven."""
    network = network_of(street().extract())
    drive = plan_day(network, COACH, [halt(1000, 100), halt(1000, 100 + reach)], unverified=Unverified.AVOID)
    told = drive.stops[-1].in_out
    assert told is not None
    assert told.answer is InOutAnswer.NEEDS_ROOM
    assert told.dead_end_m == pytest.approx(reach, rel=1e-3)


def test_a_dead_end_of_two_ways_that_the_drive_begins_in_counts_over_both() -> None:
    town = (
        Town()
        .node(1, 0, 0)
        .node(2, 1000, 0)
        .node(3, 500, 0)
        .node(4, 500, 200)
        .node(5, 800, 200)
        .node(6, 900, 200)
    )
    town.way(10, [1, 3, 2]).way(11, [3, 4]).way(12, [4, 5, 6])
    for start, metres in (((500, 50), 250), ((100, 0), 300)):
        drive = plan_day(
            network_of(town.extract()), COACH, [halt(*start), halt(600, 200)], unverified=Unverified.AVOID
        )
        told = drive.stops[-1].in_out
        assert told is not None
        assert told.dead_end_m == pytest.approx(metres, rel=1e-3)


def test_a_stop_where_one_drives_through_has_no_dead_end() -> None:
    told = at(street().node(7, 1600, 0).way(12, [6, 7]).way(13, [7, 3]), 1150, 200)
    assert told == InOut(answer=InOutAnswer.DRIVES_THROUGH)


def test_what_is_said_of_a_dead_end() -> None:
    assert at(street(), 1150, 200).reason == "dead end: no way leads on forward from here"
    turning = at(street().node(6, 1600, 200, {"highway": "turning_circle"}), 1150, 200)
    assert turning.reason == "dead end: no way leads on forward from here"
    assert turning.dead_end_m == pytest.approx(350, rel=1e-3)
    towing = replace(COACH, towing=True)
    assert at(street().node(6, 1600, 200, {"highway": "turning_circle"}), 1150, 200, towing).serious

"""The exit of a roundabout, told as a driver counts: round an invented circle with four arms."""

from __future__ import annotations

from math import cos, radians, sin

import pytest

from clearance.assess.day import plan_day
from clearance.core.drive import Drive, Unverified
from clearance.outputs.directions import directions, step_text
from clearance.workflow import network_of
from tests.assess.towns import COACH, halt
from tests.towns import Town

#: Arms by their angle, counter-clockwise from the east, as traffic on the right goes round.
ARMS = {"South Road": 270, "East Road": 0, "North Road": 90, "West Road": 180}


def circle(tags: dict[str, str] | None = None) -> Town:
    """A circle of 30 m radius; each arm is 300 m long. Nodes of the circle are 1 to 12, 30 degrees apart."""
    town = Town()
    for i in range(12):
        town.node(i + 1, 30 * cos(radians(30 * i)), 30 * sin(radians(30 * i)))
    town.way(100, [*range(1, 13), 1], {"highway": "tertiary", "junction": "roundabout"} | (tags or {}))
    for number, (name, angle) in enumerate(ARMS.items()):
        far = 20 + number
        town.node(far, 330 * cos(radians(angle)), 330 * sin(radians(angle)))
        town.way(200 + number, [angle // 30 + 1, far], {"highway": "tertiary", "name": name})
    return town


def driven(town: Town, start: str, end: str) -> Drive:
    def at(arm: str) -> tuple[float, float]:
        return 300 * cos(radians(ARMS[arm])), 300 * sin(radians(ARMS[arm]))

    return plan_day(
        network_of(town.extract()), COACH, [halt(*at(start)), halt(*at(end))], unverified=Unverified.AVOID
    )


def told(drive: Drive) -> str:
    return step_text(directions(drive)[1])


@pytest.mark.parametrize(
    ("start", "end", "text"),
    [
        ("South Road", "East Road", "At the roundabout: take the 1st exit onto East Road"),
        ("South Road", "North Road", "At the roundabout: take the 2nd exit onto North Road"),
        ("South Road", "West Road", "At the roundabout: take the 3rd exit onto West Road"),
        ("East Road", "South Road", "At the roundabout: take the 3rd exit onto South Road"),
        ("West Road", "South Road", "At the roundabout: take the 1st exit onto South Road"),
    ],
)
def test_exits_count_from_the_entry(start: str, end: str, text: str) -> None:
    assert told(driven(circle(), start, end)) == text


def test_only_the_last_piece_of_the_circle_bears_the_number() -> None:
    drive = driven(circle(), "South Road", "West Road")
    assert [(p.road, p.roundabout, p.exit) for p in drive.pieces] == [
        ("South Road", False, 0),
        ("", True, 3),
        ("West Road", False, 0),
    ]


def test_a_circle_whose_parts_have_names_is_counted_through() -> None:
    town = Town()
    for i in range(12):
        town.node(i + 1, 30 * cos(radians(30 * i)), 30 * sin(radians(30 * i)))
    ring = {"highway": "tertiary", "junction": "roundabout"}
    town.way(100, [10, 11, 12, 1, 2, 3, 4], ring | {"name": "Eastern Half"})
    town.way(101, [4, 5, 6, 7, 8, 9, 10], ring | {"name": "Western Half"})
    for number, (name, angle) in enumerate(ARMS.items()):
        town.node(20 + number, 330 * cos(radians(angle)), 330 * sin(radians(angle)))
        town.way(200 + number, [angle // 30 + 1, 20 + number], {"highway": "tertiary", "name": name})
    drive = driven(town, "South Road", "West Road")
    assert [p.exit for p in drive.pieces] == [0, 0, 3, 0]
    assert told(drive) == "At the roundabout: take the 3rd exit onto West Road"


def test_roads_that_only_lead_in_do_not_count_and_those_closed_to_the_coach_do() -> None:
    town = circle()
    town.node(30, 200, 200).node(31, -200, 200)
    town.way(300, [30, 2], {"highway": "tertiary", "oneway": "yes", "name": "Inward Road"})
    town.way(301, [6, 31], {"highway": "residential", "motorhome": "no", "name": "Narrow Lane"})
    # South Road, past East Road (1st) and Inward Road (none), North Road (2nd), Narrow Lane (3rd).
    assert told(driven(town, "South Road", "North Road")).startswith("At the roundabout: take the 2nd exit")
    assert told(driven(town, "South Road", "West Road")).startswith("At the roundabout: take the 4th exit")


def test_footpaths_are_no_exits() -> None:
    town = circle().node(30, 200, 200).way(300, [2, 30], {"highway": "footway"})
    assert told(driven(town, "South Road", "North Road")).startswith("At the roundabout: take the 2nd exit")


def test_no_number_where_two_roads_leave_together_or_the_circle_goes_both_ways() -> None:
    town = circle().node(30, -200, 60).way(300, [7, 30], {"highway": "service"})
    assert told(driven(town, "South Road", "West Road")) == "At the roundabout: left onto West Road"
    # The other exits can still be told.
    assert told(driven(town, "South Road", "North Road")).startswith("At the roundabout: take the 2nd exit")
    both_ways = circle({"oneway": "no"})
    assert all(p.exit == 0 for p in driven(both_ways, "South Road", "West Road").pieces)


def test_a_drive_that_begins_or_ends_on_the_circle_has_no_number() -> None:
    network = network_of(circle().extract())
    on_circle = halt(30 * cos(radians(45)), 30 * sin(radians(45)))
    for stops in ([on_circle, halt(-300, 0)], [halt(0, -300), on_circle]):
        drive = plan_day(network, COACH, stops, unverified=Unverified.AVOID)
        assert all(p.exit == 0 for p in drive.pieces)


def two_circles() -> Town:
    """The circle, and another 700 m east of it whose arms are to the west, north and east."""
    town = circle()
    for i in range(12):
        town.node(51 + i, 700 + 30 * cos(radians(30 * i)), 30 * sin(radians(30 * i)))
    town.way(110, [*range(51, 63), 51], {"highway": "tertiary", "junction": "circular"})
    town.way(211, [21, 57], {"highway": "tertiary", "name": "East Road"})
    for ref, node, x, y, name in ((212, 54, 700, 400, "Hill Road"), (213, 51, 1100, 0, "Sea Road")):
        town.node(ref, x, y).way(ref, [node, ref], {"highway": "tertiary", "name": name})
    return town


@pytest.mark.parametrize(
    ("start", "end", "exits"),
    [
        ((-300, 0), (700, 300), [2, 2]),
        ((0, -300), (1000, 0), [1, 1]),
        ((0, 300), (700, 300), [3, 2]),
        ((700, 300), (0, -300), [1, 3]),
        ((1000, 0), (-300, 0), [2, 2]),
    ],
)
def test_exits_of_two_circles_on_one_drive(
    start: tuple[float, float], end: tuple[float, float], exits: list[int]
) -> None:
    """Roads of several parts lead to them; those that go round clockwise come last."""
    found = plan_day(
        network_of(two_circles().extract()), COACH, [halt(*start), halt(*end)], unverified=Unverified.AVOID
    )
    assert [p.exit for p in found.pieces if p.roundabout] == exits
    assert all(p.exit == 0 for p in found.pieces if not p.roundabout)


def test_a_circle_that_parts_at_the_way_in_is_counted_on_from_there_and_one_at_the_way_out_is_not() -> None:
    """Within the circle a second lane leads off at the node of North Road, and joins it again."""
    town = (
        circle()
        .node(30, 10, 10)
        .way(300, [4, 30, 8], {"highway": "tertiary", "junction": "roundabout", "oneway": "yes"})
    )
    assert all(p.exit == 0 for p in driven(town, "South Road", "West Road").pieces)
    assert [p.exit for p in driven(town, "South Road", "East Road").pieces if p.roundabout] == [1]

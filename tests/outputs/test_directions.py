from __future__ import annotations

from dataclasses import replace
from math import cos, radians, sin

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clearance.core.drive import Drive, Verdict
from clearance.outputs.directions import (
    AT_ONCE,
    Step,
    StepKind,
    Turn,
    directions,
    heading_word,
    length_text,
    step_text,
)
from clearance.outputs.measures import Units
from tests.outputs import samples
from tests.outputs.samples import XY, Builder

MIRRORED = {
    Turn.STRAIGHT: Turn.STRAIGHT,
    Turn.ROUND: Turn.ROUND,
    Turn.KEEP_LEFT: Turn.KEEP_RIGHT,
    Turn.SLIGHT_LEFT: Turn.SLIGHT_RIGHT,
    Turn.LEFT: Turn.RIGHT,
    Turn.SHARP_LEFT: Turn.SHARP_RIGHT,
}
MIRRORED |= {right: left for left, right in MIRRORED.items()}


def corner(angle: float, first: str = "residential", second: str = "residential", name: str = "B") -> Drive:
    """North for 200 m on A, then 200 m on `name`, turned clockwise by `angle`."""
    b = Builder()
    b.stop("Here", (0, -200))
    b.road("A", first, [(0, -200), (0, 0)])
    b.road(name, second, [(0, 0), (200 * sin(radians(angle)), 200 * cos(radians(angle)))])
    b.stop("There", (0, 0))
    return b.drive(Verdict.CLEAR)


def turns(drive: Drive) -> list[Step]:
    return [step for step in directions(drive) if step.kind is StepKind.TURN]


@pytest.mark.parametrize(
    ("angle", "turn"),
    [
        (0, Turn.STRAIGHT),
        (12, Turn.STRAIGHT),
        (-12, Turn.STRAIGHT),
        (30, Turn.SLIGHT_RIGHT),
        (-30, Turn.SLIGHT_LEFT),
        (90, Turn.RIGHT),
        (-90, Turn.LEFT),
        (140, Turn.SHARP_RIGHT),
        (-140, Turn.SHARP_LEFT),
        (180, Turn.ROUND),
    ],
)
def test_the_angle_makes_the_word(angle: float, turn: Turn) -> None:
    (step,) = turns(corner(angle))
    assert step.turn is turn


@given(st.floats(-179, 179).filter(lambda a: all(abs(abs(a) - bound) > 0.5 for bound in (15, 45, 120, 170))))
def test_a_mirrored_corner_has_the_mirrored_word(angle: float) -> None:
    (step,), (other,) = turns(corner(angle)), turns(corner(-angle))
    assert step.turn is not None
    assert MIRRORED[step.turn] is other.turn


def test_leaving_a_motorway_is_keeping_to_a_side() -> None:
    (step,) = turns(corner(10, "motorway", "motorway_link", ""))
    assert step_text(step) == "Keep right onto the ramp"
    (step,) = turns(corner(-20, "trunk_link", "trunk", "Ridge Highway"))
    assert step_text(step) == "Keep left onto Ridge Highway"


def test_a_crooked_node_at_the_corner_does_not_make_the_turn() -> None:
    b = Builder()
    b.road("A", "residential", [(0, -200), (0, 0)])
    b.road("B", "residential", [(0, 0), (-1.5, 1), (200, 1)])
    b.stop("Here", (0, -200)).stop("There", (200, 1))
    (step,) = turns(b.drive(Verdict.CLEAR))
    assert step.turn is Turn.RIGHT


def test_a_road_that_goes_on_is_one_step() -> None:
    steps = directions(corner(40, name="A"))
    assert [s.kind for s in steps] == [StepKind.START, StepKind.ARRIVE]
    assert steps[0].length_m == pytest.approx(400)


def test_a_road_that_turns_sharply_in_its_own_name_is_told() -> None:
    (step,) = turns(corner(90, name="A"))
    assert step_text(step) == "Right, staying on A"


def test_a_road_without_a_name_gets_words() -> None:
    assert step_text(turns(corner(90, second="service", name=""))[0]) == "Right onto a service road"
    assert step_text(turns(corner(90, name=""))[0]) == "Right onto an unnamed road"


def test_a_roundabout_is_one_step_with_the_way_out_of_it() -> None:
    b = Builder()
    b.stop("Here", (0, -300))
    b.road("A", "tertiary", [(0, -300), (0, -20)])
    # Driven on the right: round the south and the east side, out to the west.
    circle: list[XY] = [(0, -20), (14, -14), (20, 0), (14, 14), (0, 20), (-14, 14), (-20, 0)]
    b.road("", "tertiary", circle, roundabout=True)
    round_m = b.pieces[-1].length_m
    b.road("B", "tertiary", [(-20, 0), (-300, 0)])
    b.stop("There", (-300, 0))
    drive = b.drive(Verdict.CLEAR)
    (step,) = turns(drive)
    assert step_text(step) == "At the roundabout: left onto B"
    assert step.distance_m == pytest.approx(280)
    assert step.length_m == pytest.approx(round_m + 280)


@pytest.mark.parametrize(
    ("number", "text"),
    [
        (0, "At the roundabout: left onto {road}"),
        (1, "At the roundabout: take the 1st exit{way}"),
        (2, "At the roundabout: take the 2nd exit{way}"),
        (3, "At the roundabout: take the 3rd exit{way}"),
        (11, "At the roundabout: take the 11th exit{way}"),
        (22, "At the roundabout: take the 22nd exit{way}"),
    ],
)
@pytest.mark.parametrize(("road", "way"), [("B", " onto B"), ("A", ", staying on A"), ("", " onto a track")])
def test_the_exit_of_a_roundabout_is_counted(number: int, text: str, road: str, way: str) -> None:
    b = Builder()
    b.stop("Here", (0, -300))
    b.road("A", "tertiary", [(0, -300), (0, -20)])
    b.road("Ring", "tertiary", [(0, -20), (14, -14), (20, 0)], roundabout=True)
    b.road("", "tertiary", [(20, 0), (14, 14), (0, 20), (-14, 14), (-20, 0)], roundabout=True)
    b.pieces[-1] = replace(b.pieces[-1], exit=number)
    b.road(road, "tertiary" if road else "track", [(-20, 0), (-300, 0)])
    b.road("C", "tertiary", [(-300, 0), (-300, 300)])
    b.stop("There", (-300, 300))
    step, after = turns(b.drive(Verdict.CLEAR))
    if number:
        assert step_text(step) == text.format(way=way)
    else:
        assert step_text(step).startswith("At the roundabout: left")
    # The number is that of the circle alone.
    assert step_text(after) == "Right onto C"


def test_a_length_that_rounds_to_nothing_is_no_length() -> None:
    steps = directions(corner(90))
    assert [length_text(step) for step in steps] == ["650 ft", "650 ft", ""]
    assert length_text(replace(steps[0], length_m=4)) == AT_ONCE
    assert length_text(replace(steps[0], length_m=8)) == "50 ft"
    assert length_text(replace(steps[0], length_m=4), Units.METRES) == AT_ONCE
    assert length_text(replace(steps[0], length_m=6), Units.METRES) == "10 m"


def test_stops_part_the_directions() -> None:
    steps = directions(samples.care_drive())
    kinds = [s.kind for s in steps if s.kind is not StepKind.TURN]
    assert kinds == [StepKind.START, StepKind.STOP, StepKind.START, StepKind.ARRIVE]
    texts = [step_text(s) for s in steps]
    assert "Stop: Pellowick Quay" in texts
    assert "From Pellowick Quay: head north-west on Quay Lot" in texts
    assert texts[-1] == "Arrive: Ferry Landing"
    # No turn is told between arriving at a stop and leaving it.
    assert [s.leg for s in steps] == sorted(s.leg for s in steps)


def test_steps_follow_one_another_and_add_up() -> None:
    drive = samples.care_drive()
    steps = directions(drive)
    assert sum(s.length_m for s in steps) == pytest.approx(drive.distance_m)
    driven = 0.0
    for step in steps:
        assert step.distance_m == pytest.approx(driven, abs=0.01)
        driven += step.length_m


def test_each_finding_stands_beside_one_step() -> None:
    drive = samples.care_drive()
    steps = directions(drive)
    assert [n for s in steps for n in s.findings] == [f.number for f in drive.findings]
    for step in steps:
        for number in step.findings:
            assert step.road == drive.findings[number - 1].road


def test_an_unchecked_part_is_told_and_no_turn_across_it() -> None:
    steps = directions(samples.inspected_line())
    assert [step_text(s) for s in steps] == [
        "From Line start: head east on Ridge Highway",
        "Right onto Mill Street",
        "Off the known roads: nothing is checked on this part",
        "Head east on Harbor Street",
        "Arrive: Line end",
    ]


def test_a_blocked_drive_has_no_directions() -> None:
    assert directions(samples.blocked_drive()) == ()


def test_a_stop_without_a_name_is_a_place() -> None:
    drive = corner(90)
    nameless = tuple(replace(s, place=replace(s.place, name="")) for s in drive.stops)
    texts = [step_text(s) for s in directions(replace(drive, stops=nameless))]
    assert texts[0] == "Head north on A"
    assert texts[-1] == "Arrive: the place chosen"


@given(st.floats(0, 360))
def test_headings_name_the_nearest_point(degrees: float) -> None:
    points = ["north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"]
    gap = (degrees - 45 * points.index(heading_word(degrees)) + 180) % 360 - 180
    assert abs(gap) <= 22.5

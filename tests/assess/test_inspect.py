"""Lines made elsewhere: findings as they are, unchecked parts, and mending of what is too low alone."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from clearance.assess.day import plan_day
from clearance.assess.inspect import inspect_line
from clearance.core.coach import Coach
from clearance.core.drive import Drive, Unverified, Verdict
from clearance.core.errors import ClearanceError
from clearance.core.lengths import Length
from clearance.core.line import Line
from clearance.core.structure import Standing
from clearance.network.network import Network
from clearance.workflow import network_of
from tests.assess.towns import COACH, IN_ESTATE, estate_town, grid_town, halt, two_ways
from tests.towns import Town, lonlat


def line(*corners: tuple[float, float], step: float = 25) -> Line:
    """A line over the corners with a point each `step` metres."""
    points = [corners[0]]
    for (ax, ay), (bx, by) in pairwise(corners):
        n = max(1, round(np.hypot(bx - ax, by - ay) / step))
        points += [(ax + (bx - ax) * i / n, ay + (by - ay) * i / n) for i in range(1, n + 1)]
    return Line(
        points=np.array([lonlat(x, y) for x, y in points]), parts=np.zeros(1, np.int64), source="test"
    )


def inspect(network: Network, over: Line, *, coach: Coach = COACH, mend: bool = False) -> Drive:
    return inspect_line(network, coach, over, unverified=Unverified.AVOID, mend=mend)


#: Fits under the low streets of `grid_town`, tightly.
LOWER = Coach(height=Length.from_feet(10, 9), margin=Length.from_feet(0, 6))
STRAIGHT = line((-400, 0), (1400, 0))


def test_a_line_under_a_low_bridge_is_found_and_left_as_it_is() -> None:
    found_in = two_ways({"maxheight": "12'6\""})
    found = inspect(found_in, STRAIGHT)
    assert found.verdict is Verdict.BLOCKED
    assert [p.road for p in found.pieces] == ["West Road", "Low Street", "East Road"]
    (finding,) = found.findings
    assert (finding.standing, finding.clearance) == (Standing.TOO_LOW, Length.from_feet(12, 6))
    assert finding.distance_m == pytest.approx(900, abs=15)
    # As it is, unless it is to be mended.
    assert inspect_line(found_in, COACH, STRAIGHT, unverified=Unverified.AVOID) == found
    assert finding.turn_off is not None
    assert finding.turn_off.onto == "High Street"
    assert finding.turn_off.before_m == pytest.approx(500, abs=5)


def test_mending_changes_only_the_part_that_is_too_low() -> None:
    low = two_ways({"maxheight": "12'6\""})
    found = inspect(low, STRAIGHT, mend=True)
    assert found.verdict is Verdict.CLEAR
    assert [p.road for p in found.pieces] == ["West Road", "High Street", "East Road"]
    assert any("another way" in note for note in found.notes)
    # A line that is not too low stays, though a quicker way exists.
    roundabout = line((-400, 0), (0, 0), (0, 1000), (1000, 1000), (1000, 0), (1400, 0))
    kept = inspect(two_ways({"maxheight": "15'"}), roundabout, mend=True)
    assert [p.road for p in kept.pieces] == ["West Road", "High Street", "East Road"]


def test_what_cannot_be_mended_is_said() -> None:
    found = inspect(two_ways({"maxheight": "12'6\""}, {"motor_vehicle": "no"}), STRAIGHT, mend=True)
    assert found.verdict is Verdict.BLOCKED
    assert found.notes == ("no way round the railway bridge at 45.00000,-39.99366 leads back onto the line",)


def test_a_part_on_no_road_is_unchecked_and_never_clear() -> None:
    away = line((-400, 0), (0, 0), (0, -600), (1000, -600), (1000, 0), (1400, 0))
    found = inspect(two_ways({"maxheight": "15'"}), away)
    assert found.verdict is Verdict.CARE
    assert found.unchecked
    assert sum(u.length_m for u in found.unchecked) == pytest.approx(2200, rel=0.15)
    assert found.distance_m == pytest.approx(3000, rel=0.05)


def test_other_limits_on_the_line_block_it() -> None:
    heavy = Coach(height=Length.from_feet(13), weight_kg=12_000)
    found = inspect(two_ways({"maxheight": "15'", "maxweight": "7.5"}), STRAIGHT, coach=heavy)
    assert found.verdict is Verdict.BLOCKED
    assert [(o.kind, o.raw) for o in found.obstacles] == [("weight", "maxweight=7.5")]


def test_a_line_beside_all_roads_is_all_unchecked() -> None:
    found = inspect(two_ways(), line((0, 5000), (1000, 5000)))
    assert found.pieces == ()
    assert found.verdict is Verdict.CARE
    assert sum(u.length_m for u in found.unchecked) == pytest.approx(1000, rel=0.01)


def test_what_mending_takes_more_is_told_in_minutes() -> None:
    """3,000 m at 5 km/h are 2,160 s, 1,000 m at 30 km/h 120 s: 34 minutes more."""
    found = inspect(two_ways({"maxheight": "12'6\""}, {"maxspeed": "5"}), STRAIGHT, mend=True)
    (note,) = [n for n in found.notes if "another way" in n]
    assert note == "1 part of the line too low for the coach led another way, 34 min more"
    assert found.duration_s == pytest.approx((1000 - 0 - 200) / (30 / 3.6) + 2160, rel=0.01)
    assert found.distance_m == pytest.approx(800 + 3000, rel=0.01)


def test_parts_on_no_road_are_told_where_they_lie_along_the_line() -> None:
    """From a field south of West Road along it, and off into a field again."""
    wild = line((-400, -900), (-400, 0), (1400, 0), (1400, -900))
    found = inspect(two_ways({"maxheight": "15'"}), wild)
    first, last = found.unchecked
    assert first.distance_m == 0
    assert first.length_m == pytest.approx(900, abs=60)
    assert last.length_m == pytest.approx(900, abs=60)
    assert last.distance_m == pytest.approx(first.length_m + 1800, abs=60)
    assert found.distance_m == pytest.approx(last.distance_m + last.length_m)
    assert found.pieces[0].distance_m == pytest.approx(first.length_m)
    assert found.verdict is Verdict.CARE


def test_the_ends_of_the_line_are_its_places_and_the_drive_between_them() -> None:
    found = inspect(two_ways({"maxheight": "15'"}), STRAIGHT)
    start, end = found.places
    assert (start.name, end.name) == ("start of the line", "end of the line")
    assert ((start.lon, start.lat), (end.lon, end.lat)) == (lonlat(-400, 0), lonlat(1400, 0))
    first, last = found.stops
    assert (first.place, first.distance_m, first.arrives_s) == (start, 0.0, 0.0)
    assert (last.place, last.distance_m, last.arrives_s) == (end, found.distance_m, found.duration_s)
    for stop in found.stops:
        assert (stop.lon, stop.lat) == (stop.place.lon, stop.place.lat)
        assert (stop.off_road_m, stop.leaves_s) == (0.0, stop.arrives_s)


@pytest.mark.parametrize(("second", "parts"), [("3.5", "2 parts"), ("4.5", "1 part")])
def test_each_part_that_is_led_another_way_is_counted(second: str, parts: str) -> None:
    """A ladder: the lower side is low between its first two rungs, and between its last two."""
    town = Town()
    for k, x in enumerate((-200, 0, 400, 800, 1200, 1500)):
        town.node(1 + k, x, 0).node(11 + k, x, 300)
        town.way(50 + k, [1 + k, 11 + k])
    for k, height in enumerate(("5", "3.5", "5", second, "5")):
        town.way(10 + k, [1 + k, 2 + k], {"highway": "residential", "maxheight": height})
    for k in range(5):
        # Between the two low parts the lower side is the quicker.
        street = {"highway": "residential", "maxspeed": "5" if k == 2 else "50"}
        town.way(30 + k, [11 + k, 12 + k], street | {"name": "Upper Side"})
    found = inspect(network_of(town.extract()), line((-150, 0), (1450, 0)), mend=True)
    (note,) = [n for n in found.notes if "another way" in n]
    assert note.startswith(f"{parts} of the line too low for the coach led another way, ")
    assert [p.road for p in found.pieces].count("Upper Side") == int(parts[0])
    assert found.verdict is Verdict.CLEAR
    assert found.distance_m == pytest.approx(1600 + 600 * int(parts[0]), abs=5)


@pytest.mark.parametrize("seed", range(12))
def test_the_line_of_a_drive_says_what_the_drive_says(seed: int) -> None:
    """Planned on a random grid, its line read again: the same structures, places and turn-offs."""
    network = grid_town(seed)
    chance = np.random.default_rng(seed)
    spots = chance.uniform(20, 380, (2, 2)).tolist()
    try:
        planned = plan_day(network, LOWER, [halt(*spot) for spot in spots], unverified=Unverified.ACCEPT)
    except ClearanceError:
        return
    if planned.verdict is Verdict.BLOCKED:
        return
    points = [point for piece in planned.pieces for point in piece.points]
    fine = [points[0]]
    for (ax, ay), (bx, by) in pairwise(points):
        fine += [(ax + (bx - ax) * k / 8, ay + (by - ay) * k / 8) for k in range(1, 9)]
    again = Line(points=np.array(fine), parts=np.zeros(1, np.int64), source="test")
    found = inspect_line(network, LOWER, again, unverified=Unverified.ACCEPT)
    assert found.unchecked == ()
    assert found.distance_m == pytest.approx(planned.distance_m, rel=1e-3)
    assert found.duration_s == pytest.approx(planned.duration_s, rel=1e-3)
    assert found.ceiling == planned.ceiling
    assert len(found.findings) == len(planned.findings)
    for mine, other in zip(found.findings, planned.findings, strict=True):
        assert (mine.structure.key, mine.standing, mine.number) == (
            other.structure.key,
            other.standing,
            other.number,
        )
        assert mine.distance_m == pytest.approx(other.distance_m, abs=1)
        assert (mine.lon, mine.lat) == pytest.approx((other.lon, other.lat), abs=1e-6)
        # A line ends in its own direction, a drive in either: a way may lead on to the one and not the other.
        if mine.turn_off and other.turn_off and mine.turn_off.leads_on and other.turn_off.leads_on:
            assert mine.turn_off.distance_m == pytest.approx(other.turn_off.distance_m, abs=1)


def test_a_way_round_that_is_quicker_takes_no_time_more() -> None:
    found = inspect(
        two_ways({"maxheight": "12'6\"", "maxspeed": "5"}, {"maxspeed": "120"}), STRAIGHT, mend=True
    )
    assert found.notes == ("1 part of the line too low for the coach led another way, 0 min more",)


def test_behind_a_field_distances_go_on_and_times_do_not() -> None:
    """Off West Road into a field, and back onto Low Street 200 m before the railway's 300."""
    over = line((-400, 0), (-200, 0), (-200, -600), (200, -600), (200, 0), (1400, 0))
    found = inspect(two_ways({"maxheight": "14'6\""}), over)
    (field,) = found.unchecked
    assert field.distance_m == pytest.approx(200, abs=60)
    assert field.length_m == pytest.approx(1600, abs=120)
    (finding,) = found.findings
    assert finding.distance_m == pytest.approx(200 + 1600 + 300, abs=5)
    assert finding.seconds == pytest.approx((found.distance_m - field.length_m - 900) / (30 / 3.6), abs=1)
    assert found.duration_s == pytest.approx((found.distance_m - field.length_m) / (30 / 3.6), abs=1)
    assert sum(p.length_m for p in found.pieces) == pytest.approx(found.distance_m - field.length_m)
    for piece in found.pieces:
        lost = field.length_m if piece.distance_m > 300 else 0.0
        assert piece.seconds == pytest.approx((piece.distance_m - lost) / (30 / 3.6), abs=1)
    assert {round(p.distance_m > 300) for p in found.pieces} == {0, 1}


@pytest.mark.parametrize("field", [0.0, 900.0])
@pytest.mark.parametrize("along", [0.0, 350.0])
def test_a_part_that_the_line_leaves_out_is_told_where_it_is(field: float, along: float) -> None:
    """From West Road straight to the middle of High Street: which way it took is a guess."""
    dense = line(*([(-400, -field)] if field else []), (-400, 0), *([(-400 + along, 0)] if along else []))
    sparse = np.array([lonlat(500, 1000), lonlat(600, 1000), *(lonlat(700, 1000), lonlat(800, 1000))])
    points = np.concatenate((dense.points if field or along else dense.points[:1], sparse))
    over = Line(points=points, parts=np.zeros(1, np.int64), source="test")
    found = inspect(two_ways({"maxheight": "15'"}), over)
    before = sum(u.length_m for u in found.unchecked[:-1])
    guess = found.unchecked[-1]
    assert len(found.unchecked) == (2 if field else 1)
    assert "the likeliest way leaves it" in guess.reason
    assert guess.distance_m == pytest.approx(before + along, abs=0.5 if not field else 60)
    assert found.verdict is Verdict.CARE
    assert found.distance_m == pytest.approx(before + 400 + 1000 + 800, abs=60)


def test_the_ends_of_a_line_open_private_roads_for_a_way_round() -> None:
    """Out of a private estate or into it: another private street of it is the only way round."""
    inside = (1030.0, 40.0), IN_ESTATE
    into = line((-400, 0), (0, 0), (1000, 0), *inside)
    out = line(*inside[::-1], (1000, 0), (0, 0), (-400, 0))
    for over in (into, out):
        low = estate_town({"maxheight": "12'"})
        found = inspect(low, over)
        (finding,) = found.findings
        assert finding.turn_off is not None
        assert finding.turn_off.leads_on
        assert finding.turn_off.onto == ("High Street" if over is into else "Estate Row")
        mended = inspect(low, over, mend=True)
        assert mended.verdict is Verdict.CLEAR
        assert {"Estate Row", "High Street"} <= {p.road for p in mended.pieces}
        assert mended.obstacles == ()
        assert "another way" in mended.notes[0]


def test_where_nothing_leads_on_a_line_is_told_the_way_back_to_its_start() -> None:
    """A blind street under a low railway behind a ring that leads home."""
    town = Town().node(1, -500, 0).node(2, 0, 0).node(3, 500, 0).node(5, 0, 500).node(4, -500, 500)
    town.node(6, 300, -50).node(7, 300, 50)
    town.way(10, [1, 2], {"highway": "residential", "name": "Ring South"})
    town.way(11, [2, 3], {"highway": "residential", "name": "Blind Street", "maxheight": "12'"})
    town.way(12, [2, 5, 4, 1], {"highway": "residential", "name": "Ring North"})
    town.way(20, [6, 7], {"railway": "rail", "bridge": "yes", "layer": "1"})
    found = inspect(network_of(town.extract()), line((-400, 0), (450, 0)))
    turn = found.findings[0].turn_off
    assert turn is not None
    assert (turn.onto, turn.leads_on, turn.extra_s) == ("Ring North", False, 0.0)


def test_before_a_block_that_a_line_goes_round_one_may_go_straight_on() -> None:
    """Round a block under a low railway and on by East Road, which begins where the block does."""
    town = Town()
    for ref, (x, y) in {
        1: (-500, 0), 2: (0, 0), 3: (500, 0), 4: (0, 400), 5: (400, 400), 7: (200, 350), 8: (200, 450),
    }.items():  # fmt: skip
        town.node(ref, x, y)
    town.way(10, [1, 2], {"highway": "residential", "name": "West Road"})
    town.way(11, [2, 3], {"highway": "residential", "name": "East Road"})
    town.way(12, [2, 4, 5, 2], {"highway": "residential", "name": "Block", "maxheight": "12'"})
    town.way(20, [7, 8], {"railway": "rail", "bridge": "yes", "layer": "1"})
    over = line((-400, 0), (0, 0), (0, 400), (400, 400), (0, 0), (400, 0))
    network = network_of(town.extract())
    found = inspect(network, over)
    (finding,) = found.findings
    assert finding.turn_off is not None
    assert (finding.turn_off.road, finding.turn_off.onto) == ("West Road", "East Road")
    assert (finding.turn_off.leads_on, finding.turn_off.extra_s) == (True, 0.0)
    mended = inspect(network, over, mend=True)
    assert [p.road for p in mended.pieces] == ["West Road", "East Road"]
    assert mended.verdict is Verdict.CLEAR


def test_a_line_in_two_sections_tells_the_gap_and_what_follows_in_order() -> None:
    """The second section lies in a field of its own; the gap to it counts as the line does."""
    first, second = line((-400, 0), (1400, 0)), line((1400, -2000), (1400, -2500))
    both = Line(
        points=np.concatenate((first.points, second.points)),
        parts=np.array([0, len(first.points)]),
        source="test",
    )
    found = inspect(two_ways({"maxheight": "15'"}), both)
    gap, rest = found.unchecked
    assert gap.distance_m == pytest.approx(1800, abs=10)
    assert gap.length_m == pytest.approx(2000, abs=5)
    assert rest.distance_m == pytest.approx(gap.distance_m + gap.length_m)
    assert found.distance_m == pytest.approx(rest.distance_m + rest.length_m)
    assert rest.length_m == pytest.approx(500, abs=5)

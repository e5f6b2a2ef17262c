"""Lines made elsewhere: findings as they are, unchecked parts, and mending of what is too low alone."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from clearance.assess.inspect import inspect_line
from clearance.core.coach import Coach
from clearance.core.drive import Drive, Unverified, Verdict
from clearance.core.lengths import Length
from clearance.core.line import Line
from clearance.core.structure import Standing
from clearance.network.network import Network
from tests.assess.towns import COACH, two_ways
from tests.towns import lonlat


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


STRAIGHT = line((-400, 0), (1400, 0))


def test_a_line_under_a_low_bridge_is_found_and_left_as_it_is() -> None:
    found = inspect(two_ways({"maxheight": "12'6\""}), STRAIGHT)
    assert found.verdict is Verdict.BLOCKED
    assert [p.road for p in found.pieces] == ["West Road", "Low Street", "East Road"]
    (finding,) = found.findings
    assert (finding.standing, finding.clearance) == (Standing.TOO_LOW, Length.from_feet(12, 6))
    assert finding.distance_m == pytest.approx(900, abs=15)
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
    assert any("no way round" in note for note in found.notes)


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

"""The drive of a car beside the coach's: over several legs, and what of it is told."""

from __future__ import annotations

import pytest

from clearance.assess.beside import CarBeside
from clearance.assess.case import Case
from clearance.assess.day import plan_day
from clearance.core.drive import CarDrive, Drive, Unverified, Verdict
from clearance.core.structure import Standing
from clearance.network.network import Network
from clearance.routing.snap import Snap, snap
from clearance.workflow import network_of
from tests.assess.towns import COACH, END, START, halt, two_ways
from tests.towns import Town, lonlat

KMH_30 = 30 / 3.6


def drive(network: Network, *stops: tuple[float, float], unverified: Unverified = Unverified.AVOID) -> Drive:
    return plan_day(network, COACH, [halt(*stop) for stop in stops], unverified=unverified)


def car_of(found: Drive) -> CarDrive:
    assert found.car is not None
    return found.car


def test_what_a_car_passes_is_told_from_the_start_of_the_day() -> None:
    """Two stops before the low street, and one behind it."""
    car = car_of(drive(two_ways({"maxheight": "12'"}), START, (-200, 0), (-100, 0), END))
    (low,) = car.differences
    assert (low.number, low.standing) == (1, Standing.TOO_LOW)
    assert low.distance_m == pytest.approx(900, rel=1e-3)
    assert low.seconds == pytest.approx(900 / KMH_30, rel=1e-3)
    assert car.distance_m == pytest.approx(1800, rel=1e-3)
    assert car.duration_s == pytest.approx(1800 / KMH_30, rel=1e-3)
    east = [lon for lon, _ in car.points]
    assert east == sorted(east)
    assert car.points[0] == pytest.approx(lonlat(*START), abs=1e-6)
    assert car.points[-1] == pytest.approx(lonlat(*END), abs=1e-6)


def test_what_the_coach_avoids_is_a_difference_and_what_it_passes_is_none() -> None:
    avoided = car_of(drive(two_ways(), START, END))
    assert [f.standing for f in avoided.differences] == [Standing.UNVERIFIED]
    assert car_of(drive(two_ways(), START, END, unverified=Unverified.ACCEPT)).differences == ()
    tight = two_ways({"maxheight": "13'8\""}, {"highway": "residential", "maxspeed": "5"})
    assert car_of(drive(tight, START, END)).differences == ()


def test_what_is_high_enough_is_no_difference() -> None:
    """The car passes a bridge of 16' and one of 12' that the coach goes round; each street once."""
    town = Town()
    for ref, (x, y) in {
        1: (-500, 0), 2: (0, 0), 3: (500, 0), 4: (1000, 0), 5: (1500, 0), 6: (0, 1000), 7: (1000, 1000),
        11: (250, -50), 12: (250, 50), 13: (750, -50), 14: (750, 50),
    }.items():  # fmt: skip
        town.node(ref, x, y)
    town.way(10, [1, 2]).way(12, [2, 6, 7, 4]).way(13, [4, 5])
    town.way(14, [2, 3], {"highway": "residential", "maxheight": "16'"})
    town.way(15, [3, 4], {"highway": "residential", "maxheight": "12'"})
    for ref, nodes in ((20, [11, 12]), (21, [13, 14])):
        town.way(ref, nodes, {"railway": "rail", "bridge": "yes", "layer": "1", "name": f"Line {ref}"})
    car = car_of(drive(network_of(town.extract()), START, END))
    assert [(f.number, f.structure.name) for f in car.differences] == [(1, "Line 21")]


def test_where_a_car_may_not_drive_there_is_none_beside() -> None:
    town = Town()
    for ref, x in enumerate((-500, 0, 500, 1000), start=1):
        town.node(ref, x, 0)
    town.way(10, [1, 2]).way(12, [3, 4])
    town.way(11, [2, 3], {"highway": "residential", "motorcar": "no", "motorhome": "yes"})
    network = network_of(town.extract())
    for stops in (((-400, 0), (900, 0)), ((-400, 0), (-100, 0), (900, 0)), ((-400, 0), (900, 0), (950, 0))):
        found = drive(network, *stops)
        assert found.verdict is Verdict.CLEAR
        assert found.car is None


def test_the_drives_of_a_car_outlast_what_its_arcs_cost() -> None:
    """Looked for once, whatever is given up in between."""
    network = two_ways()
    case = Case.of(network, COACH, Unverified.AVOID, None)

    def at(x: float) -> list[Snap]:
        return snap(network, *lonlat(x, 0), case.costs.usable)

    beside = CarBeside(case)
    assert beside.reaches(at(-400), at(1400))
    first = beside.drive([at(-400), at(1400)], set())
    beside.forget_costs()
    assert beside.drive([at(-400), at(1400)], set()) == first
    # Places on one arc are two places.
    near = beside.drive([at(-300), at(1400)], set())
    assert first is not None
    assert near is not None
    assert near.distance_m == pytest.approx(first.distance_m - 100, rel=1e-3)

"""Trade-offs as whole drives: their counts are those of their own findings."""

from __future__ import annotations

from datetime import datetime

import pytest

from clearance.assess.day import plan_day
from clearance.assess.tradeoffs import plan_trade_offs
from clearance.core.drive import InOutAnswer, Unverified, Verdict
from clearance.core.errors import NoWayError
from clearance.core.lengths import Length
from clearance.core.structure import Standing
from clearance.network.network import Network
from clearance.workflow import network_of
from tests.assess.towns import COACH, END, START, halt, two_ways
from tests.towns import Town


def three_ways() -> Network:
    """From west to east 1,000 m under two railways, 1,600 m under one, 3,000 m under none."""
    town = Town()
    for ref, (x, y) in {
        1: (-500, 0), 2: (0, 0), 3: (1000, 0), 4: (1500, 0),
        5: (0, 300), 6: (1000, 300), 7: (0, -1000), 8: (1000, -1000),
        11: (200, -50), 12: (200, 50), 13: (800, -50), 14: (800, 400),
    }.items():  # fmt: skip
        town.node(ref, x, y)
    street = {"highway": "residential"}
    town.way(10, [1, 2], street).way(13, [3, 4], street)
    town.way(11, [2, 3], street | {"name": "Short Street"})
    town.way(12, [2, 5, 6, 3], street | {"name": "North Street"})
    town.way(14, [2, 7, 8, 3], street | {"name": "South Street"})
    town.way(20, [11, 12], {"railway": "rail", "bridge": "yes", "layer": "1"})
    town.way(21, [13, 14], {"railway": "rail", "bridge": "yes", "layer": "1"})
    return network_of(town.extract())


def test_each_is_the_quickest_past_so_few() -> None:
    found = plan_trade_offs(three_ways(), COACH, halt(*START), halt(*END))
    assert [c.unverified for c in found.choices] == [0, 1, 2]
    roads = [next(p.road for p in c.drive.pieces if p.road) for c in found.choices]
    assert roads == ["South Street", "North Street", "Short Street"]
    seconds = [c.drive.duration_s for c in found.choices]
    assert seconds == sorted(seconds, reverse=True)
    for choice in found.choices:
        told = sum(f.standing is Standing.UNVERIFIED for f in choice.drive.findings)
        assert told == choice.unverified
        assert choice.drive.policy_seconds == 0
        assert choice.drive.stops[-1].in_out is not None
    assert found.blocked is None
    assert [d and d.duration_s for d in map(found.at_most, (0, 1, 2, 9))] == [*seconds, seconds[-1]]


def test_the_ends_are_the_drives_that_refuse_and_accept_what_is_unknown() -> None:
    town = three_ways()
    found = plan_trade_offs(town, COACH, halt(*START), halt(*END))
    for choice, policy in ((found.choices[0], Unverified.REFUSE), (found.choices[-1], Unverified.ACCEPT)):
        plain = plan_day(town, COACH, [halt(*START), halt(*END)], unverified=policy)
        assert choice.drive.duration_s == pytest.approx(plain.duration_s)
        assert [p.ways for p in choice.drive.pieces] == [p.ways for p in plain.pieces]
        assert [s.distance_m for s in choice.drive.stops] == [s.distance_m for s in plain.stops]
        assert [s.in_out and s.in_out.answer for s in choice.drive.stops] == [None, InOutAnswer.NEEDS_ROOM]
        assert choice.drive.findings == plain.findings
        assert choice.drive.car == plain.car
    assert found.places == (halt(*START).place, halt(*END).place)
    assert (found.coach, found.info, found.departure) == (COACH, town.info, None)


def test_what_is_too_low_is_on_none() -> None:
    town = two_ways(direct={"maxheight": "3.5"})
    (only,) = plan_trade_offs(town, COACH, halt(*START), halt(*END)).choices
    assert (only.unverified, only.drive.verdict) == (0, Verdict.CLEAR)
    assert "High Street" in [p.road for p in only.drive.pieces]


def test_where_no_drive_fits_it_is_told_why() -> None:
    town = two_ways(direct={"maxheight": "3.5"}, detour={"motor_vehicle": "no"})
    found = plan_trade_offs(town, COACH, halt(*START), halt(*END))
    assert found.choices == ()
    assert found.at_most(9) is None
    assert found.blocked is not None
    assert found.blocked.verdict is Verdict.BLOCKED
    assert [f.standing for f in found.blocked.in_the_way] == [Standing.TOO_LOW]


def test_conditions_are_judged_at_the_time_of_the_drive() -> None:
    closed = {"motor_vehicle:conditional": "no @ (08:00-10:00)"}
    town = two_ways(detour=closed)
    counts = {
        hour: [
            c.unverified
            for c in plan_trade_offs(
                town, COACH, halt(*START), halt(*END), departure=datetime(2027, 7, 5, hour)
            ).choices
        ]
        for hour in (8, 12)
    }
    assert counts == {8: [1], 12: [0, 1]}


def test_no_way_at_all_is_an_error() -> None:
    town = two_ways(direct={"motor_vehicle": "no"}, detour={"motor_vehicle": "no"})
    with pytest.raises(NoWayError):
        plan_trade_offs(town, COACH, halt(*START), halt(*END))


def test_a_stop_that_can_be_left_forward_is_told_so() -> None:
    """The street goes on in a ring behind the end, as it does not in the other towns."""
    town = Town()
    for ref, (x, y) in {
        1: (-500, 0), 2: (0, 0), 3: (1000, 0), 4: (1500, 0), 5: (0, 300), 6: (1000, 300), 7: (1500, 300),
        8: (-500, 300), 11: (500, -50), 12: (500, 50),
    }.items():  # fmt: skip
        town.node(ref, x, y)
    town.way(10, [1, 2]).way(11, [2, 3]).way(12, [2, 5, 6, 3]).way(13, [3, 4, 7, 6]).way(14, [5, 8, 1])
    town.way(20, [11, 12], {"railway": "rail", "bridge": "yes", "layer": "1"})
    found = plan_trade_offs(network_of(town.extract()), COACH, halt(*START), halt(*END))
    assert len(found.choices) == 2
    for choice in found.choices:
        _, stop = choice.drive.stops
        assert stop.in_out is not None
        assert stop.in_out.answer is InOutAnswer.DRIVES_THROUGH


def slow_round(when: str) -> Network:
    """1,000 m under a railway; or 13 km at 5 km/h by a street that is closed at some time."""
    town = Town()
    for ref, (x, y) in {
        1: (-500, 0), 2: (0, 0), 3: (1000, 0), 4: (1500, 0), 5: (0, 6000), 6: (1000, 6000),
        11: (500, -50), 12: (500, 50),
    }.items():  # fmt: skip
        town.node(ref, x, y)
    slow = {"highway": "residential", "maxspeed": "5", "motor_vehicle:conditional": f"no @ ({when})"}
    town.way(10, [1, 2]).way(11, [2, 3]).way(12, [2, 5, 6, 3], slow).way(13, [3, 4])
    town.way(20, [11, 12], {"railway": "rail", "bridge": "yes", "layer": "1"})
    return network_of(town.extract())


@pytest.mark.parametrize(("when", "counts"), [("10:20-11:00", [1]), ("14:00-15:00", [0, 1])])
def test_conditions_are_judged_for_twice_the_longest_of_the_drives(when: str, counts: list[int]) -> None:
    """The way round takes 2.7 hours from eight: what holds up to 13:20 counts, and nothing after that."""
    departure = datetime(2027, 7, 5, 8)
    found = plan_trade_offs(slow_round(when), COACH, halt(*START), halt(*END), departure=departure)
    assert [c.unverified for c in found.choices] == counts
    assert found.departure == departure
    assert found.choices[-1].drive.departure == departure


def test_why_no_drive_fits_is_told_for_the_time_of_the_drive() -> None:
    town = two_ways(
        direct={"maxheight": "5", "maxheight:conditional": "3.5 @ (08:00-10:00)"},
        detour={"motor_vehicle": "no"},
    )
    found = plan_trade_offs(town, COACH, halt(*START), halt(*END), departure=datetime(2027, 7, 5, 9))
    assert found.blocked is not None
    assert found.blocked.gets_through == Length.from_metres("3.5")
    assert found.blocked.departure == found.departure
    late = plan_trade_offs(town, COACH, halt(*START), halt(*END), departure=datetime(2027, 7, 5, 12))
    assert (len(late.choices), late.blocked) == (1, None)


def test_what_is_said_of_the_places_is_said_once() -> None:
    """The end lies beside a yard that nothing joins to the town."""
    town = Town()
    for ref, (x, y) in {
        1: (-500, 0), 2: (0, 0), 3: (1000, 0), 4: (1500, 0), 5: (0, 300), 6: (1000, 300),
        11: (500, -50), 12: (500, 50), 13: (1350, 60), 14: (1450, 60),
    }.items():  # fmt: skip
        town.node(ref, x, y)
    town.way(10, [1, 2]).way(11, [2, 3]).way(12, [2, 5, 6, 3]).way(13, [3, 4]).way(14, [13, 14])
    town.way(20, [11, 12], {"railway": "rail", "bridge": "yes", "layer": "1"})
    found = plan_trade_offs(network_of(town.extract()), COACH, halt(*START), halt(1400, 55, name="Yard"))
    assert [c.unverified for c in found.choices] == [0, 1]
    (note,) = found.notes
    assert note.startswith("Yard: the nearest road is cut off")

"""Turning round at stops: when it is done, what it counts, and how it is told."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise, product

import pytest

from clearance.assess.case import Case
from clearance.assess.day import plan_day
from clearance.assess.legs import NoLegError, plan_legs
from clearance.core.coach import Coach
from clearance.core.drive import Drive, InOutAnswer, Unverified
from clearance.network.network import Network
from clearance.routing.snap import Snap, snap
from clearance.workflow import network_of
from tests.assess.towns import COACH, halt
from tests.towns import Town, lonlat

TOWING = replace(COACH, towing=True)
REVERSIBLE = replace(COACH, towing=True, tow_reversible=True)
#: A stop on the ring, and one in each blind lane.
STOPS = {"ring": (500.0, 500.0), "east": (1200.0, 0.0), "west": (-200.0, 500.0)}


@pytest.fixture(scope="module")
def ring() -> Network:
    """A ring of 1,000 m by 500 m with a blind lane at two of its corners."""
    town = Town()
    for ref, (x, y) in {
        1: (0, 0),
        2: (1000, 0),
        3: (1000, 500),
        4: (0, 500),
        5: (1300, 0),
        6: (-300, 500),
    }.items():
        town.node(ref, x, y)
    town.way(10, [1, 2, 3, 4, 1]).way(11, [2, 5]).way(12, [4, 6])
    return network_of(town.extract())


def day(network: Network, coach: Coach, *stops: tuple[float, float]) -> Drive:
    return plan_day(network, coach, [halt(*stop) for stop in stops], unverified=Unverified.AVOID)


@pytest.mark.parametrize(("coach", "seconds"), [(COACH, 1800), (TOWING, 7200), (REVERSIBLE, 1800)])
@pytest.mark.parametrize("names", [*product(STOPS, repeat=2), *product(STOPS, repeat=3)])
def test_each_dead_end_counts_once_and_is_told(
    ring: Network, coach: Coach, seconds: int, names: tuple[str, ...]
) -> None:
    if any(one == other for one, other in pairwise(names)):
        return
    found = day(ring, coach, (100, 0), *(STOPS[name] for name in names))
    told = [stop.in_out and stop.in_out.answer for stop in found.stops]
    assert told == [None] + [
        InOutAnswer.DRIVES_THROUGH if name == "ring" else InOutAnswer.NEEDS_ROOM for name in names
    ]
    assert found.policy_seconds == pytest.approx(seconds * sum(name != "ring" for name in names))
    assert [stop.in_out is not None and stop.in_out.serious for stop in found.stops[1:]] == [
        name != "ring" and coach is TOWING for name in names
    ]


@pytest.mark.parametrize(
    ("minutes", "coach", "turned"),
    [(29, COACH, False), (31, COACH, True), (31, TOWING, False), (119, TOWING, False), (121, TOWING, True)],
)
def test_who_would_go_far_round_turns_instead(minutes: float, coach: Coach, turned: bool) -> None:
    """Behind the stop the street goes on in a loop that takes so long; home, turning takes no way at all."""
    speed, length = 60, minutes * 1000.0
    town = Town()
    for ref, (x, y) in {
        1: (-500, 0), 2: (0, 0), 3: (500, 0), 4: (500, length / 2 - 500), 5: (0, length / 2 - 500),
        6: (-500, -500), 7: (-1000, -500), 8: (-1000, 0),
    }.items():  # fmt: skip
        town.node(ref, x, y)
    fast = {"highway": "residential", "maxspeed": str(speed)}
    town.way(10, [1, 2], fast).way(11, [2, 3, 4, 5, 2], fast).way(12, [1, 6, 7, 8, 1], fast)
    found = day(network_of(town.extract()), coach, (-250, 0), (250, 0), (-400, 0))
    middle = found.stops[1].in_out
    assert middle is not None
    assert (middle.answer is InOutAnswer.NEEDS_ROOM) is turned
    assert found.distance_m == pytest.approx(500 + (650 if turned else length + 150), rel=1e-2)
    counted = (7200 if coach is TOWING else 1800) if turned else 0
    assert found.policy_seconds == pytest.approx(counted)


def test_the_first_leg_that_has_no_drive_is_named() -> None:
    town = Town().node(1, 0, 0).node(2, 500, 0).node(3, 5000, 0).node(4, 5500, 0)
    town.way(10, [1, 2]).way(11, [3, 4])
    network = network_of(town.extract())
    case = Case.of(network, COACH, Unverified.AVOID, None)

    def at(x: float) -> list[Snap]:
        return snap(network, *lonlat(x, 0), case.costs.usable)

    for stops, leg in (((100, 300, 5100), 1), ((100, 5100, 300), 0), ((100, 200, 300, 5100), 2)):
        with pytest.raises(NoLegError, match=f"leg {leg}") as told:
            plan_legs(case, [at(x) for x in stops])
        assert told.value.leg == leg


def test_a_day_of_one_coach_says_which_way_it_leaves(ring: Network) -> None:
    """Whatever is said of stops, a drive leaves them by where it came to them or back along the same road."""
    case = Case.of(ring, COACH, Unverified.AVOID, None)
    for names in product(STOPS, repeat=3):
        places = [lonlat(*xy) for xy in ((100.0, 0.0), *(STOPS[name] for name in names))]
        legs = plan_legs(case, [snap(ring, *place, case.costs.usable) for place in places])
        assert len(legs.forward) == 4
        assert legs.forward[0]
        for k, (came, left) in enumerate(pairwise(legs.routes), start=1):
            assert (came.arcs[-1] == left.arcs[0]) is legs.forward[k]
            if not legs.forward[k]:
                assert ring.arc_reverse[came.arcs[-1]] == left.arcs[0]
        assert legs.turns_s == 1800.0 * legs.forward.count(False)

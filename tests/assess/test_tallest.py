"""The greatest height on every road against a search for each of them."""

from __future__ import annotations

import random
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from clearance.assess.case import Case
from clearance.assess.reach import Ground, Lifted
from clearance.assess.tallest import arc_heights, road_heights
from clearance.core.drive import Unverified
from clearance.core.errors import PlaceError
from clearance.core.places import Place
from clearance.core.screening import NO_WAY, UNLIMITED, Leg
from clearance.network.build import build_network
from clearance.network.network import NO_LIMIT, Network
from clearance.routing.mask import open_ends
from clearance.routing.plan import greatest_height
from clearance.routing.snap import Snap, snap
from clearance.workflow import network_of
from tests.assess.towns import COACH
from tests.routing.grid_towns import GridTown, grid_towns
from tests.routing.private_towns import PrivateTown, private_towns
from tests.towns import Town, lonlat

MANY = settings(max_examples=50, deadline=None, suppress_health_check=list(HealthCheck))


@MANY
@given(private_towns(), st.sampled_from(list(Leg)), st.booleans())
def test_every_arc_admits_what_a_search_for_it_finds(town: PrivateTown, leg: Leg, passable: bool) -> None:
    network = town.network()
    case = Case.of(network, COACH, Unverified.ACCEPT, None)
    free = case.lifting(frozenset({"height"})).costs
    try:
        home = snap(network, *town.grid.middle(town.grid.start), free.usable, limit_m=1.0)
    except PlaceError:
        return
    heights = arc_heights(Lifted(Ground(network), case).widths(frozenset(), passable=passable), leg, home)
    for arc in range(network.arc_tail.size):
        # Driven whole: to its far end from home, from its near end homeward.
        end = Snap(arc=arc, fraction=1.0 if leg is Leg.THERE else 0.0, distance_m=0.0, lon=0.0, lat=0.0)
        places = ([s.arc for s in home], [arc])
        if leg is Leg.THERE:
            opened = open_ends(network, free, *places)
            best = greatest_height(network, opened, home, [end], unverified_passable=passable)
        else:
            opened = open_ends(network, free, *places[::-1])
            best = greatest_height(network, opened, [end], home, unverified_passable=passable)
        if best.route is None:
            assert heights[arc] == NO_WAY
        else:
            assert heights[arc] == (NO_LIMIT if best.height is None else best.height.tenths)


@settings(MANY, max_examples=20)
@given(grid_towns(), st.sampled_from(list(Leg)))
def test_the_same_where_nothing_is_private(town: GridTown, leg: Leg) -> None:
    """Via ways make copies of arcs, which the answer for an arc is the best of."""
    network = build_network(town.town().extract(), town.structures())
    case = Case.of(network, COACH, Unverified.ACCEPT, None)
    free = case.lifting(frozenset({"height"})).costs
    home = snap(network, *town.middle(town.start), free.usable)
    heights = arc_heights(Lifted(Ground(network), case).widths(frozenset(), passable=True), leg, home)
    for arc in range(network.arc_tail.size):
        end = Snap(arc=arc, fraction=1.0 if leg is Leg.THERE else 0.0, distance_m=0.0, lon=0.0, lat=0.0)
        ends = (home, [end]) if leg is Leg.THERE else ([end], home)
        best = greatest_height(network, free, *ends, unverified_passable=True)
        if best.route is None:
            assert heights[arc] == NO_WAY
        else:
            assert heights[arc] == (NO_LIMIT if best.height is None else best.height.tenths)


def estates(seed: int) -> Network:
    """Long streets across a grid, many of them for residents only, always or at night; gates; low signs.

    A street crosses others, so that it lies in several zones; some corners are left out, so that there are
    islands; and a zone may touch another, or two parts that nothing else joins.
    """
    chance = random.Random(seed)
    wide, high = chance.choice([(5, 3), (4, 4), (7, 2)])
    town = Town()
    for x in range(wide):
        for y in range(high):
            gate = {"barrier": "gate", "access": chance.choice(["private", "private", "no"])}
            town.node(1 + x * high + y, 100 * x, 100 * y, gate if chance.random() < 0.12 else None)
    rows = [[1 + x * high + y for x in range(wide)] for y in range(high)]
    rows += [[1 + x * high + y for y in range(high)] for x in range(wide)]
    ref = chance.choice([10, 1000])
    for row in rows:
        cuts = sorted({0, len(row) - 1, *chance.sample(range(len(row)), chance.choice([0, 0, 1, 2]))})
        for first, last in pairwise(cuts):
            if chance.random() < 0.12:
                continue
            tags = {"highway": "residential", **chance.choice(RULES)}
            if chance.random() < 0.4:
                tags["maxheight"] = chance.choice(["3", "3.4", "3.8", "4.2"])
            if chance.random() < 0.15:
                tags["oneway"] = chance.choice(["yes", "-1"])
            if chance.random() < 0.1:
                tags["tunnel"] = "yes"
            town.way(ref, row[first : last + 1], tags)
            ref += 1
    return network_of(town.extract())


RULES: list[dict[str, str]] = [
    {},
    {},
    {"access": "private"},
    {"access": "private"},
    {"motor_vehicle": "destination"},
    {"motor_vehicle:conditional": "private @ (22:00-06:00)"},
    {"access": "private", "motor_vehicle:conditional": "no @ (22:00-06:00)"},
]


@pytest.mark.parametrize("seed", range(64))
def test_on_estates_every_arc_admits_what_a_search_for_it_finds(seed: int) -> None:
    network = estates(seed)
    case = Case.of(network, COACH, Unverified.ACCEPT, None)
    free = case.lifting(frozenset({"height"})).costs
    ground = Ground(network)
    usable = np.flatnonzero(free.usable).tolist()
    leg, passable = list(Leg)[seed % 2], seed % 4 < 2
    for arc in random.Random(seed).sample(usable, min(2, len(usable))):
        home = [Snap(arc=arc, fraction=0.4, distance_m=0.0, lon=0.0, lat=0.0)]
        heights = arc_heights(Lifted(ground, case).widths(frozenset(), passable=passable), leg, home)
        for other in range(network.arc_tail.size):
            fraction = 1.0 if leg is Leg.THERE else 0.0
            end = [Snap(arc=other, fraction=fraction, distance_m=0.0, lon=0.0, lat=0.0)]
            start, goal = (home, end) if leg is Leg.THERE else (end, home)
            opened = open_ends(network, free, *([s.arc for s in snaps] for snaps in (start, goal)))
            best = greatest_height(network, opened, start, goal, unverified_passable=passable)
            if best.route is None:
                assert heights[other] == NO_WAY, (arc, other)
            else:
                assert heights[other] == (NO_LIMIT if best.height is None else best.height.tenths), (
                    arc,
                    other,
                )


def test_stretches_of_road_that_admit_the_same_are_one() -> None:
    """Low Street has a side street in its middle; West Road and East Road are free, High Street is low."""
    town = Town()
    for ref, (x, y) in {1: (-500, 0), 2: (0, 0), 3: (500, 0), 4: (1000, 0), 5: (1500, 0), 6: (500, -300),
                        7: (0, 1000), 8: (1000, 1000), 9: (750, -20), 10: (750, 20)}.items():  # fmt: skip
        town.node(ref, x, y)
    town.way(10, [1, 2], {"highway": "residential", "name": "West Road"})
    town.way(11, [2, 3, 4], {"highway": "secondary", "name": "Low Street", "maxheight": "4"})
    town.way(12, [2, 7, 8, 4], {"highway": "residential", "ref": "R 7", "maxheight": "3.5"})
    town.way(13, [4, 5], {"highway": "residential"})
    town.way(14, [3, 6], {"highway": "residential", "name": "Side Street"})
    home = Place(lon=lonlat(-400, 0)[0], lat=lonlat(-400, 0)[1])
    found = road_heights(network_of(town.extract()), COACH, home)
    assert found.way.tolist() == [10, 11, 12, 13, 14]
    assert found.road == ("West Road", "Low Street", "R 7", "", "Side Street")
    assert found.highway == ("residential", "secondary", "residential", "residential", "residential")
    assert found.tallest.tolist() == [UNLIMITED, 40_000, 35_000, 40_000, 40_000]
    assert found.verified.tolist() == found.tallest.tolist()
    assert np.diff(found.ptr).tolist() == [2, 3, 4, 2, 2]
    assert found.lon.size == found.lat.size == int(found.ptr[-1])
    low = slice(int(found.ptr[1]), int(found.ptr[2]))
    places = [lonlat(x, 0) for x in (0, 500, 1000)]
    assert list(zip(found.lon[low].tolist(), found.lat[low].tolist(), strict=True)) == places


def test_a_street_in_two_parts_of_other_heights_is_two_stretches() -> None:
    town = Town()
    for ref, x in ((1, -500), (2, 0), (3, 500), (4, 1000), (5, 500)):
        town.node(ref, x, -300 if ref == 5 else 0)
    town.node(3, 500, 0, {"barrier": "height_restrictor", "maxheight": "4"})
    town.way(10, [1, 2, 3, 4], {"highway": "residential", "name": "Long Street"})
    town.way(11, [2, 5], {"highway": "residential"})
    home = Place(lon=lonlat(-400, 0)[0], lat=lonlat(-400, 0)[1])
    found = road_heights(network_of(town.extract()), COACH, home)
    assert list(zip(found.way.tolist(), found.tallest.tolist(), strict=True)) == [
        (10, UNLIMITED),
        (10, 40_000),
        (11, UNLIMITED),
    ]
    assert np.diff(found.ptr).tolist() == [3, 2, 2]


def heights(network: Network, x: float, y: float, ground: Ground | None = None) -> dict[str, tuple[int, int]]:
    """The greatest clearance by the name of the road, unverified structures passable and closed."""
    lon, lat = lonlat(x, y)
    found = road_heights(network, COACH, Place(lon=lon, lat=lat), ground)
    assert len(set(found.road)) == len(found.road)
    told = zip(found.tallest.tolist(), found.verified.tolist(), strict=True)
    return dict(zip(found.road, told, strict=True))


def row_of(*tags: dict[str, str], spur: bool = False) -> Network:
    """A street of ways of 400 m, one for each set of tags, called Part 0 and so on; home is on the first."""
    town = Town()
    for n in range(len(tags) + 1):
        town.node(1 + n, 400 * n, 0)
    for n, own in enumerate(tags):
        town.way(10 + n, [1 + n, 2 + n], {"highway": "residential", "name": f"Part {n}"} | own)
    if spur:
        town.node(99, 0, 300).way(99, [1, 99], {"highway": "residential", "name": "Spur"})
    return network_of(town.extract())


def test_what_is_unverified_is_passable_or_closed() -> None:
    network = row_of({}, {"tunnel": "yes"}, {}, {"maxheight": "4"}, {})
    assert heights(network, 100, 0) == {
        "Part 0": (UNLIMITED, UNLIMITED),
        "Part 1": (UNLIMITED, NO_WAY),
        "Part 2": (UNLIMITED, NO_WAY),
        "Part 3": (40_000, NO_WAY),
        "Part 4": (40_000, NO_WAY),
    }
    assert heights(network, 100, 0, Ground(network)) == heights(network, 100, 0)


def test_the_lower_of_there_and_back_counts() -> None:
    """Each part is of another height by direction; what is behind it is come to and left again."""
    network = row_of(
        {},
        {"maxheight:forward": "4", "maxheight:backward": "4.5"},
        {},
        {"maxheight:backward": "3.5", "maxheight:forward": "5"},
        {},
    )
    found = heights(network, 100, 0)
    assert found["Part 0"] == (UNLIMITED, UNLIMITED)
    # Driven there along it at 4 m and back again against it; either way a part is driven in the better one.
    assert found["Part 2"] == (40_000, 40_000)
    assert found["Part 4"] == (35_000, 35_000)
    oneway = row_of({}, {}, {"oneway": "yes"}, {}, spur=True)
    assert {name for name, told in heights(oneway, 100, 0).items() if told[0] == NO_WAY} == {
        "Part 2",
        "Part 3",
    }


@pytest.mark.parametrize(("x", "whole"), [(100, 40_000), (300, 40_000)])
def test_the_road_of_home_admits_what_comes_from_home_to_both_its_ends(x: float, whole: int) -> None:
    """A railway of 4 m in the middle of it; what lies on either side of it hangs on which side home is."""
    town = Town().node(1, 0, 0).node(2, 400, 0).node(3, 800, 0).node(4, -400, 0)
    town.node(5, 200, -50).node(6, 200, 50).way(
        20, [5, 6], {"railway": "rail", "bridge": "yes", "layer": "1"}
    )
    town.way(10, [1, 2], {"highway": "residential", "name": "Middle", "maxheight": "4"})
    town.way(11, [2, 3], {"highway": "residential", "name": "East"})
    town.way(12, [4, 1], {"highway": "residential", "name": "West"})
    network = network_of(town.extract())
    found = heights(network, x, 0)
    assert found["Middle"] == (whole, whole)
    assert min(found["East"][0], found["West"][0]) == 40_000
    assert {found["East"][0], found["West"][0]} <= {40_000, UNLIMITED}


@pytest.mark.parametrize("private", [False, True])
@pytest.mark.parametrize("height", ["", "4"])
def test_a_road_under_a_restriction_over_several_ways_is_come_to(private: bool, height: str) -> None:
    """From West Road over Mid Road there is no way onto North Road.

    Mid Road is then come to in no other way than from West Road, which the search has to remember.
    """
    town = Town()
    for ref, (x, y) in {
        1: (-500, 0),
        2: (0, 0),
        3: (400, 0),
        4: (800, 0),
        5: (400, 300),
        6: (0, -300),
    }.items():
        town.node(ref, x, y)
    tags = {"highway": "residential"}
    town.way(10, [1, 2], tags | {"name": "West Road"}).way(11, [2, 3], tags | {"name": "Mid Road"})
    town.way(12, [3, 4], tags | {"name": "East Road"} | ({"maxheight": height} if height else {}))
    town.way(13, [3, 5], tags | {"name": "North Road"})
    town.way(14, [2, 6], tags | {"name": "South Road"} | ({"access": "private"} if private else {}))
    town.relation(
        30, [("w", 10, "from"), ("w", 11, "via"), ("w", 13, "to")],
        {"type": "restriction", "restriction": "no_left_turn"},
    )  # fmt: skip
    network = network_of(town.extract())
    assert network.state_arc.size > network.arc_tail.size
    east = int(float(height) * 10_000) if height else UNLIMITED
    found = {name: told for name, (told, _) in heights(network, -400, 0).items()}
    # From South Road one may turn onto North Road, but no way leads there from home.
    assert found == {
        "West Road": UNLIMITED,
        "Mid Road": UNLIMITED,
        "East Road": east,
        "North Road": NO_WAY,
        "South Road": UNLIMITED,
    }


@pytest.mark.parametrize("gates", [(3,), (4,), (3, 4), (2, 5)])
def test_what_lies_behind_a_private_gate_is_come_to_though_no_road_is_private(gates: tuple[int, ...]) -> None:
    town = Town()
    for n in range(6):
        gate = {"barrier": "gate", "access": "private"} if n + 1 in gates else None
        town.node(1 + n, 400 * n, 0, gate)
    for n in range(5):
        own = {"maxheight": "4"} if n == 3 else {}
        town.way(10 + n, [1 + n, 2 + n], {"highway": "residential", "name": f"Part {n}"} | own)
    found = heights(network_of(town.extract()), 100, 0)
    assert [found[f"Part {n}"][0] for n in range(5)] == [UNLIMITED] * 3 + [40_000] * 2


def test_roads_that_are_private_at_some_hours_are_come_to_and_not_driven_through() -> None:
    """No road is private for good, but conditions are assumed to hold."""
    night = {"motor_vehicle:conditional": "private @ (22:00-06:00)"}
    found = heights(row_of({}, night, {}, night | {"maxheight": "4"}), 100, 0)
    assert [found[f"Part {n}"][0] for n in range(4)] == [UNLIMITED, UNLIMITED, NO_WAY, NO_WAY]

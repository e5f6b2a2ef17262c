"""What hangs on a structure, against planning every drive anew with the structure known to be high enough."""

from __future__ import annotations

import random
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from clearance.assess.beside import CarBeside
from clearance.assess.case import Case
from clearance.assess.meeting import meet, on_road
from clearance.assess.scouting import scout
from clearance.core.drive import Unverified
from clearance.core.errors import PlaceError
from clearance.core.lengths import Length
from clearance.core.places import Place
from clearance.core.scouting import Scouted, Scouting
from clearance.core.screening import Destination
from clearance.core.structure import Evidence, EvidenceClass
from clearance.network.network import Network
from clearance.network.overlay import overlaid
from clearance.routing.fan_lift import LiftFan
from clearance.routing.mask import coach_costs, open_ends
from clearance.routing.plan import find_drive
from clearance.routing.snap import Snap
from clearance.routing.tradeoffs import driving_time
from clearance.workflow import network_of
from tests.assess.towns import COACH
from tests.towns import Town, lonlat

SIZE = 4
HIGH = Evidence(evidence_class=EvidenceClass.POSTED, figure=Length.from_metres("9"))


def grid_town(seed: int) -> Network:
    """A grid with one-ways, private streets, gates; bridges, tunnels and height bars of unknown height."""
    chance = random.Random(seed)
    # Some towns are full of obstacles, in others one may choose one's way.
    full = chance.choice([0.1, 0.35, 1.0])
    town = Town()
    for x in range(SIZE):
        for y in range(SIZE):
            town.node(1 + x * SIZE + y, 100 * x, 100 * y)
    ref = 100
    for x in range(SIZE):
        for y in range(SIZE):
            for dx, dy in ((1, 0), (0, 1)):
                if x + dx >= SIZE or y + dy >= SIZE or chance.random() < 0.1 * full:
                    continue
                ref += 1
                tags = {"highway": "residential", "maxspeed": str(chance.choice([20, 30, 50]))}
                if chance.random() < 0.12 * full:
                    tags["oneway"] = chance.choice(["yes", "-1"])
                if chance.random() < 0.2 * full:
                    tags["motor_vehicle"] = "private"
                if chance.random() < 0.12 * full:
                    tags["tunnel"] = "yes"
                middle = 1000 + ref
                town.node(middle, 100 * x + 45 * dx, 100 * y + 45 * dy, _at_middle(chance, full))
                town.way(ref, [1 + x * SIZE + y, middle, 1 + (x + dx) * SIZE + y + dy], tags)
                if chance.random() < 0.35 * full:
                    at = chance.choice([20, 75])
                    a, b = 3000 + 2 * ref, 3001 + 2 * ref
                    town.node(a, 100 * x + at * dx - 10 * dy, 100 * y + at * dy - 10 * dx)
                    town.node(b, 100 * x + at * dx + 10 * dy, 100 * y + at * dy + 10 * dx)
                    town.way(9000 + ref, [a, b], {"railway": "rail", "bridge": "yes", "layer": "1"})
    return network_of(town.extract())


def _at_middle(chance: random.Random, full: float) -> dict[str, str] | None:
    draw = chance.random() / full
    if draw < 0.08:
        return {"barrier": "height_restrictor"}
    if draw < 0.16:
        return {"barrier": "gate", "access": "private"}
    return {"barrier": "height_restrictor", "maxheight": "3"} if draw < 0.19 else None


def ends_of(network: Network, home: Place, place: Place) -> tuple[list[Snap], list[Snap], list[Snap]]:
    """Where home, place and home meet the roads."""
    case = Case.of(network, COACH, Unverified.AVOID, None)
    places = [home, place, home]
    met = meet(
        case,
        [on_road(case, p, case.costs.usable) for p in places],
        places,
        reaches=CarBeside(case).reaches,
    )
    begin, goals, end = met.snaps
    return begin, goals, end


def seconds(network: Network, start: list[Snap], end: list[Snap]) -> float:
    """The quickest drive past nothing unverified or too low, planned by itself."""
    costs = coach_costs(network, COACH, Unverified.REFUSE, None)
    opened = open_ends(network, costs, [s.arc for s in start], [s.arc for s in end])
    route = find_drive(network, driving_time(network, opened), start, end)
    return np.inf if route is None else route.seconds


def there_and_back(network: Network, ends: list[tuple[list[Snap], list[Snap], list[Snap]]]) -> list[float]:
    return [seconds(network, begin, goals) + seconds(network, goals, end) for begin, goals, end in ends]


def saved_by(network: Network, home: Place, places: list[Destination], name: str) -> list[float]:
    """What each destination is come to and left sooner with one structure known, each planned anew."""
    (k,) = (k for k, s in enumerate(network.structures) if s.name == name)
    structure = network.structures[k]
    known = overlaid(network, {k: replace(structure, evidence=(*structure.evidence, HIGH))})
    ends = [ends_of(network, home, d.place) for d in places]
    return [a - b for a, b in zip(there_and_back(network, ends), there_and_back(known, ends), strict=True)]


def effects(item: Scouted) -> tuple[set[int], dict[int, float]]:
    return set(item.opens), dict(item.saves)


@pytest.mark.parametrize("first", range(0, 120, 20))
def test_against_planning_every_drive_anew(first: int) -> None:
    opened = saved = 0
    for seed in range(first, first + 20):
        network = grid_town(seed)
        chance = random.Random(seed)
        spots = [(chance.uniform(0, 300), chance.uniform(0, 300)) for _ in range(9)]
        home, *places = [Place(lon=lon, lat=lat) for lon, lat in (lonlat(*spot) for spot in spots)]
        found = scout(network, COACH, home, [Destination(place=p) for p in places])
        items = {item.structure.key: item for item in found.items}
        ends = [ends_of(network, home, place) for place in places]
        before = there_and_back(network, ends)
        screened = {*found.open_now, *found.shut, *found.blocked}
        assert set(found.open_now) == {n for n in screened if before[n - 1] < np.inf}
        for k, structure in enumerate(network.structures):
            known = overlaid(network, {k: replace(structure, evidence=(*structure.evidence, HIGH))})
            after = there_and_back(known, ends)
            opens = {n for n in screened if before[n - 1] == np.inf and after[n - 1] < np.inf}
            saves = {
                n: before[n - 1] - after[n - 1]
                for n in screened
                if after[n - 1] < before[n - 1] - 0.01 and before[n - 1] < np.inf
            }
            item = items.get(structure.key)
            got = effects(item) if item else (set(), {})
            assert got[0] == opens, (seed, structure.key)
            assert got[1] == pytest.approx(saves, abs=1e-6), (seed, structure.key)
            opened += len(opens)
            saved += len(saves)
    assert opened > 5
    assert saved > 5


def place(x: float, y: float, name: str) -> Destination:
    lon, lat = lonlat(x, y)
    return Destination(place=Place(lon=lon, lat=lat, name=name))


def river_town() -> Network:
    """Home in the west. Under a railway in the middle to two places; under two more in a row to a third.

    The south bank is come to under a bridge of 1,000 m, or round by 3,000 m with nothing over it.
    """
    town = Town()
    for ref, (x, y) in {
        1: (0, 0), 2: (1000, 0), 3: (2000, 0), 4: (0, 2000), 5: (1000, 2000),
        6: (0, -1000), 7: (-1000, -1000), 8: (-1000, 0),
        11: (500, -50), 12: (500, 50), 13: (300, 1950), 14: (300, 2050), 15: (700, 1950), 16: (700, 2050),
        17: (-50, -500), 18: (50, -500),
    }.items():  # fmt: skip
        town.node(ref, x, y)
    street = {"highway": "residential"}
    town.way(100, [8, 1], street | {"name": "Home Street"})
    town.way(101, [1, 2, 3], street | {"name": "East Street"})
    town.way(102, [1, 4], street).way(103, [4, 5], street | {"name": "North Street"})
    town.way(104, [1, 6], street | {"name": "South Street"}).way(105, [6, 7, 8], street)
    for ref, pair in {200: [11, 12], 201: [13, 14], 202: [15, 16], 203: [17, 18]}.items():
        town.way(ref, pair, {"railway": "rail", "bridge": "yes", "layer": "1", "name": f"Line {ref}"})
    return network_of(town.extract())


HOME = Place(lon=lonlat(-900, 0)[0], lat=lonlat(-900, 0)[1], name="home")
PLACES = [
    place(800, 0, "east"),
    place(1900, 0, "far east"),
    place(950, 2000, "north"),
    place(0, -950, "south"),
    place(-50, 0, "near"),
]


def river() -> Scouting:
    return scout(river_town(), COACH, HOME, PLACES)


def test_what_opens_most_comes_first() -> None:
    found = river()
    names = [item.structure.name for item in found.items]
    assert names == ["Line 200", "Line 201", "Line 202", "Line 203"]
    first, second, third, last = found.items
    assert [item.number for item in found.items] == [1, 2, 3, 4]
    assert (first.opens, first.saves, first.with_others) == ((1, 2), (), ())
    assert (second.opens, second.with_others, third.with_others) == ((), ((3, 2),), ((3, 2),))
    assert last.opens == ()
    ((number, saved),) = last.saves
    assert number == 4
    assert saved == pytest.approx(72, abs=1)
    assert (found.open_now, found.shut, found.blocked, found.idle) == ((4, 5), (1, 2, 3), (), 0)
    assert found.name(4) == "south"


def test_what_no_drive_fits_is_told_apart() -> None:
    """A low sign on the only street: looking at bridges will not help."""
    town = Town().node(1, 0, 0).node(2, 1000, 0).node(3, 2000, 0).node(4, 500, -50).node(5, 500, 50)
    town.way(10, [1, 2]).way(11, [2, 3], {"highway": "residential", "maxheight": "3"})
    town.way(20, [4, 5], {"railway": "rail", "bridge": "yes", "layer": "1"})
    far = Destination(place=Place(lon=-39.9, lat=45.1, name="nowhere"), where="line 4")
    home = Place(lon=lonlat(100, 0)[0], lat=lonlat(100, 0)[1])
    found = scout(network_of(town.extract()), COACH, home, [place(1900, 0, "end"), far])
    assert (found.blocked, found.shut, found.open_now) == ((1,), (), ())
    assert found.items == ()
    assert found.idle == 1
    (problem,) = found.problems
    assert (problem.where, problem.name) == ("line 4", "nowhere")
    assert "outside the area of the road file" in problem.text


def test_home_far_from_any_road_is_an_error() -> None:
    with pytest.raises(PlaceError):
        scout(river_town(), COACH, Place(lon=-39.9, lat=45.1), PLACES)


def test_no_destinations_is_nothing_to_do() -> None:
    found = scout(river_town(), COACH, HOME, [])
    assert (found.items, found.idle) == ((), 4)


RAIL = {"railway": "rail", "bridge": "yes", "layer": "1"}
STREET = {"highway": "residential"}


def at(x: float, y: float) -> Place:
    lon, lat = lonlat(x, y)
    return Place(lon=lon, lat=lat, name="home")


def built(
    nodes: dict[int, tuple[float, float]],
    ways: dict[int, tuple[list[int], dict[str, str]]],
    rails: dict[str, tuple[float, float]],
) -> Network:
    """A town with railways that run from south to north over the named points."""
    town = Town()
    for ref, (x, y) in nodes.items():
        town.node(ref, x, y)
    for ref, (way, tags) in ways.items():
        town.way(ref, way, STREET | tags)
    for n, (name, (x, y)) in enumerate(rails.items()):
        town.node(900 + 2 * n, x, y - 10).node(901 + 2 * n, x, y + 10)
        town.way(900 + n, [900 + 2 * n, 901 + 2 * n], RAIL | {"name": name})
    return network_of(town.extract())


def by_name(found: Scouting) -> dict[str, Scouted]:
    return {item.structure.name: item for item in found.items}


def test_one_that_opens_alone_does_not_wait_for_the_other_on_the_usual_drive() -> None:
    """Under A and B in a row; or under A and round B by a street that takes more than half an hour."""
    network = built(
        {1: (-500, 0), 2: (0, 0), 3: (500, 0), 4: (1000, 0), 5: (500, 2000), 6: (1000, 2000)},
        {
            10: ([1, 2, 3], {}),
            11: ([3, 4], {}),
            12: ([3, 5, 6, 4], {"maxspeed": "5"}),
        },
        {"A": (250, 0), "B": (750, 0)},
    )
    found = scout(network, COACH, at(-400, 0), [place(950, 0, "end")])
    items = by_name(found)
    assert (items["A"].opens, items["A"].with_others) == ((1,), ())
    assert (items["B"].opens, items["B"].with_others) == ((), ((1, 2),))
    assert (items["A"].passed_by, items["B"].passed_by) == ((1,), (1,))
    assert (found.open_now, found.shut) == ((), (1,))


def test_a_structure_known_to_be_high_enough_is_not_counted_with_the_others() -> None:
    network = built(
        {1: (-500, 0), 2: (0, 0), 3: (500, 0), 4: (1000, 0)},
        {10: ([1, 2], {"maxheight": "5"}), 11: ([2, 3], {}), 12: ([3, 4], {})},
        {"Known": (-250, 0), "A": (250, 0), "B": (750, 0)},
    )
    found = scout(network, COACH, at(-400, 0), [place(950, 0, "end"), place(450, 0, "middle")])
    items = by_name(found)
    assert set(items) == {"A", "B"}
    assert items["A"].with_others == items["B"].with_others == ((1, 2),)
    assert items["A"].opens == (2,)
    assert found.idle == 0


def test_who_gets_there_now_waits_for_nothing() -> None:
    """The usual drive passes two; past nothing unverified it is most of an hour round, and that is open."""
    network = built(
        {1: (-500, 0), 2: (0, 0), 3: (500, 0), 4: (1000, 0), 5: (0, 2000), 6: (1000, 2000)},
        {10: ([1, 2], {}), 11: ([2, 3, 4], {}), 12: ([2, 5, 6, 4], {"maxspeed": "5"})},
        {"A": (250, 0), "B": (750, 0)},
    )
    found = scout(network, COACH, at(-400, 0), [place(950, 0, "end")])
    items = by_name(found)
    assert found.open_now == (1,)
    for name in ("A", "B"):
        assert items[name].passed_by == (1,)
        assert (items[name].opens, items[name].saves, items[name].with_others) == ((), (), ())


def test_where_no_drive_fits_one_leg_nothing_is_passed_on_the_other() -> None:
    """There under a railway of unknown height, back by a one-way street that is too low."""
    network = built(
        {1: (-500, 0), 2: (0, 0), 3: (1000, 0), 4: (0, 300), 5: (1000, 300)},
        {
            10: ([1, 2], {}),
            11: ([2, 3], {"oneway": "yes"}),
            12: ([3, 5, 4, 2], {"oneway": "yes", "maxheight": "3"}),
        },
        {"A": (500, 0)},
    )
    found = scout(network, COACH, at(-400, 0), [place(900, 0, "end")])
    assert (found.items, found.blocked, found.shut, found.idle) == ((), (1,), (), 1)


def test_a_place_that_no_vehicle_gets_back_from_is_a_problem() -> None:
    """And one that a car alone does not get to is none."""
    network = built(
        {1: (-500, 0), 2: (0, 0), 3: (500, 0), 4: (0, 500), 5: (0, 900), 6: (900, 900), 7: (900, 500)},
        {
            10: ([1, 2], {}),
            11: ([2, 3], {"motorcar": "no", "motorhome": "yes"}),
            12: ([2, 4], {"oneway": "yes"}),
            13: ([4, 5, 6, 7, 4], {}),
        },
        {},
    )
    destinations = [place(0, 300, "one-way"), place(900, 700, "ring"), place(400, 0, "motorhomes")]
    found = scout(network, COACH, at(-400, 0), destinations)
    assert [(p.name, p.text.split(" in ")[0]) for p in found.problems] == [
        ("one-way", "no way leads there and back"),
        ("ring", "no way leads there and back"),
    ]
    assert (found.open_now, found.blocked, found.shut) == ((3,), (), ())


@pytest.mark.parametrize(
    ("speed", "saved"),
    # Per way 100 m at 30 km/h take 12 s; at these speeds less, there and back together.
    [("30.009", None), ("30.02", 0.01599), ("30.3", 0.2376), ("31", 0.774)],
)
def test_a_saving_of_a_hundredth_of_a_second_is_one(speed: str, saved: float | None) -> None:
    """Two ways round a block, as long to a hair; the one under a railway is a little quicker."""
    network = built(
        {1: (-500, 0), 2: (0, 0), 3: (0, 100), 4: (100, 100), 5: (100, 0), 6: (0, -100), 7: (100, -100),
         8: (600, 0)},
        {
            10: ([1, 2], {}),
            11: ([2, 3], {"maxspeed": "30"}),
            12: ([3, 4], {"maxspeed": speed}),
            13: ([4, 5], {"maxspeed": "30"}),
            14: ([2, 6, 7, 5], {"maxspeed": "30"}),
            15: ([5, 8], {}),
        },
        {"A": (50, 100)},
    )  # fmt: skip
    found = scout(network, COACH, at(-400, 0), [place(500, 0, "end")])
    if saved is None:
        assert (found.items, found.idle) == ((), 1)
        return
    (item,) = found.items
    ((number, seconds),) = item.saves
    assert number == 1
    assert seconds == pytest.approx(saved, abs=0.003)
    assert (item.opens, item.passed_by, item.with_others) == ((), (), ())


def test_a_place_in_a_private_blind_lane_stays_there() -> None:
    """Only one of its two directions can be driven to; the public road is near enough to be taken for it."""
    network = built(
        {1: (-500, 0), 2: (0, 0), 3: (500, 0), 4: (0, 120)},
        {10: ([1, 2, 3], {}), 11: ([2, 4], {"access": "private"})},
        {},
    )
    found = scout(network, COACH, at(-400, 0), [place(0, 60, "lane")])
    assert (found.open_now, found.problems, found.notes) == ((1,), (), ())


def test_what_is_said_of_a_place_is_said_once() -> None:
    """Two names for a yard that nothing joins to the town, one of them twice in the list."""
    network = built(
        {1: (-500, 0), 2: (0, 0), 3: (500, 0), 4: (500, 500), 5: (100, 60), 6: (200, 60)},
        {10: ([1, 2, 3, 4], {}), 11: ([5, 6], {})},
        {},
    )
    names = ("Yard", "Depot", "Yard")
    found = scout(network, COACH, at(-400, 0), [place(150, 55, name) for name in names])
    assert [note.split(":")[0] for note in found.notes] == ["Yard", "Depot"]
    assert found.open_now == (1, 2, 3)
    assert (found.home, found.coach, found.info) == (at(-400, 0), COACH, network.info)
    assert [found.name(n) for n in (1, 2, 3)] == list(names)


def test_a_private_estate_may_lead_to_a_structure_beyond_it() -> None:
    """Through the estate to a public street under a railway, and back into it; else a long lane within it.

    The public street is come to without the estate as well, by a way far round.
    """
    network = built(
        {1: (-500, 0), 2: (0, 0), 3: (1000, 0), 4: (2000, 0), 5: (1000, -3000), 6: (2000, -3000),
         7: (0, 9000), 8: (1000, 9000), 9: (2000, -200), 10: (2000, -400),
         11: (2100, -200), 12: (2100, -400)},
        {
            10: ([1, 2], {}),
            11: ([2, 3], {"access": "private"}),
            12: ([3, 4], {}),
            13: ([3, 5, 6, 10], {"access": "private"}),
            14: ([10, 9], {"access": "private"}),
            15: ([9, 4], {"access": "private"}),
            16: ([2, 7, 8, 3], {}),
            17: ([9, 11], {"access": "private"}),
            18: ([10, 12], {"access": "private"}),
        },
        {"A": (1500, 0)},
    )  # fmt: skip
    home, goals = at(-400, 0), [place(2000, -300, "estate"), place(-100, 0, "near")]
    found = scout(network, COACH, home, goals)
    estate, near = saved_by(network, home, goals, "A")
    assert estate > 600
    assert near == 0
    (item,) = found.items
    ((number, seconds),) = item.saves
    assert number == 1
    assert seconds == pytest.approx(estate)


def test_destinations_are_told_in_the_order_of_the_list() -> None:
    """Home is moved off its yard for what lies in the town, and stays there for what lies in the yard."""
    network = built(
        {1: (-500, 0), 2: (0, 0), 3: (500, 0), 4: (500, 500), 5: (0, 60), 6: (300, 60), 7: (500, 900)},
        {10: ([1, 2], {}), 11: ([2, 3, 4], {}), 12: ([5, 6], {}), 13: ([4, 7], {})},
        {"A": (-250, 0), "B": (250, 60)},
    )
    goals = [
        place(20, 58, "yard"),
        place(400, 0, "town"),
        place(100, 58, "yard too"),
        place(-400, 0, "west"),
        place(290, 58, "yard end"),
        place(-450, 0, "far west"),
    ]
    found = scout(network, COACH, at(50, 58), goals)
    assert found.open_now == (1, 2, 3)
    assert found.shut == (4, 5, 6)
    items = by_name(found)
    assert (items["A"].opens, items["B"].opens) == ((4, 6), (5,))
    assert (items["A"].passed_by, items["B"].passed_by) == ((4, 6), (5,))


def test_one_fan_each_way_serves_all_destinations(monkeypatch: pytest.MonkeyPatch) -> None:
    made: list[int] = []

    class Counted(LiftFan):
        def __init__(self, *args: Any, **more: Any) -> None:
            made.append(1)
            super().__init__(*args, **more)

    monkeypatch.setattr("clearance.assess.scouting.LiftFan", Counted)
    found = scout(river_town(), COACH, HOME, PLACES * 4)
    assert len(found.destinations) == 20
    assert len(made) == 2

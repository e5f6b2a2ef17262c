"""Rows of many destinations against the day planned for each of them alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from clearance.assess.day import Halt, plan_day
from clearance.assess.records import with_records
from clearance.assess.screen import screen
from clearance.core.coach import Coach
from clearance.core.drive import Drive, InOutAnswer, Unverified, Verdict
from clearance.core.errors import NoWayError, PlaceError
from clearance.core.lengths import Length, parse_length
from clearance.core.places import Place
from clearance.core.record import Record
from clearance.core.screening import Admitted, Destination, Leg, Row, Screening, SortBy, totals
from clearance.core.structure import Direction, Kind, Standing
from clearance.network.build import build_network
from clearance.network.network import Network
from clearance.workflow import network_of
from tests.assess.towns import COACH, END, START, corners_of_a_block, grid_town, two_ways
from tests.routing.grid_towns import COMFORT, FIGURES, NEED, GridTown, grid_towns, segments, slow_answers
from tests.routing.private_towns import PrivateTown, private_towns
from tests.towns import Town, lonlat

LOWER = Coach(height=Length.from_feet(10), name="lower")
TOWING = Coach(height=Length(NEED - 1000), margin=Length(1000), comfort=Length(COMFORT), towing=True)
DATA = Path(__file__).resolve().parents[2].parent / "shared" / "data"


def place(x: float, y: float, name: str = "") -> Place:
    lon, lat = lonlat(x, y)
    return Place(lon=lon, lat=lat, name=name)


def screened(
    network: Network,
    *places: Place,
    home: Place | None = None,
    coaches: Sequence[Coach] = (COACH,),
    unverified: Unverified = Unverified.AVOID,
) -> Screening:
    destinations = [Destination(place=p, where=f"line {n}") for n, p in enumerate(places, start=2)]
    return screen(
        network,
        coaches,
        home or place(*START, "Yard"),
        destinations,
        unverified=unverified,
        sort_by=SortBy.LIST,
    )


# --- against the day of each --------------------------------------------------------------------------


def same_as_the_day(row: Row, day: Drive) -> None:
    """A row says what the day home, destination, home says."""
    assert row.verdict is day.verdict
    if day.verdict is Verdict.BLOCKED:
        assert row.gets_through == day.gets_through
        assert [f.key for f in row.in_the_way] == list(dict.fromkeys(f.structure.key for f in day.in_the_way))
        assert row.obstacles == day.obstacles
        return
    assert row.there is not None
    assert row.back is not None
    assert row.duration_s == pytest.approx(day.duration_s, abs=1e-6)
    assert row.ceiling == day.ceiling
    for standing, keys in ((Standing.UNVERIFIED, row.unverified), (Standing.TIGHT, row.tight)):
        assert set(keys) == {f.structure.key for f in day.findings if f.standing is standing}
    if row.ceiling is not None:
        assert row.ceiling_key in {f.structure.key for f in day.findings if f.clearance == row.ceiling}
    if day.car is None:
        assert row.extra_s is None
    else:
        assert row.extra_s == pytest.approx(day.duration_s - day.car.duration_s, abs=1e-6)
    out, home = day.stops[1].distance_m, day.stops[2].distance_m - day.stops[1].distance_m
    if row.there.distance_m != pytest.approx(out, abs=1e-3):
        # The same round the other way about, or another way that costs just as much.
        assert row.there.duration_s <= day.stops[1].arrives_s + 1e-3
        return
    assert row.back.distance_m == pytest.approx(home, abs=1e-3)
    assert row.in_out is not None
    assert day.stops[1].in_out is not None
    assert row.in_out.answer is day.stops[1].in_out.answer
    assert row.in_out.serious is day.stops[1].in_out.serious
    assert row.in_out.dead_end_m == pytest.approx(day.stops[1].in_out.dead_end_m)
    assert row.in_out.turn_m == pytest.approx(day.stops[1].in_out.turn_m)
    assert row.off_road_m == pytest.approx(day.stops[1].off_road_m)


def compare(
    network: Network,
    home: Place,
    places: Sequence[Place],
    coaches: Sequence[Coach],
    unverified: Unverified,
) -> list[Verdict | None]:
    """Screen the places and plan the day of each; their verdicts, None where a day cannot be planned."""
    try:
        found = screened(network, *places, home=home, coaches=coaches, unverified=unverified)
    except PlaceError:
        with pytest.raises(PlaceError):
            plan_day(network, coaches[0], [Halt(place=home), Halt(place=home)], unverified=unverified)
        return []
    rows = {(row.coach, row.number): row for row in found.rows}
    verdicts: list[Verdict | None] = []
    for c, coach in enumerate(coaches):
        for number, goal in enumerate(places, start=1):
            row = rows.get((c, number))
            halts = [Halt(place=home), Halt(place=goal), Halt(place=home)]
            try:
                day = plan_day(network, coach, halts, unverified=unverified)
            except (PlaceError, NoWayError):
                assert row is None
                assert any(p.where == f"line {number + 1}" and p.coach in {None, c} for p in found.problems)
                verdicts.append(None)
                continue
            assert row is not None
            same_as_the_day(row, day)
            verdicts.append(row.verdict)
    return verdicts


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(private_towns(), st.sampled_from(list(Unverified)))
def test_rows_say_what_the_day_of_each_destination_says(town: PrivateTown, unverified: Unverified) -> None:
    network = town.network()
    grid = town.grid
    places = [_at(grid.middle(s)) for s in segments(grid)]
    compare(network, _at(grid.middle(grid.start)), places[:6], [TOWING], unverified)


def _at(point: tuple[float, float]) -> Place:
    return Place(lon=point[0], lat=point[1], name=f"{point[0]:.5f}")


@pytest.mark.parametrize("extract", ["liechtenstein.osm.pbf", "bangor-maine.osm.pbf"])
def test_rows_say_the_same_on_real_roads(extract: str) -> None:
    """Real data, © OpenStreetMap contributors, ODbL 1.0."""
    if not (DATA / extract).exists():
        pytest.skip(f"{extract} is not there")
    from clearance.sources.osm_file import read_osm

    network = network_of(read_osm(DATA / extract))
    rng = np.random.default_rng(4)
    main = network.arc_tail[network.arc_area == 0]
    nodes = [int(main[main.size // 2]), *rng.choice(network.node_osm.size, 24, replace=False).tolist()]
    home, *places = [_beside(network, node) for node in nodes]
    coaches = [Coach(height=Length.from_feet(12, 10), towing=True), Coach(height=Length.from_feet(11))]
    for unverified in (Unverified.AVOID, Unverified.REFUSE):
        verdicts = compare(network, home, places, coaches, unverified)
        assert len(set(verdicts)) > 1


def _beside(network: Network, node: int) -> Place:
    lon, lat = float(network.node_lon[node]), float(network.node_lat[node])
    return Place(lon=lon + 1e-4, lat=lat + 1e-4, name=f"node {node}")


# --- against the raw elements of a town ---------------------------------------------------------------


@settings(max_examples=10, deadline=None, suppress_health_check=list(HealthCheck))
@given(grid_towns())
def test_the_tallest_coach_is_that_of_a_slow_reader_both_ways(town: GridTown) -> None:
    """The slow reader searches the raw elements by networkx, for each height and each way by itself."""
    network = build_network(town.town().extract(), town.structures())
    goals = [s for s in segments(town) if s != town.start][:4]
    if not goals:
        return
    found = screened(network, *(_at(town.middle(s)) for s in goals), home=_at(town.middle(town.start)))
    rows = {row.number: row for row in found.rows}
    heights = (0, *FIGURES, FIGURES[-1] + 1)
    there = {height: slow_answers(town, need=height) for height in heights}
    for number, goal in enumerate(goals, start=1):
        start = replace(town, start=goal)
        fits = [h for h in heights if goal in there[h] and town.start in slow_answers(start, need=h)]
        row = rows.get(number)
        if row is not None and row.notes:
            continue  # an end on an island of the data was moved off it
        if not fits:
            # Too low there and no way back at all: the first of the two is told.
            assert row is None or (row.verdict is Verdict.BLOCKED and not row.tallest.way)
            continue
        assert row is not None
        best = max(fits)
        clearance = None if best > FIGURES[-1] else Length(best)
        assert row.tallest == Admitted(way=True, clearance=clearance)
        assert (row.verdict is Verdict.BLOCKED) is (best < COACH.need.tenths)
        verified = row.tallest_verified.clearance
        assert not row.tallest_verified.way or clearance is None or (verified and verified <= clearance)


# --- small towns --------------------------------------------------------------------------------------


def one(network: Network, *places: Place, **more: object) -> Row:
    (row,) = screened(network, *places, **more).rows  # type: ignore[arg-type]
    return row


GOAL = place(*END, "Mill")


def test_there_and_back_round_a_low_railway() -> None:
    row = one(two_ways({"maxheight": "12'6\""}), GOAL)
    assert (row.verdict, row.place, row.where) == (Verdict.CLEAR, GOAL, "line 2")
    assert row.there is not None
    assert row.back is not None
    assert row.there.distance_m == pytest.approx(3800, rel=1e-3)
    assert row.there.car_distance_m == pytest.approx(1800, rel=1e-3)
    assert row.extra_s is not None
    assert row.extra_s > 2 * 60
    # What the car passes and the coach does not, once, though a car passes it both ways.
    assert [(f.standing, f.clearance) for f in row.avoided] == [(Standing.TOO_LOW, Length.from_feet(12, 6))]
    assert row.there.passed == ()
    # Any height gets there by the way round.
    assert row.tallest == Admitted(way=True)


def test_one_way_there_only_is_blocked_on_the_way_back() -> None:
    network = two_ways({"maxheight": "12'6\""}, {"oneway": "yes"})
    row = one(network, GOAL)
    assert (row.verdict, row.blocked) == (Verdict.BLOCKED, Leg.BACK)
    assert row.gets_through == Length.from_feet(12, 6)
    assert [(f.standing, f.clearance) for f in row.in_the_way] == [
        (Standing.TOO_LOW, Length.from_feet(12, 6))
    ]
    assert (row.there, row.back, row.in_out, row.ceiling, row.extra_s) == (None, None, None, None, None)
    assert row.tallest == Admitted(way=True, clearance=Length.from_feet(12, 6))
    assert row.tallest.coach_height(COACH.margin) == Length.from_feet(12)
    assert one(network, GOAL, coaches=(LOWER,)).verdict is not Verdict.BLOCKED


def test_unverified_both_ways_is_passable_or_closed() -> None:
    row = one(two_ways(None, {"motor_vehicle": "no"}), GOAL)
    assert row.verdict is Verdict.CARE
    (key,) = row.unverified
    assert row.tallest == Admitted(way=True)
    assert row.tallest_verified == Admitted(way=False)
    assert row.ceiling is None
    assert row.ceiling_key == ""
    refused = one(two_ways(None, {"motor_vehicle": "no"}), GOAL, unverified=Unverified.REFUSE)
    assert refused.verdict is Verdict.BLOCKED
    assert [f.key for f in refused.in_the_way] == [key]
    assert refused.gets_through is None


def test_a_dead_end_is_serious_for_a_coach_that_tows() -> None:
    row = one(two_ways(), GOAL, coaches=(replace(COACH, towing=True),))
    assert row.in_out is not None
    assert (row.in_out.answer, row.in_out.serious) == (InOutAnswer.NEEDS_ROOM, True)


def test_rows_that_cannot_be_screened_are_told_with_their_line_and_the_rest_is_screened() -> None:
    town = two_ways()
    far, island = place(500, 5000, "Far Field"), place(*END, "Mill")
    found = screened(town, far, island, coaches=(COACH, LOWER))
    assert [row.number for row in found.rows] == [2, 2]
    (problem,) = found.problems
    assert (problem.where, problem.name, problem.coach) == ("line 2", "Far Field", None)
    assert "from the nearest road" in problem.text or "outside the area" in problem.text
    sums = totals(found)
    assert [(t.care + t.clear + t.blocked, t.problems) for t in sums] == [(1, 1), (1, 1)]


def test_a_place_that_one_coach_alone_cannot_use_is_a_problem_of_that_coach() -> None:
    town = Town()
    for ref, x in enumerate((0, 500, 1000), start=1):
        town.node(ref, x, 0)
    town.way(10, [1, 2]).way(11, [2, 3], {"highway": "residential", "maxwidth": "2.2"})
    wide = replace(COACH, width=Length.from_metres("2.5"), name="wide")
    found = screened(
        network_of(town.extract()), place(900, 0, "Narrow End"), home=place(50, 0), coaches=(COACH, wide)
    )
    assert [row.coach for row in found.rows] == [0]
    assert [(p.coach, p.where) for p in found.problems] == [(1, "line 2")]


def test_what_a_car_passes_and_the_coach_may_not_hangs_on_the_policy() -> None:
    """Of unknown height: passed where that is accepted; told as not allowed where it is refused."""
    town = two_ways()
    rows = {policy: one(town, GOAL, unverified=policy) for policy in Unverified}
    (key,) = rows[Unverified.ACCEPT].unverified
    for policy, row in rows.items():
        assert row.there is not None
        assert row.back is not None
        direct = policy is Unverified.ACCEPT or row.there.distance_m < 2000
        assert row.there.distance_m == pytest.approx(1800 if direct else 3800, rel=1e-3)
        assert row.back.distance_m == pytest.approx(row.there.distance_m)
        assert [(f.key, f.standing, f.clearance) for f in row.there.passed] == (
            [(key, Standing.UNVERIFIED, None)] if direct else []
        )
        refused = policy is Unverified.REFUSE
        assert [(f.key, f.standing) for f in row.avoided] == ([(key, Standing.UNVERIFIED)] if refused else [])
        assert row.verdict is (Verdict.CARE if direct else Verdict.CLEAR)
        assert row.there.car_duration_s is not None
        assert row.extra_s == pytest.approx(row.duration_s - 2 * row.there.car_duration_s)
    assert rows[Unverified.REFUSE].there.distance_m > 2000  # type: ignore[union-attr]


def test_the_lowest_on_the_way_is_told_with_its_structure() -> None:
    """A railway of 15'0", with a bar of 14'6" at a corner that both trips pass."""
    town = Town()
    for ref, (x, y) in {
        1: (0, 0),
        2: (500, 0),
        3: (1000, 0),
        4: (1500, 0),
        7: (250, -50),
        8: (250, 50),
    }.items():
        bar = {"barrier": "height_restrictor", "maxheight": "14'6\""} if ref == 3 else None
        town.node(ref, x, y, bar)
    town.way(10, [1, 2], {"highway": "residential", "maxheight": "15'"})
    town.way(11, [2, 3, 4]).way(20, [7, 8], {"railway": "rail", "bridge": "yes", "layer": "1"})
    network = network_of(town.extract())
    near, far = (
        one(network, place(x, 0), home=place(20, 0)) for x in (800, 1400)
    )  # fmt: skip
    keys = {s.lowest(Direction.BOTH): s.key for s in network.structures}
    assert (near.ceiling, near.ceiling_key) == (Length.from_feet(15), keys[Length.from_feet(15)])
    assert (far.ceiling, far.ceiling_key) == (Length.from_feet(14, 6), keys[Length.from_feet(14, 6)])
    assert (near.tallest.clearance, far.tallest.clearance) == (near.ceiling, far.ceiling)
    assert near.verdict is far.verdict is Verdict.CLEAR


def test_rows_finished_are_told_with_those_in_all_problems_too() -> None:
    seen: list[tuple[int, int]] = []
    destinations = [Destination(place=p) for p in (place(-300, 0), place(500, 5000), GOAL)]
    found = screen(
        two_ways({"maxheight": "12'6\""}, {"motor_vehicle": "no"}),
        [COACH, LOWER],
        place(*START),
        destinations,
        unverified=Unverified.AVOID,
        tell=lambda done, of: seen.append((done, of)),
    )
    assert seen == [(n, 6) for n in range(1, 7)]
    assert len(found.rows) == 4
    assert [(r.coach, r.number) for r in found.rows if r.verdict is Verdict.BLOCKED] == [(0, 3)]


def test_what_was_asked_is_handed_on() -> None:
    town, home = two_ways(), place(*START, "Yard")
    found = screened(town, GOAL, home=home, coaches=(COACH, LOWER), unverified=Unverified.ACCEPT)
    assert (found.home, found.coaches, found.unverified) == (home, (COACH, LOWER), Unverified.ACCEPT)
    assert found.info == town.info
    (railway,) = found.structures
    assert railway.name == "Coast Line"
    assert found.problems == ()


@pytest.mark.parametrize(("oneway", "told"), [("yes", "from Isle to Yard"), ("-1", "from Yard to Isle")])
def test_where_no_way_leads_the_ends_are_told_in_the_order_of_driving(oneway: str, told: str) -> None:
    """A street of one direction to a place with nothing behind it."""
    town = Town().node(1, 0, 0).node(2, 500, 0).node(3, 1000, 0).node(4, 1400, 0)
    town.way(10, [1, 2]).way(11, [2, 3], {"highway": "residential", "oneway": oneway}).way(12, [3, 4])
    for ref, x in ((5, 1400), (6, 3000), (7, 3000), (8, 1400)):
        town.node(ref, x, 300 if ref > 6 else 0)
    town.way(13, [4, 5, 6, 7, 8, 4])
    network = network_of(town.extract())
    found = screened(
        network,
        place(3000, 150, "Isle"),
        place(3000, 150),
        home=place(100, 0, "Yard"),
        coaches=(COACH, LOWER),
    )
    assert found.rows == ()
    named, unnamed = found.problems
    assert (named.where, named.name, named.coach) == ("line 2", "Isle", None)
    assert named.text.startswith(f"no way leads {told} in the map data")
    point = "{1:.5f},{0:.5f}".format(*lonlat(3000, 150))
    assert unnamed.text.startswith(f"no way leads {told.replace('Isle', point)} in")


@pytest.mark.parametrize("seed", range(4))
def test_two_coaches_on_streets_that_are_low_closed_or_unknown(seed: int) -> None:
    """Each row again by the day of its own, among rows of both coaches."""
    chance = np.random.default_rng(seed)
    home, *places = (place(x, y, f"spot {x:.0f}") for x, y in chance.uniform(0, 400, (5, 2)).tolist())
    verdicts = compare(grid_town(seed), home, places, [COACH, LOWER], list(Unverified)[seed % 3])
    assert len(verdicts) == 8
    assert len(set(verdicts)) > 1


def test_home_far_from_any_road_is_an_error() -> None:
    with pytest.raises(PlaceError):
        screened(two_ways(), GOAL, home=place(0, 9000))


def test_order_of_rows_and_sums() -> None:
    town = two_ways(None, {"motor_vehicle": "no"})
    near, middle = place(-300, 0, "b near"), place(100, 0, "a middle")
    destinations = [
        Destination(place=p, where=f"line {n}") for n, p in enumerate((near, GOAL, middle), start=2)
    ]

    def names(by: SortBy) -> list[str]:
        found = screen(town, [COACH], place(*START), destinations, unverified=Unverified.AVOID, sort_by=by)
        return [row.place.name for row in found.rows]

    assert names(SortBy.LIST) == ["b near", "Mill", "a middle"]
    assert names(SortBy.NAME) == ["a middle", "b near", "Mill"]
    assert names(SortBy.TIME) == ["Mill", "a middle", "b near"]
    assert names(SortBy.VERDICT)[0] == "Mill"
    (sums,) = totals(screened(town, near, GOAL, middle))
    assert (sums.clear, sums.care, sums.blocked, sums.unverified) == (2, 1, 0, 1)
    assert sums.rows == 3


def test_a_recorded_height_that_stands_on_a_road_by_itself_is_among_the_structures() -> None:
    """Rows tell of a branch by its key; what stands beside the road, as a car park, they never tell of."""
    lon, lat = lonlat(300, 8)
    branch = Record(
        uid="12" * 16, height=Length.from_feet(12), raw="12'", date="2026-05-05", who="Ines", lon=lon, lat=lat
    )
    network = with_records(two_ways(), [branch]).network
    found = screened(network, GOAL)
    (row,) = found.rows
    listed = {s.key: s for s in found.structures}
    assert [listed[f.key].kind for f in row.avoided] == [Kind.LIMIT]
    assert [s.kind for s in found.structures] == [Kind.RAIL_BRIDGE, Kind.LIMIT]
    town = Town().node(1, 0, 0).node(2, 500, 0)
    for ref, (x, y) in {3: (100, 50), 4: (200, 50), 5: (200, 100), 6: (100, 100)}.items():
        town.node(ref, x, y)
    town.way(10, [1, 2]).way(11, [3, 4, 5, 6, 3], {"amenity": "parking", "parking": "multi-storey"})
    beside = network_of(town.extract())
    assert [s.kind for s in beside.structures] == [Kind.CAR_PARK]
    assert screened(beside, place(400, 0), home=place(50, 0)).structures == ()


def test_problems_come_in_the_order_of_the_list() -> None:
    """That no way leads back is found out last, and told first."""
    town = Town().node(1, 0, 0).node(2, 500, 0).node(3, 1000, 0).node(4, 1400, 0)
    town.way(10, [1, 2]).way(11, [2, 3], {"highway": "residential", "oneway": "yes"}).way(12, [3, 4])
    for ref, x in ((5, 1400), (6, 3000), (7, 3000), (8, 1400)):
        town.node(ref, x, 300 if ref > 6 else 0)
    town.way(13, [4, 5, 6, 7, 8, 4])
    found = screened(
        network_of(town.extract()), place(3000, 150, "Isle"), place(500, 5000, "Far"), home=place(100, 0)
    )
    assert [(p.where, p.name) for p in found.problems] == [("line 2", "Isle"), ("line 3", "Far")]


@pytest.mark.parametrize("towing", [False, True])
def test_a_place_in_a_private_blind_lane_stays_there(towing: bool) -> None:
    """Only one of its two directions can be driven to; the public road is near enough to be taken for it."""
    town = Town().node(1, -500, 0).node(2, 0, 0).node(3, 500, 0).node(4, 0, 120)
    town.way(10, [1, 2, 3]).way(11, [2, 4], {"highway": "service", "access": "private"})
    row = one(
        network_of(town.extract()),
        place(0, 60, "Lane"),
        home=place(-400, 0),
        coaches=(replace(COACH, towing=towing),),
    )
    assert row.notes == ()
    assert row.off_road_m == pytest.approx(0, abs=0.1)
    assert row.there is not None
    assert row.back is not None
    assert row.there.distance_m == pytest.approx(460, abs=1)
    assert row.there.car_distance_m == pytest.approx(460, abs=1)
    assert row.back.distance_m == pytest.approx(460, abs=1)
    assert row.in_out is not None
    assert row.in_out.dead_end_m == pytest.approx(60, abs=1)


@pytest.mark.parametrize("x", [200, 800])
@pytest.mark.parametrize("turned", [False, True])
def test_round_a_block_the_shorter_way_there_is_taken(x: float, turned: bool) -> None:
    """There and back takes as long both ways about; the place lies nearer one of the corners."""
    town = corners_of_a_block()
    ring = [2, 3, 4, 5, 6, 2]
    town.way(10, [1, 2]).way(11, ring[::-1] if turned else ring)
    row = one(network_of(town.extract()), place(x, 300, "Block"), home=place(500, -400))
    assert row.there is not None
    assert row.back is not None
    assert row.there.distance_m == pytest.approx(400 + 500 + 300 + 200, rel=1e-3)
    assert row.back.distance_m == pytest.approx(400 + 500 + 300 + 800, rel=1e-3)


@pytest.mark.parametrize("slower", ["forward", "backward"])
@pytest.mark.parametrize("x", [300, 700])
def test_round_a_block_less_than_half_a_second_decides(slower: str, x: float) -> None:
    """1,000 m at 30 and at 29.9 km/h: the quicker sum there and back counts, not the quicker way there."""
    town = corners_of_a_block()
    town.way(10, [1, 2]).way(11, [2, 3, 4], {"highway": "residential", "maxspeed": "30"})
    speeds = {"maxspeed": "30", f"maxspeed:{slower}": "29.9"}
    town.way(12, [4, 5], {"highway": "residential"} | speeds).way(13, [5, 6, 2])
    row = one(network_of(town.extract()), place(x, 300, "Block"), home=place(500, -400))
    whole = 2 * 400 + 500 + 300 + 1000 + 300 + 500
    assert row.there is not None
    assert row.there.distance_m + row.back.distance_m == pytest.approx(whole, rel=1e-3)  # type: ignore[union-attr]
    west = row.there.distance_m == pytest.approx(400 + 500 + 300 + x, rel=1e-3)
    assert west is (slower == "backward")


def test_what_is_blocked_tells_how_far_its_road_is() -> None:
    network = two_ways({"maxheight": "3"}, {"maxheight": "3"})
    row = one(network, place(1200, 20, "Mill"))
    assert row.verdict is Verdict.BLOCKED
    assert row.off_road_m == pytest.approx(20, abs=0.1)
    assert one(two_ways(), place(1200, 20, "Mill")).off_road_m == pytest.approx(20, abs=0.1)


@pytest.mark.parametrize(
    ("forward", "backward", "told"),
    [
        ("15'", "13'8\"", (Standing.TIGHT, (13, 8))),
        ("13'8\"", "15'", (Standing.TIGHT, (13, 8))),
        ("13'9\"", "13'7\"", (Standing.TIGHT, (13, 7))),
        ("13'7\"", "13'9\"", (Standing.TIGHT, (13, 7))),
        ("15'", "", (Standing.UNVERIFIED, None)),
        ("", "13'8\"", (Standing.UNVERIFIED, None)),
        ("16'", "15'", (Standing.CLEAR, (15, 0))),
    ],
)
def test_a_structure_passed_twice_is_told_as_it_stands_at_worst(
    forward: str, backward: str, told: tuple[Standing, tuple[int, int] | None]
) -> None:
    """Left from home is forbidden; round a block behind the railway and back under it one turns right."""
    town = Town()
    for ref, (x, y) in {
        1: (0, 0), 2: (500, 0), 3: (1000, 0), 4: (1200, 200), 5: (1200, -200), 6: (500, 500), 7: (700, 500),
        8: (700, 700), 9: (500, 700), 11: (700, -50), 12: (700, 50),
    }.items():  # fmt: skip
        town.node(ref, x, y)
    heights = {f"maxheight:{way}": h for way, h in (("forward", forward), ("backward", backward)) if h}
    town.way(10, [1, 2]).way(11, [2, 3], {"highway": "residential"} | heights).way(12, [3, 4, 5, 3])
    town.way(13, [2, 6]).way(14, [6, 7, 8, 9, 6])
    town.way(20, [11, 12], {"railway": "rail", "bridge": "yes", "layer": "1"})
    town.relation(
        30, [("w", 10, "from"), ("n", 2, "via"), ("w", 13, "to")],
        {"type": "restriction", "restriction": "no_left_turn"},
    )  # fmt: skip
    row = one(network_of(town.extract()), place(700, 600), home=place(100, 0), unverified=Unverified.ACCEPT)
    assert row.there is not None
    assert row.back is not None
    assert row.there.distance_m > 2000 > row.back.distance_m
    standing, height = told
    assert [(f.standing, f.clearance) for f in row.there.passed] == [
        (standing, None if height is None else Length.from_feet(*height))
    ]
    assert row.back.passed == ()
    known = [parse_length(h).length for h in (forward, backward) if h]
    assert row.there.ceiling == min(length for length in known if length is not None)

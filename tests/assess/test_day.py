"""Whole drives through tiny towns: what is avoided, what is told, what is blocked."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from itertools import pairwise, permutations

import numpy as np
import pytest
from pyproj import Geod

from clearance.assess.day import Halt, plan_day, reordered
from clearance.assess.legs import TURN_ROUND_S
from clearance.assess.order import MOST_EXACT
from clearance.core.coach import Coach
from clearance.core.drive import Drive, InOutAnswer, Unverified, Verdict
from clearance.core.errors import NoWayError, PlaceError, UsageError
from clearance.core.lengths import Length
from clearance.core.places import Place
from clearance.core.structure import Kind, Standing
from clearance.network.network import Network
from clearance.workflow import network_of
from tests.assess.towns import COACH, END, IN_ESTATE, START, estate_town, grid_town, halt, two_ways
from tests.towns import Town, lonlat


def drive(
    network: Network,
    coach: Coach = COACH,
    halts: list[Halt] | None = None,
    unverified: Unverified = Unverified.AVOID,
    departure: datetime | None = None,
) -> Drive:
    halts = halts or [halt(*START), halt(*END)]
    found = plan_day(network, coach, halts, unverified=unverified, departure=departure)
    check(found)
    return found


def check(found: Drive) -> None:
    """What holds of every drive that fits: it hangs together, adds up, and passes nothing too low."""
    if found.verdict is Verdict.BLOCKED:
        assert not found.pieces
        return
    assert sum(p.length_m for p in found.pieces) == pytest.approx(found.distance_m)
    assert sum(p.duration_s for p in found.pieces) == pytest.approx(found.duration_s)
    for before, after in zip(found.pieces, found.pieces[1:], strict=False):
        assert before.points[-1] == pytest.approx(after.points[0], abs=1e-9)
        assert before.distance_m + before.length_m == pytest.approx(after.distance_m)
    assert [f.number for f in found.findings] == list(range(1, len(found.findings) + 1))
    along = [f.distance_m for f in found.findings]
    assert along == sorted(along)
    for finding in found.findings:
        assert finding.standing is not Standing.TOO_LOW
        assert finding.clearance is None or finding.clearance >= found.coach.need
        assert 0 <= finding.distance_m <= found.distance_m
    assert found.ceiling == min((f.clearance for f in found.findings if f.clearance), default=None)


def roads(found: Drive) -> list[str]:
    return [p.road for p in found.pieces]


DIRECT = ["West Road", "Low Street", "East Road"]
ROUND = ["West Road", "High Street", "East Road"]


def test_a_clear_bridge_is_driven_under() -> None:
    found = drive(two_ways({"maxheight": "14'6\""}))
    assert (roads(found), found.verdict) == (DIRECT, Verdict.CLEAR)
    (finding,) = found.findings
    assert (finding.standing, finding.structure.kind) == (Standing.CLEAR, Kind.RAIL_BRIDGE)
    assert finding.headroom == Length.from_feet(1, 6)
    assert finding.distance_m == pytest.approx(900, rel=1e-3)
    assert finding.road == "Low Street"
    assert found.ceiling == Length.from_feet(14, 6)


def test_too_low_is_gone_round_and_told_as_the_difference() -> None:
    found = drive(two_ways({"maxheight": "12'6\""}))
    assert (roads(found), found.verdict, found.findings) == (ROUND, Verdict.CLEAR, ())
    assert found.car is not None
    assert found.car.duration_s < found.duration_s
    assert found.car.points[0] == pytest.approx(lonlat(*START), abs=1e-6)
    assert found.car.points[-1] == pytest.approx(lonlat(*END), abs=1e-6)
    assert found.car.distance_m == pytest.approx(1800, rel=1e-3)
    assert (found.stops[0].lon, found.stops[0].lat) == pytest.approx(lonlat(*START), abs=1e-6)
    assert [(d.standing, d.clearance) for d in found.car.differences] == [
        (Standing.TOO_LOW, Length.from_feet(12, 6))
    ]


@pytest.mark.parametrize(
    ("tenths", "standing"),
    [(-1, None), (0, Standing.TIGHT), (1, Standing.TIGHT)],
)
def test_the_need_to_a_tenth_of_a_millimetre(tenths: int, standing: Standing | None) -> None:
    """13'6" is 4.1148 m exactly; one tenth of a millimetre less is too low."""
    metres = (COACH.need + Length(tenths)).metres
    found = drive(two_ways({"maxheight": f"{metres:.4f}"}, {"highway": "service", "maxspeed": "5"}))
    assert (roads(found) == DIRECT) is (standing is not None)
    assert [f.standing for f in found.findings] == ([standing] if standing else [])


@pytest.mark.parametrize(
    ("policy", "way", "verdict"),
    [
        (Unverified.AVOID, ROUND, Verdict.CLEAR),
        (Unverified.ACCEPT, DIRECT, Verdict.CARE),
        (Unverified.REFUSE, ROUND, Verdict.CLEAR),
    ],
)
def test_the_policy_for_a_railway_bridge_with_no_figure(
    policy: Unverified, way: list[str], verdict: Verdict
) -> None:
    found = drive(two_ways(), unverified=policy)
    assert (roads(found), found.verdict) == (way, verdict)
    assert [f.standing for f in found.findings] == ([Standing.UNVERIFIED] if way is DIRECT else [])


def test_a_footpath_of_untold_order_is_told_and_worth_no_long_detour() -> None:
    found = drive(two_ways(rail={"highway": "path"}))
    assert roads(found) == DIRECT
    assert [(f.standing, f.structure.kind) for f in found.findings] == [
        (Standing.UNVERIFIED, Kind.UNKNOWN_CROSSING)
    ]
    refused = drive(two_ways(rail={"highway": "path"}), unverified=Unverified.REFUSE)
    assert roads(refused) == ROUND


def test_a_tunnel_drawn_as_three_ways_is_one_finding_and_one_penalty() -> None:
    town = Town()
    for ref, x in enumerate([-500, 0, 200, 350, 600, 1500], start=1):
        town.node(ref, x, 0)
    for ref in range(1, 6):
        cover = {"tunnel": "yes"} if ref in {2, 3, 4} else {}
        town.way(10 + ref, [ref, ref + 1], {"highway": "residential", "name": "Deep Street"} | cover)
    found = drive(network_of(town.extract()))
    (finding,) = found.findings
    assert (finding.structure.kind, finding.standing) == (Kind.TUNNEL, Standing.UNVERIFIED)
    assert found.policy_seconds == pytest.approx(900, abs=1e-3) or found.policy_seconds == pytest.approx(
        900 + TURN_ROUND_S, abs=1e-3
    )


def test_a_detour_that_is_too_long_is_not_taken_for_the_unverified() -> None:
    found = drive(two_ways(None, {"maxspeed": "5"}))
    assert (roads(found), found.verdict) == (DIRECT, Verdict.CARE)


def test_refused_everywhere_is_blocked_and_names_it() -> None:
    town = two_ways(None, {"motor_vehicle": "no"})
    found = drive(town, unverified=Unverified.REFUSE)
    assert found.verdict is Verdict.BLOCKED
    assert [(f.standing, f.structure.kind) for f in found.in_the_way] == [
        (Standing.UNVERIFIED, Kind.RAIL_BRIDGE)
    ]


def test_blocked_by_height_tells_what_gets_through() -> None:
    found = drive(two_ways({"maxheight": "12'6\""}, {"maxheight": "3.9"}))
    assert found.verdict is Verdict.BLOCKED
    assert found.gets_through == Length.from_metres("3.9")
    assert [f.clearance for f in found.in_the_way] == [Length.from_metres("3.9")]
    assert found.obstacles == ()
    assert found.car is not None


def test_blocked_by_weight_names_the_way_and_its_text() -> None:
    coach = Coach(height=Length.from_feet(13), weight_kg=12_000)
    found = drive(two_ways({"maxheight": "12'6\""}, {"maxweight": "5 st"}), coach)
    assert found.verdict is Verdict.BLOCKED
    assert [(o.kind, o.element, o.raw) for o in found.obstacles] == [("weight", "way/12", "maxweight=5 st")]
    assert found.gets_through == Length.from_feet(12, 6)  # on the other way
    assert [f.road for f in found.in_the_way] == ["Low Street"]


def test_blocked_by_both_on_the_only_way_tells_both() -> None:
    coach = Coach(height=Length.from_feet(13), width=Length.from_feet(8, 6))
    both = {"maxheight": "12'6\"", "maxwidth": "2.2"}
    found = drive(two_ways(both, {"motor_vehicle": "no"}), coach)
    assert [(o.kind, o.raw) for o in found.obstacles] == [("width", "maxwidth=2.2")]
    assert [f.road for f in found.in_the_way] == ["Low Street"]
    assert found.gets_through == Length.from_feet(12, 6)


def test_a_condition_is_judged_at_the_time_of_the_drive() -> None:
    town = two_ways({"maxheight": "14'6\"", "maxheight:conditional": "3.5 @ (Mo-Fr 07:00-19:00)"})
    weekday, sunday = datetime(2026, 7, 1, 9), datetime(2026, 7, 5, 9)
    assert roads(drive(town, departure=sunday)) == DIRECT
    assert roads(drive(town, departure=weekday)) == ROUND
    assert roads(drive(town)) == ROUND  # no time told: assumed to hold


def test_a_drive_into_the_hours_of_a_condition_counts_as_in_them() -> None:
    town = two_ways({"maxheight": "14'6\"", "maxheight:conditional": "3.5 @ (07:00-19:00)"})
    assert roads(drive(town, departure=datetime(2026, 7, 1, 6, 59))) == ROUND
    assert roads(drive(town, departure=datetime(2026, 7, 1, 20, 0))) == DIRECT


def test_a_stop_is_left_the_way_it_was_come_to() -> None:
    """The stop lies on the direct street; turning back there would be shorter than going on round."""
    town = two_ways({"maxheight": "15'"})
    found = drive(town, halts=[halt(*START), halt(300, 0), halt(0, 300)])
    assert roads(found) == ["West Road", "Low Street", "Low Street", "High Street"]
    assert found.stops[1].in_out is not None
    assert found.stops[1].in_out.answer is InOutAnswer.DRIVES_THROUGH


def dead_end_town(end: dict[str, str] | None = None, length: float = 400) -> Network:
    town = Town()
    for ref, (x, y) in {1: (-500, 0), 2: (0, 0), 3: (500, 0), 5: (500, 600), 6: (-500, 600)}.items():
        town.node(ref, x, y)
    town.node(4, 0, -length, end)
    town.way(10, [1, 2, 3, 5, 6, 1], {"highway": "residential", "name": "Ring"})
    town.way(11, [2, 4], {"highway": "residential", "name": "Blind Lane"})
    return network_of(town.extract())


def test_a_dead_end_needs_room_to_turn() -> None:
    found = drive(dead_end_town(), halts=[halt(-400, 0), halt(0, -200)])
    way = found.stops[-1].in_out
    assert way is not None
    assert (way.answer, way.turn_kind, way.serious) == (InOutAnswer.NEEDS_ROOM, "", False)
    assert way.dead_end_m == pytest.approx(200, rel=1e-3)


def test_the_turning_circle_ahead_is_told() -> None:
    found = drive(dead_end_town({"highway": "turning_circle"}), halts=[halt(-400, 0), halt(0, -150)])
    way = found.stops[-1].in_out
    assert way is not None
    assert (way.answer, way.turn_kind) == (InOutAnswer.NEEDS_ROOM, "turning circle")
    assert way.turn_m == pytest.approx(250, rel=1e-3)


def test_a_turning_loop_lets_the_coach_drive_through() -> None:
    found = drive(dead_end_town({"highway": "turning_loop"}), halts=[halt(-400, 0), halt(0, -150)])
    way = found.stops[-1].in_out
    assert way is not None
    assert way.answer is InOutAnswer.DRIVES_THROUGH


def test_a_dead_end_is_serious_with_what_cannot_be_reversed() -> None:
    towing = Coach(height=Length.from_feet(13), towing=True)
    found = drive(dead_end_town(), towing, halts=[halt(-400, 0), halt(0, -200)])
    way = found.stops[-1].in_out
    assert way is not None
    assert way.serious


def test_a_drive_through_lane_is_not_entered() -> None:
    town = Town().node(1, -500, 0).node(2, 0, 0).node(3, 500, 0).node(4, 0, 60).node(5, 60, 60).node(6, 60, 0)
    town.way(10, [1, 2, 6, 3], {"highway": "residential", "name": "Front Street"})
    town.way(11, [2, 4, 5, 6], {"highway": "service", "service": "drive-through"})
    found = drive(network_of(town.extract()), halts=[halt(-400, 0), halt(30, 60)])
    way = found.stops[-1].in_out
    assert way is not None
    assert way.answer is InOutAnswer.DO_NOT_ENTER
    assert roads(found) == ["Front Street"]


@pytest.mark.parametrize("at", [1, 2, 3])
def test_each_stop_is_told_of_its_own_place(at: int) -> None:
    """One of three stops lies on a drive-through lane; the others on the street."""
    town = Town().node(1, -500, 0).node(2, 0, 0).node(3, 500, 0).node(4, 0, 60).node(5, 60, 60).node(6, 60, 0)
    town.way(10, [1, 2, 6, 3], {"highway": "residential", "name": "Front Street"})
    town.way(11, [2, 4, 5, 6], {"highway": "service", "service": "drive-through"})
    stops = [halt(-400, 0), halt(-300, 0), halt(-200, 0), halt(400, 0)]
    stops[at] = halt(30, 60)
    found = drive(network_of(town.extract()), halts=stops)
    for n, stop in enumerate(found.stops[1:], start=1):
        assert stop.in_out is not None
        assert (stop.in_out.answer is InOutAnswer.DO_NOT_ENTER) is (n == at)
        assert stop.off_road_m == pytest.approx(60 if n == at else 0, abs=0.1)


def test_no_way_at_all_and_no_road_near() -> None:
    town = Town().node(1, 0, 0).node(2, 500, 0).node(3, 5000, 0).node(4, 5500, 0)
    town.way(10, [1, 2]).way(11, [3, 4])
    network = network_of(town.extract())
    with pytest.raises(NoWayError, match="no way leads"):
        drive(network, halts=[halt(100, 0), halt(5200, 0)])
    with pytest.raises(PlaceError):
        drive(network, halts=[halt(100, 0), halt(0, 3000)])


@pytest.mark.parametrize(("halts", "given"), [([], 0), ([halt(*START, stay_s=600)], 1)])
def test_fewer_than_two_places_are_no_drive(halts: list[Halt], given: int) -> None:
    with pytest.raises(UsageError, match=f"two places, a start and an end; {given} given"):
        plan_day(two_ways(), COACH, halts, unverified=Unverified.AVOID)


def test_stays_and_arrival_times_add_up() -> None:
    town = two_ways({"maxheight": "15'"})
    found = drive(town, halts=[halt(*START), halt(300, 0, stay_s=600), halt(*END)])
    first, middle, last = found.stops
    assert first.leaves_s == 0
    assert middle.leaves_s - middle.arrives_s == 600
    assert last.arrives_s == pytest.approx(found.duration_s + 600)


def test_a_halt_is_left_at_once_unless_a_stay_is_told() -> None:
    halts = [Halt(place=halt(x, 0).place) for x in (-400, 300, 1400)]
    found = drive(two_ways({"maxheight": "15'"}), halts=halts)
    assert [s.leaves_s - s.arrives_s for s in found.stops] == [0, 0, 0]


def test_a_long_stay_with_a_departure_is_part_of_the_time_of_the_drive() -> None:
    """Three hours at a stop: the night's limit on the way home counts from 22:00 on."""
    network = two_ways({"maxheight": "16'", "maxheight:conditional": "12' @ (22:00-06:00)"})
    stops = [halt(*START), halt(1200, 0, stay_s=3 * 3600), halt(*END)]
    day = drive(network, halts=stops, departure=datetime(2026, 7, 14, 8))
    assert roads(day)[:2] == DIRECT[:2]
    assert day.stops[1].leaves_s - day.stops[1].arrives_s == 3 * 3600
    late = drive(network, halts=stops, departure=datetime(2026, 7, 14, 19, 30))
    assert "Low Street" not in roads(late)


def test_a_day_put_in_its_best_order() -> None:
    network = two_ways({"maxheight": "16'"})
    stops = [halt(-400, 0), halt(1300, 0, name="far"), halt(500, 0, name="near"), halt(1400, 0)]
    found, said = reordered(network, COACH, stops, unverified=Unverified.AVOID)
    assert [h.place.name for h in found[1:-1]] == ["near", "far"]
    assert said == "stops put in the best order: near, far"
    blocked = two_ways({"maxheight": "12'"}, {"maxheight": "12'"})
    kept, why = reordered(blocked, COACH, stops, unverified=Unverified.AVOID)
    assert kept == stops
    assert "no order of the stops has a drive on every leg" in why


def test_of_several_legs_the_one_that_no_drive_fits_is_named() -> None:
    network = two_ways({"maxheight": "12'"}, {"maxheight": "12'"})
    three = drive(network, halts=[halt(*START), halt(-200, 0, name="A"), halt(*END, name="B")])
    assert three.notes == ("the part from A to B is the one that no drive fits",)
    assert drive(network).notes == ()


#: Fits under the low streets of `grid_town`, tightly.
LOWER = Coach(height=Length.from_feet(10, 9), margin=Length.from_feet(0, 6))


def along(found: Drive, distance_m: float) -> tuple[float, float]:
    """The point of the line of a drive so far along it, measured on WGS84."""
    geod, left = Geod(ellps="WGS84"), distance_m
    for piece in found.pieces:
        for (ax, ay), (bx, by) in zip(piece.points, piece.points[1:], strict=False):
            azimuth, _, length = geod.inv(ax, ay, bx, by)
            if left <= length + 0.01:
                lon, lat, _ = geod.fwd(ax, ay, azimuth, max(left, 0.0))
                return lon, lat
            left -= length
    raise AssertionError("beyond the end")


@pytest.mark.parametrize("seed", range(12))
def test_a_day_of_several_stops_hangs_together(seed: int) -> None:
    """Each finding and turn-off lies on the line where it is said to, each stop where the day comes to it."""
    chance = np.random.default_rng(seed)
    network = grid_town(seed)
    spots = chance.uniform(10, 390, (2 + seed % 3, 2)).tolist()
    halts = [halt(x, y, stay_s=100.0 * n, name=f"stop {n}") for n, (x, y) in enumerate(spots, start=1)]
    try:
        found = drive(network, LOWER, halts, unverified=Unverified.ACCEPT)
    except (NoWayError, PlaceError):
        return
    if found.verdict is Verdict.BLOCKED:
        return
    assert [s.place for s in found.stops] == [h.place for h in halts]
    driven = 0.0
    last = len(halts) - 1
    for n, stop in enumerate(found.stops):
        assert stop.leaves_s - stop.arrives_s == pytest.approx(halts[n].stay_s if n < last else 0.0)
        lon, lat = along(found, stop.distance_m)
        assert (stop.lon, stop.lat) == pytest.approx((lon, lat), abs=2e-6)
        if n:
            before = found.stops[n - 1]
            driven += stop.arrives_s - before.leaves_s
            assert stop.distance_m >= before.distance_m
            assert (stop.in_out is not None) or n == 0
    assert driven == pytest.approx(found.duration_s)
    assert found.stops[0].leaves_s == halts[0].stay_s
    assert found.stops[-1].distance_m == pytest.approx(found.distance_m)
    for finding in found.findings:
        assert (finding.lon, finding.lat) == pytest.approx(along(found, finding.distance_m), abs=2e-6)
        # What stands over a stop is met on both legs.
        leg = max(n for n in range(last) if found.stops[n].leaves_s <= finding.seconds + 1e-6)
        assert finding.seconds <= found.stops[leg + 1].arrives_s + 1e-6
        assert finding.distance_m <= found.stops[leg + 1].distance_m + 0.01
        assert finding.distance_m >= found.stops[leg].distance_m - 0.01
        if finding.turn_off is not None:
            turn = finding.turn_off
            assert turn.distance_m == pytest.approx(finding.distance_m - turn.before_m, abs=0.01)
            assert (turn.lon, turn.lat) == pytest.approx(along(found, turn.distance_m), abs=2e-6)
            assert turn.distance_m >= found.stops[leg].distance_m - 0.01


# --- times ----------------------------------------------------------------------------------------------


def limited(when: str) -> Network:
    """Low Street under 14'6", but 3.5 m at such times."""
    return two_ways({"maxheight": "14'6\"", "maxheight:conditional": f"3.5 @ ({when})"})


@pytest.mark.parametrize(("hour", "minute", "way"), [(4, 50, DIRECT), (5, 10, ROUND)])
def test_a_short_drive_is_judged_for_two_hours(hour: int, minute: int, way: list[str]) -> None:
    departure = datetime(2026, 7, 1, hour, minute)
    assert roads(drive(limited("07:00-19:00"), departure=departure)) == way


@pytest.mark.parametrize(("when", "way"), [("12:50-20:00", ROUND), ("13:10-20:00", DIRECT)])
def test_the_time_of_a_drive_grows_by_its_stays_and_no_more(when: str, way: list[str]) -> None:
    """Two hours and a stay of three, from eight."""
    stops = [halt(*START), halt(-200, 0, stay_s=3 * 3600), halt(*END)]
    found = drive(limited(when), halts=stops, departure=datetime(2026, 7, 1, 8))
    assert [p.road for p in found.pieces][-3:] == way


@pytest.mark.parametrize(("more", "way"), [(0, DIRECT), (1, ROUND)])
def test_over_more_than_a_fortnight_every_condition_holds(more: int, way: list[str]) -> None:
    stops = [halt(*START), halt(-200, 0, stay_s=14 * 86_400 - 2 * 3600 + more), halt(*END)]
    found = drive(limited("Dec"), halts=stops, departure=datetime(2026, 7, 1, 8))
    assert roads(found)[-3:] == way


def slow_town(when: str) -> Network:
    """The two ways behind a track of 12 km at 5 km/h, which takes two hours and 24 minutes."""
    town = Town()
    for ref, (x, y) in {
        1: (-12_100, 0), 2: (0, 0), 3: (1000, 0), 4: (1500, 0), 5: (0, 1000), 6: (1000, 1000),
    }.items():  # fmt: skip
        town.node(ref, x, y)
    town.way(10, [1, 2], {"highway": "residential", "name": "West Road", "maxspeed": "5"})
    low = {"maxheight": "5", "maxheight:conditional": f"3.5 @ ({when})"}
    town.way(11, [2, 3], {"highway": "residential", "name": "Low Street"} | low)
    town.way(12, [2, 5, 6, 3], {"highway": "residential", "name": "High Street"})
    town.way(13, [3, 4], {"highway": "residential", "name": "East Road"})
    return network_of(town.extract())


@pytest.mark.parametrize(("when", "way"), [("12:30-20:00", ROUND), ("13:00-20:00", DIRECT)])
def test_a_drive_of_more_than_two_hours_is_judged_for_twice_its_time(when: str, way: list[str]) -> None:
    """From eight it comes to the low street at 10:24, and is judged up to 12:50 or so."""
    found = drive(slow_town(when), halts=[halt(-12_000, 0), halt(*END)], departure=datetime(2026, 7, 1, 8))
    assert 2.4 * 3600 < found.duration_s < 2.6 * 3600
    assert roads(found) == way


def test_a_drive_of_just_two_hours_is_judged_for_two_hours() -> None:
    """And one that takes a second more for twice as long: the low street's hours begin at half past ten."""
    network = slow_town("10:30-20:00")

    def day(lon: float, hour: int) -> Drive:
        start = Halt(place=Place(lon=lon, lat=lonlat(0, 0)[1]))
        return drive(network, halts=[start, halt(*END)], departure=datetime(2026, 7, 1, hour))

    # On a straight track the time falls in step with how far east one begins.
    west, east = (lonlat(x, 0)[0] for x in (-9500, -9000))
    long, short = (day(lon, 21).duration_s for lon in (west, east))

    def taking(seconds: float) -> Drive:
        return day(east + (seconds - short) * (west - east) / (long - short), 8)

    just, more = taking(7200), taking(7201)
    assert timedelta(seconds=just.duration_s) == timedelta(hours=2)
    assert (roads(just), roads(more)) == (DIRECT, ROUND)


# --- the order of stops ---------------------------------------------------------------------------------


def cost_of(network: Network, coach: Coach, halts: Sequence[Halt]) -> tuple[float, bool]:
    """What the day in this order costs by `plan_day`, and whether a place was moved off an island."""
    try:
        day = plan_day(network, coach, halts, unverified=Unverified.ACCEPT)
    except NoWayError:
        return np.inf, False
    if day.verdict is Verdict.BLOCKED:
        return np.inf, bool(day.notes) and "cut off" in day.notes[0]
    return day.duration_s + day.policy_seconds, bool(day.notes)


@pytest.mark.parametrize("seed", range(12))
def test_the_best_order_is_that_of_the_cheapest_day(seed: int) -> None:
    """Every order planned by itself, turning round at dead ends counted."""
    chance = np.random.default_rng(seed)
    network = grid_town(seed)
    halts = [halt(x, y, name=f"{x:.0f}") for x, y in chance.uniform(0, 380, (4 + seed % 2, 2)).tolist()]
    coach = Coach(height=LOWER.height, margin=LOWER.margin, towing=seed % 3 == 0)
    costs = []
    for middle in permutations(halts[1:-1]):
        cost, moved = cost_of(network, coach, [halts[0], *middle, halts[-1]])
        if moved:
            return
        costs.append(cost)
    found, said = reordered(network, coach, halts, unverified=Unverified.ACCEPT)
    if np.isinf(costs).all():
        assert found == halts
        assert "no order" in said
        return
    assert (found[0], found[-1]) == (halts[0], halts[-1])
    assert {h.place for h in found} == {h.place for h in halts}
    assert cost_of(network, coach, found)[0] == pytest.approx(min(costs), abs=1e-6)


def test_an_end_that_cannot_be_left_forward_counts_in_the_order() -> None:
    """The last stop is come to from the west quickly, but from there no way leads on; from the mill one does.

    One-way streets lead to the mill and on to the last stop, from home to the quay, and slowly from there to
    the mill's street. Quay first is twice as long, and needs no turning round.
    """
    town = Town()
    for ref, (x, y) in {
        1: (-100, 0), 2: (500, 0), 3: (500, -700), 4: (100, -700), 5: (100, -1100), 6: (-300, -1100),
        7: (400, -350), 8: (-100, -1000),
    }.items():  # fmt: skip
        town.node(ref, x, y)
    one_way = {"highway": "residential", "oneway": "yes"}
    town.way(10, [1, 2]).way(11, [2, 3], one_way).way(12, [3, 4]).way(13, [4, 5]).way(14, [1, 6, 5], one_way)
    town.way(15, [4, 7, 2], one_way | {"maxspeed": "10"}).way(16, [5, 8, 4], one_way)
    network = network_of(town.extract())
    stops = [halt(0, 0), halt(100, -900, name="quay"), halt(500, -400, name="mill"), halt(300, -700)]
    costs = {
        order: cost_of(network, COACH, [stops[0], *(stops[n] for n in order), stops[-1]])[0]
        for order in ((1, 2), (2, 1))
    }
    assert costs[1, 2] < costs[2, 1] < 2 * costs[1, 2]
    for given in (stops, [stops[n] for n in (0, 2, 1, 3)]):
        found, _ = reordered(network, COACH, given, unverified=Unverified.AVOID)
        assert [h.place.name for h in found[1:-1]] == ["quay", "mill"]


def test_the_order_is_the_best_at_the_time_of_the_drive() -> None:
    """By day the low street is closed: the stop beyond it is driven to by way of the one on the detour."""
    network = limited("07:00-19:00")
    stops = [halt(*START), halt(1200, 0, name="beyond"), halt(0, 900, name="detour"), halt(1400, 0)]

    def order(departure: datetime | None) -> list[str]:
        found, _ = reordered(network, COACH, stops, unverified=Unverified.AVOID, departure=departure)
        return [h.place.name for h in found[1:-1]]

    assert order(datetime(2026, 7, 1, 9)) == order(None) == ["detour", "beyond"]
    assert order(datetime(2026, 7, 1, 4, 50)) == order(datetime(2026, 7, 1, 20))
    night = [
        cost_at(network, [stops[0], *middle, stops[-1]], datetime(2026, 7, 1, 20))
        for middle in (stops[1:3], stops[2:0:-1])
    ]
    cheaper = ["beyond", "detour"] if night[0] < night[1] else ["detour", "beyond"]
    assert order(datetime(2026, 7, 1, 20)) == cheaper


def cost_at(network: Network, halts: Sequence[Halt], departure: datetime) -> float:
    day = plan_day(network, COACH, halts, unverified=Unverified.AVOID, departure=departure)
    return day.duration_s + day.policy_seconds


def test_stops_without_names_are_told_by_their_numbers() -> None:
    network = two_ways({"maxheight": "16'"})
    stops = [halt(-400, 0), halt(1300, 0), halt(500, 0), halt(700, 0, name="near"), halt(1400, 0)]
    found, said = reordered(network, COACH, stops, unverified=Unverified.AVOID)
    assert found == [stops[n] for n in (0, 2, 3, 1, 4)]
    assert said == "stops put in the best order: stop 2, near, stop 1"


def test_an_order_of_many_stops_is_not_said_to_be_the_best() -> None:
    network = two_ways({"maxheight": "16'"})
    middle = [halt(x, 0, name=f"at {x}") for x in range(1300, 200, -100)]
    stops = [halt(-400, 0), *middle, halt(1400, 0)]
    found, said = reordered(network, COACH, stops, unverified=Unverified.AVOID)
    assert found == [stops[0], *middle[::-1], stops[-1]]
    assert len(middle) == MOST_EXACT + 1
    told = ", ".join(h.place.name for h in middle[::-1])
    assert said == f"stops put in a good order, not surely the best as there are more than 10: {told}"


# --- what is for the ends of a drive only -----------------------------------------------------------------


@pytest.fixture(scope="module")
def estate() -> Network:
    return estate_town()


def test_a_turn_off_leads_over_private_roads_of_the_stop_ahead(estate: Network) -> None:
    day = drive(estate, halts=[halt(*START), halt(*IN_ESTATE), halt(*END)], unverified=Unverified.ACCEPT)
    alone = drive(estate, halts=[halt(*START), halt(*IN_ESTATE)], unverified=Unverified.ACCEPT)
    (finding,) = alone.findings
    assert finding.turn_off is not None
    assert (finding.turn_off.onto, finding.turn_off.leads_on) == ("High Street", True)
    assert day.findings[0].turn_off == finding.turn_off


@pytest.mark.parametrize(("before", "onto"), [([], "Estate Row"), ([halt(*END)], "Estate Road")])
def test_a_turn_off_leads_over_private_roads_of_the_stop_behind(
    estate: Network, before: list[Halt], onto: str
) -> None:
    """Out of the estate by the one street or, coming through it, by the other; the other leads round."""
    stops = [*before, halt(*IN_ESTATE), halt(*START), halt(-450, 0)]
    found = drive(estate, halts=stops, unverified=Unverified.ACCEPT)
    (finding,) = found.findings
    assert finding.turn_off is not None
    assert (finding.turn_off.onto, finding.turn_off.leads_on) == (onto, True)


# --- where nothing leads ----------------------------------------------------------------------------------


def test_the_ends_of_a_part_that_no_way_leads_over_are_named_in_order() -> None:
    town = Town().node(1, 0, 0).node(2, 500, 0).node(3, 5000, 0).node(4, 5500, 0)
    town.way(10, [1, 2]).way(11, [3, 4])
    network = network_of(town.extract())
    named = [halt(50, 0, name="A"), halt(400, 0, name="B"), halt(5200, 0, name="C")]
    for stops, told in (
        (named, "from B to C in"),
        ([named[0], named[2], named[1]], "from A to C in"),
        ([halt(100, 0), named[2]], "from {1:.5f},{0:.5f} to C in".format(*lonlat(100, 0))),
        ([named[0], halt(5200, 0)], "from A to {1:.5f},{0:.5f} in".format(*lonlat(5200, 0))),
    ):
        with pytest.raises(NoWayError, match=f"no way leads {told} the map data, whatever the vehicle"):
            drive(network, halts=stops)


def test_a_structure_that_the_coach_passes_is_no_difference_to_the_car() -> None:
    """Both pass a railway of unknown height; the car alone passes one that is too low."""
    town = Town()
    for ref, (x, y) in {
        1: (-500, 0), 2: (0, 0), 3: (1000, 0), 4: (1500, 0), 5: (0, 800), 6: (1000, 800),
        11: (500, -50), 12: (500, 50), 13: (-200, -50), 14: (-200, 50),
    }.items():  # fmt: skip
        town.node(ref, x, y)
    town.way(10, [1, 2]).way(13, [3, 4]).way(12, [2, 5, 6, 3])
    town.way(11, [2, 3], {"highway": "residential", "maxheight": "3"})
    for ref, nodes, name in ((20, [11, 12], "Low Line"), (21, [13, 14], "West Line")):
        town.way(ref, nodes, {"railway": "rail", "bridge": "yes", "layer": "1", "name": name})
    found = drive(network_of(town.extract()), unverified=Unverified.ACCEPT)
    assert [f.structure.name for f in found.findings] == ["West Line"]
    assert found.car is not None
    assert [(f.number, f.structure.name) for f in found.car.differences] == [(1, "Low Line")]
    for before, after in pairwise(found.car.points):
        assert before != after

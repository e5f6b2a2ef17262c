"""Facilities along a drive: which, how far off, in which order, and how one gets out again."""

from __future__ import annotations

import pytest

from clearance.assess.day import Along, plan_day
from clearance.core.coach import Coach, Fuel
from clearance.core.drive import Drive, InOutAnswer, Unverified
from clearance.core.facility import Facility, FacilityKind
from clearance.core.lengths import Length
from clearance.network.network import Network
from clearance.workflow import network_of
from tests.assess.towns import COACH, halt, street_by_a_block, turned
from tests.towns import Town

GAS = {"amenity": "fuel", "fuel:octane_91": "yes", "fuel:octane_95": "yes", "fuel:diesel": "yes"}


def street(
    facilities: dict[int, tuple[float, float, dict[str, str]]], coach: Coach = COACH, minutes: float = 10
) -> Drive:
    """A street of 4 km with a ring of 300 m south of it and a blind lane north of it."""
    town = Town()
    corners: dict[int, tuple[float, float]] = {
        1: (0, 0), 2: (1000, 0), 3: (2000, 0), 4: (4000, 0), 5: (1000, -300), 6: (2000, -300), 7: (3000, 0),
        8: (3000, 400),
    }  # fmt: skip
    for ref, (x, y) in corners.items():
        town.node(ref, x, y)
    town.way(10, [1, 2, 3, 7, 4], {"highway": "primary", "name": "Long Street", "maxspeed": "60"})
    town.way(11, [2, 5, 6, 3], {"highway": "residential", "name": "South Ring", "maxspeed": "30"})
    town.way(12, [7, 8], {"highway": "residential", "name": "Blind Lane", "maxspeed": "30"})
    for ref, (east, north, tags) in facilities.items():
        town.node(ref, east, north, tags)
    return plan_day(
        network_of(town.extract()),
        coach,
        [halt(100, 0), halt(3900, 0)],
        unverified=Unverified.AVOID,
        along=Along(kinds=tuple(FacilityKind), detour_s=minutes * 60),
    )


def one(drive: Drive, ref: int) -> list[Facility]:
    return [f for f in drive.along if f.place.osm == f"node/{ref}"]


def test_on_the_street_there_is_no_detour() -> None:
    (fuel,) = one(street({100: (500, 10, GAS | {"name": "Half Way"})}), 100)
    assert (fuel.kind, fuel.place.name) == (FacilityKind.FUEL, "Half Way")
    assert fuel.detour_s == pytest.approx(0, abs=0.1)
    assert fuel.in_out.answer is InOutAnswer.DRIVES_THROUGH
    assert any("91, 95" in note for note in fuel.notes)


def test_the_detour_is_what_the_ring_takes_more() -> None:
    """The ring is 1,600 m at 30 km/h against 1,000 m at 60 km/h: 192 s against 60 s."""
    (camp,) = one(street({100: (1500, -310, {"tourism": "caravan_site", "name": "Ring Camp"})}), 100)
    assert camp.kind is FacilityKind.CAMP
    assert camp.detour_s == pytest.approx(132, rel=0.01)
    assert camp.distance_m == pytest.approx(900, rel=0.01)
    assert one(street({100: (1500, -310, {"tourism": "caravan_site"})}, minutes=2), 100) == []


def test_a_blind_lane_needs_room_to_turn() -> None:
    (water,) = one(street({100: (3000, 300, {"amenity": "water_point"})}), 100)
    assert water.in_out.answer is InOutAnswer.NEEDS_ROOM
    assert water.in_out.dead_end_m == pytest.approx(300, rel=0.01)
    assert water.detour_s == pytest.approx(2 * 300 / (30 / 3.6), rel=0.02)


def test_in_the_order_of_the_drive_each_kind_once() -> None:
    drive = street(
        {
            100: (3500, 5, {"amenity": "sanitary_dump_station"}),
            101: (600, 5, {"shop": "gas", "name": "Bottle Shop"}),
            102: (1800, 5, GAS | {"fuel:lpg": "yes"}),
        }
    )
    assert [(f.place.osm, f.kind) for f in drive.along if not f.full_tank] == [
        ("node/101", FacilityKind.PROPANE),
        ("node/102", FacilityKind.PROPANE),
        ("node/100", FacilityKind.DUMP),
    ]
    assert [f.place.osm for f in drive.along if f.full_tank] == ["node/102"]


def test_the_last_station_is_offered_for_a_full_tank() -> None:
    drive = street({100: (600, 5, GAS), 101: (3600, 5, GAS), 102: (3700, 5, GAS | {"maxheight": "12'"})})
    assert [f.place.osm for f in drive.along if f.full_tank] == ["node/101"]
    (low,) = one(drive, 102)
    assert low.canopy == Length.from_feet(12)


@pytest.mark.parametrize(
    ("tags", "coach", "listed"),
    [
        ({"amenity": "fuel", "hgv": "only"}, COACH, False),
        ({"amenity": "fuel", "fuel:diesel": "yes"}, COACH, False),
        ({"amenity": "fuel", "fuel:diesel": "yes", "fuel:octane_87": "no"}, COACH, False),
        ({"amenity": "fuel"}, COACH, True),
        (GAS, COACH, True),
        (
            {"amenity": "fuel", "fuel:diesel": "yes"},
            Coach(height=Length.from_feet(12), fuel=Fuel.DIESEL),
            True,
        ),
        (
            {"amenity": "fuel", "fuel:octane_87": "yes"},
            Coach(height=Length.from_feet(12), fuel=Fuel.DIESEL),
            False,
        ),
        ({"tourism": "camp_site", "caravans": "no"}, COACH, False),
        ({"tourism": "caravan_site", "access": "private"}, COACH, False),
    ],
)
def test_what_is_of_no_use_is_left_out(tags: dict[str, str], coach: Coach, listed: bool) -> None:
    assert bool(one(street({100: (1500, 5, tags)}, coach), 100)) is listed


def town_of(
    facilities: dict[int, tuple[float, float, dict[str, str]]],
    corners: dict[int, dict[str, str]] | None = None,
) -> Network:
    """The same street; `corners` are tags of its nodes."""
    town = Town()
    places: dict[int, tuple[float, float]] = {
        1: (0, 0), 2: (1000, 0), 3: (2000, 0), 4: (4000, 0), 5: (1000, -300), 6: (2000, -300), 7: (3000, 0),
        8: (3000, 400),
    }  # fmt: skip
    for ref, (x, y) in places.items():
        town.node(ref, x, y, (corners or {}).get(ref))
    town.way(10, [1, 2, 3, 7, 4], {"highway": "primary", "name": "Long Street", "maxspeed": "60"})
    town.way(11, [2, 5, 6, 3], {"highway": "residential", "name": "South Ring", "maxspeed": "30"})
    town.way(12, [7, 8], {"highway": "residential", "name": "Blind Lane", "maxspeed": "30"})
    for ref, (east, north, tags) in facilities.items():
        town.node(ref, east, north, tags)
    return network_of(town.extract())


def along(
    network: Network,
    *stops: float,
    coach: Coach = COACH,
    seconds: float = 600,
    kinds: tuple[FacilityKind, ...] = tuple(FacilityKind),
) -> tuple[Facility, ...]:
    return plan_day(
        network,
        coach,
        [halt(x, 0) for x in stops],
        unverified=Unverified.AVOID,
        along=Along(kinds=kinds, detour_s=seconds),
    ).along


DUMP = {"amenity": "sanitary_dump_station"}
WATER = {"amenity": "water_point"}


def test_what_is_at_the_corners_of_the_drive_is_in_the_drive_and_the_detour_alike() -> None:
    """A bar of untold height on the way costs a quarter of an hour either way: no detour."""
    network = town_of({100: (2500, 5, DUMP), 101: (1500, 5, DUMP)}, {3: {"barrier": "height_restrictor"}})
    before, after = along(network, 100, 3900)
    assert (before.place.osm, after.place.osm) == ("node/101", "node/100")
    assert before.detour_s == pytest.approx(0, abs=0.1)
    assert after.detour_s == pytest.approx(0, abs=0.1)


def test_a_structure_on_the_way_to_a_facility_counts_in_its_detour() -> None:
    network = town_of({100: (1500, -305, DUMP)}, {5: {"barrier": "height_restrictor"}})
    assert along(network, 100, 3900, seconds=600) == ()
    (dump,) = along(network, 100, 3900, seconds=1100)
    assert dump.detour_s == pytest.approx(132 + 900, rel=0.01)


@pytest.mark.parametrize(("seconds", "listed"), [(71.5, False), (72.7, True)])
def test_a_detour_as_long_as_allowed_is_allowed(seconds: float, listed: bool) -> None:
    """300 m into the blind lane and out again at 30 km/h: 72 s."""
    network = town_of({100: (3000, 300, WATER)})
    assert bool(along(network, 100, 3900, seconds=seconds)) is listed


@pytest.mark.parametrize(("north", "listed"), [(149, True), (151, False)])
def test_a_facility_farther_than_150_m_from_any_road_is_none(north: float, listed: bool) -> None:
    network = town_of({100: (500, north, DUMP)})
    assert bool(along(network, 100, 3900)) is listed


@pytest.mark.parametrize("x", [110, 150, 900, 1100, 2500, 3500, 3890])
def test_how_far_along_the_drive_a_facility_is(x: float) -> None:
    (dump,) = along(town_of({100: (x, 5, DUMP)}), 100, 3900)
    assert dump.distance_m == pytest.approx(x - 100, abs=1)
    assert dump.detour_s == pytest.approx(0, abs=0.2)
    assert (dump.place.osm, dump.in_out.answer) == ("node/100", InOutAnswer.DRIVES_THROUGH)


def test_beyond_the_end_a_coach_has_to_turn() -> None:
    (beyond,) = along(town_of({100: (3950, 5, DUMP)}), 100, 3900)
    assert beyond.in_out.answer is InOutAnswer.NEEDS_ROOM
    assert beyond.distance_m == pytest.approx(3800, abs=1)


def test_on_the_second_leg_distances_count_from_the_start_of_the_day() -> None:
    network = town_of({100: (3500, 5, DUMP), 101: (500, 5, WATER)})
    water, dump = along(network, 100, 1500, 3900)
    assert water.distance_m == pytest.approx(400, abs=1)
    assert dump.distance_m == pytest.approx(3400, abs=1)


def test_only_what_was_asked_for() -> None:
    network = town_of({100: (500, 5, DUMP), 101: (600, 5, WATER), 102: (700, 5, GAS)})
    assert [f.kind for f in along(network, 100, 3900, kinds=(FacilityKind.WATER,))] == [FacilityKind.WATER]
    assert along(network, 100, 3900, kinds=()) == ()


def tank(
    *stations: tuple[float, float, dict[str, str]], coach: Coach = COACH, stops: tuple[float, ...] = ()
) -> str:
    """The station for a full tank; empty where there is none."""
    network = town_of({100 + i: station for i, station in enumerate(stations)})
    found = [f.place.osm for f in along(network, *(stops or (100, 3900)), coach=coach) if f.full_tank]
    assert len(found) < 2
    return found[0] if found else ""


def test_the_station_for_a_full_tank() -> None:
    assert tank() == ""
    assert tank((500, 5, GAS)) == "node/100"
    # As near to the end as there is.
    assert tank((500, 5, GAS), (2500, 5, GAS)) == "node/101"
    assert tank((2500, 5, GAS), (500, 5, GAS)) == "node/100"
    # A minute of detour weighs as much as a kilometre: 132 s of it lose against a kilometre earlier.
    assert tank((1500, -305, GAS), (500, 5, GAS)) == "node/101"
    # No station where the coach has to turn round, nor under a canopy below its need.
    assert tank((3000, 300, GAS), (500, 5, GAS)) == "node/101"
    need = COACH.need.tenths
    for tenths, station in ((need, "node/101"), (need - 1, "node/100")):
        height = {"maxheight": f"{tenths / 10_000:.4f}"}
        assert tank((500, 5, GAS), (2500, 5, GAS | height)) == station
    # On the last leg only.
    assert tank((500, 5, GAS), stops=(100, 1500, 3900)) == ""
    assert tank((500, 5, GAS), (1600, 5, GAS), stops=(100, 1500, 3900)) == "node/101"


def test_a_station_for_a_full_tank_comes_even_where_detours_are_not_wanted() -> None:
    network = town_of({100: (1500, -305, GAS)})
    (only,) = along(network, 100, 3900, seconds=10)
    assert only.full_tank
    assert along(network, 100, 3900, seconds=10, kinds=(FacilityKind.DUMP,)) == ()


def test_the_lowest_height_told_of_a_station_is_its_canopy() -> None:
    network = town_of({100: (500, 5, GAS | {"maxheight": "4.5", "maxheight:physical": "4.2"})})
    (fuel,) = along(network, 100, 3900)
    assert fuel.canopy == Length.from_metres("4.2")


def test_a_facility_that_cannot_be_had_does_not_hide_the_next() -> None:
    network = town_of(
        {100: (500, 160, DUMP), 101: (600, 5, DUMP), 102: (700, 9000, DUMP), 103: (800, 5, DUMP)}
    )
    assert [f.place.osm for f in along(network, 100, 3900)] == ["node/101", "node/103"]


def wide_town(*facilities: tuple[float, float, dict[str, str]]) -> Network:
    """A road of 20 km north and then 20 km east, and one of 16 km west from half way north, at 100 km/h."""
    town = Town()
    for ref, (x, y) in {
        1: (0, 0),
        2: (0, 10_000),
        3: (0, 20_000),
        4: (20_000, 20_000),
        5: (-16_000, 10_000),
    }.items():
        town.node(ref, x, y)
    fast = {"highway": "primary", "maxspeed": "100"}
    town.way(10, [1, 2, 3, 4], fast).way(11, [2, 5], fast)
    for n, (east, north, tags) in enumerate(facilities):
        town.node(100 + n, east, north, tags)
    return network_of(town.extract())


def wide(network: Network, seconds: float) -> dict[str, Facility]:
    found = plan_day(
        network,
        COACH,
        [halt(0, 100), halt(19_900, 20_000)],
        unverified=Unverified.AVOID,
        along=Along(kinds=tuple(FacilityKind), detour_s=seconds),
    ).along
    return {f.place.osm: f for f in found}


def test_facilities_are_found_at_every_end_of_a_wide_drive() -> None:
    """At its south, west, north and east, each many kilometres from the others."""
    network = wide_town((10, 500, DUMP), (10, 19_500, DUMP), (19_500, 20_010, DUMP), (10_000, 19_990, DUMP))
    found = wide(network, 60)
    assert list(found) == ["node/100", "node/101", "node/103", "node/102"]
    for facility, metres in zip(found.values(), (400, 19_400, 29_900, 39_400), strict=True):
        assert facility.distance_m == pytest.approx(metres, rel=2e-3)
        assert facility.detour_s == pytest.approx(0, abs=0.1)


@pytest.mark.parametrize(
    ("x", "seconds", "listed"),
    # There and back at 100 km/h: 10 km take 720 s, 15.5 km 1,116 s.
    [(10_000, 710, False), (10_000, 730, True), (15_500, 1100, False), (15_500, 1130, True)],
)
def test_a_facility_far_off_is_found_if_one_gets_there_in_time(
    x: float, seconds: float, listed: bool
) -> None:
    found = wide(wide_town((-x, 10_010, DUMP)), seconds)
    assert bool(found) is listed
    if listed:
        assert found["node/100"].detour_s == pytest.approx(2 * x / (100 / 3.6), rel=1e-2)
        assert found["node/100"].distance_m == pytest.approx(9_900, rel=1e-2)


def test_at_the_very_start_and_end_of_the_drive() -> None:
    network = town_of({100: (100, 0, DUMP), 101: (3900, 0, WATER)})
    dump, water = along(network, 100, 3900)
    for facility, metres in ((dump, 0), (water, 3800)):
        assert facility.distance_m == pytest.approx(metres, abs=0.1)
        assert facility.detour_s == pytest.approx(0, abs=0.01)
        assert facility.in_out.answer is InOutAnswer.DRIVES_THROUGH


@pytest.mark.parametrize("number", range(8))
def test_a_detour_is_as_long_whichever_way_the_town_lies(number: int) -> None:
    """A ring off a street, with lanes at its corners; the facility lies on its far side."""
    town = Town()
    for ref, (x, y) in {
        1: (0, 0), 2: (1000, 0), 3: (2000, 0), 4: (3000, 0), 5: (1000, -300), 6: (2000, -300), 7: (900, -400),
        8: (2100, -400),
    }.items():  # fmt: skip
        town.node(ref, *turned(x, y, number))
    town.way(10, [1, 2, 3, 4], {"highway": "primary", "maxspeed": "60"})
    for n, pair in enumerate(((2, 5), (5, 6), (6, 3), (5, 7), (6, 8))):
        town.way(11 + n, list(pair), {"highway": "residential", "maxspeed": "30"})
    town.node(100, *turned(1500, -305, number), DUMP).node(101, *turned(1000, -150, number), WATER)
    stops = [halt(*turned(x, 0, number)) for x in (100, 2900)]
    found = plan_day(
        network_of(town.extract()), COACH, stops, unverified=Unverified.AVOID,
        along=Along(kinds=tuple(FacilityKind), detour_s=600),
    ).along  # fmt: skip
    assert [f.kind for f in found] == [FacilityKind.DUMP, FacilityKind.WATER]
    for facility in found:
        assert facility.detour_s == pytest.approx(132, rel=0.01)
        assert facility.distance_m == pytest.approx(900, rel=0.01)
        assert facility.in_out.answer is InOutAnswer.DRIVES_THROUGH


def test_a_private_place_of_the_day_opens_its_roads_on_the_way_to_a_facility() -> None:
    """The stop in the middle of the day lies on a private ring, with a facility behind it."""
    town = street_by_a_block(1000)
    street, private = {"highway": "residential"}, {"highway": "residential", "access": "private"}
    town.way(10, [1, 2], street).way(11, [2, 3], street).way(12, [3, 4], street)
    town.way(13, [2, 5], private).way(14, [5, 6], private).way(15, [6, 3], private)
    town.node(100, 1500, -305, DUMP)
    network = network_of(town.extract())
    kinds = (FacilityKind.DUMP,)
    for stops, detour in (((100, 2900), None), ((100, 1000, 2900), 0.0)):
        halts = [halt(x, -150 if x == 1000 else 0) for x in stops]
        found = plan_day(
            network, COACH, halts, unverified=Unverified.AVOID, along=Along(kinds=kinds, detour_s=600)
        ).along
        assert [round(f.detour_s) for f in found] == ([] if detour is None else [round(detour)])


def test_a_canopy_without_a_figure_is_none_and_hides_no_other() -> None:
    for tags, canopy in (
        ({"maxheight": "default"}, None),
        ({"maxheight": "default", "maxheight:physical": "4.2"}, Length.from_metres("4.2")),
    ):
        (fuel,) = along(town_of({100: (500, 5, GAS | tags)}), 100, 3900)
        assert fuel.canopy == canopy


def test_kinds_of_one_place_come_by_name_and_places_at_one_spot_by_number() -> None:
    network = town_of({101: (700, 5, GAS | {"fuel:lpg": "yes"}), 100: (700, 5, GAS | {"fuel:lpg": "yes"})})
    found = along(network, 100, 3900)
    assert [(f.kind, f.place.osm) for f in found] == sorted((f.kind, f.place.osm) for f in found)
    assert len(found) == 4


@pytest.mark.parametrize(("x", "station"), [(1799, "node/101"), (1801, "node/100")])
def test_a_minute_of_detour_weighs_as_much_as_a_kilometre(x: float, station: str) -> None:
    """132 s of detour, at a ring 3,900 m along the drive, against a station that many metres along it."""
    town = street_by_a_block(4000)
    town.way(10, [1, 2, 3, 4], {"highway": "primary", "maxspeed": "60"})
    town.way(11, [2, 5, 6, 3], {"highway": "residential", "maxspeed": "30"})
    town.node(100, x, 5, GAS).node(101, 4500, -305, GAS)
    found = along(network_of(town.extract()), 100, 5900)
    assert [f.place.osm for f in found if f.full_tank] == [station]


@pytest.mark.parametrize(("speed", "listed"), [("6.006", True), ("5.994", False)])
def test_a_full_tank_is_worth_a_quarter_of_an_hour(speed: str, listed: bool) -> None:
    """1,600 m round at 6.006 km/h take 959 s, a minute of which the straight way takes as well."""
    town = street_by_a_block(1000)
    town.way(10, [1, 2, 3, 4], {"highway": "primary", "maxspeed": "60"})
    town.way(11, [2, 5, 6, 3], {"highway": "residential", "maxspeed": speed})
    town.node(100, 1500, -305, GAS)
    found = along(network_of(town.extract()), 100, 2900, seconds=60)
    assert [f.full_tank for f in found] == ([True] if listed else [])


def test_a_station_where_the_last_leg_begins_is_on_it() -> None:
    network = town_of({100: (1500, 0, GAS)})
    found = along(network, 100, 1500, 3900)
    assert [(f.place.osm, f.full_tank) for f in found] == [("node/100", True)]

"""Facilities along a drive: which, how far off, in which order, and how one gets out again."""

from __future__ import annotations

import pytest

from clearance.assess.day import Along, plan_day
from clearance.core.coach import Coach, Fuel
from clearance.core.drive import Drive, InOutAnswer, Unverified
from clearance.core.facility import Facility, FacilityKind
from clearance.core.lengths import Length
from clearance.workflow import network_of
from tests.assess.towns import COACH, halt
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

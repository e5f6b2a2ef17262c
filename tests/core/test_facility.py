"""What a thing on the map offers a coach, and what it tells."""

from __future__ import annotations

import pytest

from clearance.core.coach import Coach, Fuel
from clearance.core.facility import FACILITY_TAGS, FacilityKind, facility_kinds, facility_notes, serves
from clearance.core.lengths import Length

FUEL, DUMP, CAMP = FacilityKind.FUEL, FacilityKind.DUMP, FacilityKind.CAMP
WATER, PROPANE = FacilityKind.WATER, FacilityKind.PROPANE
COACH = Coach(height=Length.from_feet(13), propane=False)
DIESEL = Coach(height=Length.from_feet(13), propane=False, fuel=Fuel.DIESEL)
YES = ("yes", "customers", "public", "permissive", "designated", "limited")


@pytest.mark.parametrize(
    ("tags", "kinds"),
    [
        ({"amenity": "fuel"}, {FUEL}),
        ({"amenity": "sanitary_dump_station"}, {DUMP}),
        *(({"sanitary_dump_station": word}, {DUMP}) for word in YES),
        ({"sanitary_dump_station": "no"}, set()),
        ({"tourism": "caravan_site"}, {CAMP}),
        ({"tourism": "caravan_site", "caravans": "no"}, {CAMP}),
        ({"tourism": "camp_site"}, {CAMP}),
        ({"tourism": "camp_site", "caravans": "no"}, set()),
        ({"tourism": "hotel"}, set()),
        ({"amenity": "drinking_water"}, {WATER}),
        ({"amenity": "water_point"}, {WATER}),
        ({"water_point": "yes"}, {WATER}),
        ({"drinking_water": "yes"}, {WATER}),
        ({"drinking_water": "no"}, set()),
        ({"water_point": "no"}, set()),
        ({"fuel:lpg": "yes"}, {PROPANE}),
        ({"fuel:propane": "yes"}, {PROPANE}),
        ({"fuel:lpg": "no"}, set()),
        ({"shop": "gas"}, {PROPANE}),
        ({"amenity": "fuel", "fuel:lpg": "yes", "drinking_water": "yes"}, {FUEL, PROPANE, WATER}),
        ({"amenity": "cafe", "shop": "bakery"}, set()),
        ({}, set()),
    ],
)
def test_kinds(tags: dict[str, str], kinds: set[FacilityKind]) -> None:
    assert facility_kinds(tags) == kinds


@pytest.mark.parametrize(
    ("kind", "tags", "gasoline", "diesel"),
    [
        (FUEL, {}, True, True),
        (FUEL, {"fuel:diesel": "yes"}, False, True),
        (FUEL, {"fuel:diesel": "no"}, True, False),
        (FUEL, {"fuel:diesel": "yes", "fuel:octane_87": "yes"}, True, True),
        *((FUEL, {f"fuel:{grade}": "yes"}, True, False) for grade in
          ("octane_95", "e5", "e10", "e85", "gasoline", "petrol", "91", "95", "98")),
        (FUEL, {"fuel:octane_87": "no"}, False, True),
        (FUEL, {"fuel:lpg": "yes"}, False, False),
        (FUEL, {"fuel:lpg": "no"}, True, True),
        (FUEL, {"hgv": "only"}, False, False),
        (FUEL, {"hgv": "yes"}, True, True),
        (FUEL, {"motorcar": "no"}, False, False),
        (FUEL, {"access": "private"}, False, False),
        (FUEL, {"access": "no"}, False, False),
        (FUEL, {"access": "customers"}, True, True),
        (CAMP, {"motorhome": "no"}, False, False),
        (CAMP, {"caravans": "no"}, False, False),
        (CAMP, {"caravans": "yes"}, True, True),
        (DUMP, {"caravans": "no", "hgv": "only"}, True, True),
        (WATER, {"access": "private"}, False, False),
    ],
)  # fmt: skip
def test_of_use(kind: FacilityKind, tags: dict[str, str], gasoline: bool, diesel: bool) -> None:
    assert serves(kind, tags, COACH) is gasoline
    assert serves(kind, tags, DIESEL) is diesel


@pytest.mark.parametrize(
    ("kind", "tags", "notes"),
    [
        (FUEL, {}, ("kinds of fuel not told",)),
        (FUEL, {"fuel:octane_87": "yes", "fuel:octane_93": "yes", "fuel:diesel": "yes"}, ("octane 87, 93",)),
        (FUEL, {"fuel:diesel": "yes"}, ()),
        (FUEL, {"fuel:diesel": "yes", "hgv": "yes"}, ("room for trucks",)),
        (CAMP, {"hgv": "yes"}, ()),
        (CAMP, {"power_supply": "yes", "drinking_water": "no"}, ("power", "no water")),
        (CAMP, {"sanitary_dump_station": "customers"}, ("dump station",)),
        (DUMP, {"power_supply": "yes"}, ()),
        (CAMP, {"maxlength": "12"}, ("limit of length told: 12",)),
        (CAMP, {"maxwidth": "3"}, ("limit of width told: 3",)),
        (DUMP, {"access": "customers"}, ("for guests only",)),
        (DUMP, {"access": "destination"}, ("for guests only",)),
        (DUMP, {"access": "yes"}, ()),
        (DUMP, {"opening_hours": "24/7"}, ("hours told: 24/7",)),
        (DUMP, {"fee": "yes"}, ("for a fee",)),
        (DUMP, {"fee": "no"}, ("no fee",)),
        (DUMP, {"fee": "maybe"}, ()),
    ],
)
def test_notes(kind: FacilityKind, tags: dict[str, str], notes: tuple[str, ...]) -> None:
    assert facility_notes(kind, tags, COACH) == notes


def test_propane_is_spoken_of_at_the_pump_alone() -> None:
    aboard = Coach(height=Length.from_feet(13), propane=True)
    assert any("propane off" in note for note in facility_notes(FUEL, {}, aboard))
    assert not any("propane" in note for note in facility_notes(CAMP, {}, aboard))


def test_the_tags_that_are_kept_are_all_that_are_asked_for() -> None:
    asked = {
        *(
            "access",
            "amenity",
            "capacity",
            "caravans",
            "drinking_water",
            "fee",
            "fuel:lpg",
            "hgv",
            "maxheight",
        ),
        *(
            "maxlength",
            "maxwidth",
            "motorcar",
            "motorhome",
            "opening_hours",
            "power_supply",
            "shop",
            "tourism",
        ),
        *("sanitary_dump_station", "water_point"),
    }
    assert all(key.startswith(FACILITY_TAGS) for key in asked)

"""What a coach looks for on the way: fuel, dump stations, camps, water, propane."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from clearance.core.coach import Coach, Fuel
from clearance.core.drive import InOut
from clearance.core.lengths import Length
from clearance.core.places import Place

__all__ = ["FACILITY_TAGS", "Facility", "FacilityKind", "facility_kinds", "facility_notes", "serves"]


class FacilityKind(StrEnum):
    """The words a user asks for facilities by."""

    FUEL = "fuel"
    DUMP = "dump"
    CAMP = "camp"
    WATER = "water"
    PROPANE = "propane"


@dataclass(frozen=True, slots=True, kw_only=True)
class Facility:
    """A facility within reach of a drive.

    `lon`, `lat` are where the coach meets the road nearest to it. `distance_m` is from the start of the
    drive to where the way to it leaves the drive, `detour_s` what going there and on to the next stop
    takes beyond the planned way, policy seconds for what is passed included. `canopy` is the height told
    of it, None where none is. `notes` are facts from its tags in plain words. `full_tank` marks the
    filling station offered for a full tank at the end of the rental.
    """

    kind: FacilityKind
    place: Place
    lon: float
    lat: float
    distance_m: float
    detour_s: float
    in_out: InOut
    canopy: Length | None = None
    notes: tuple[str, ...] = ()
    full_tank: bool = False


#: Beginnings of the keys that tell something of a facility (wiki.openstreetmap.org/wiki/Key:amenity and
#: the pages of each facility; fuel keys from memory).
FACILITY_TAGS = (
    "access", "amenity", "capacity", "caravan", "drinking_water", "fee", "fuel:", "hgv", "maxheight",
    "maxlength", "maxwidth", "motorcar", "motorhome", "opening_hours", "power_supply",
    "sanitary_dump_station", "shop", "tourism", "water_point",
)  # fmt: skip
_YES = frozenset({"yes", "customers", "public", "permissive", "designated", "limited"})
#: Prefixes of fuel:* keys that are gasoline, by octane or blend (from memory of the wiki's Key:fuel).
_GASOLINE = ("octane", "e5", "e10", "e85", "gasoline", "petrol", "91", "95", "98")


def facility_kinds(tags: Mapping[str, str]) -> frozenset[FacilityKind]:
    """What a thing with these tags offers a coach; empty where nothing."""
    kinds = set()
    amenity, tourism = tags.get("amenity"), tags.get("tourism")
    if amenity == "fuel":
        kinds.add(FacilityKind.FUEL)
    if amenity == "sanitary_dump_station" or tags.get("sanitary_dump_station") in _YES:
        kinds.add(FacilityKind.DUMP)
    if tourism == "caravan_site" or (tourism == "camp_site" and tags.get("caravans") != "no"):
        kinds.add(FacilityKind.CAMP)
    drinking = "drinking_water" in tags and tags["drinking_water"] in _YES
    if amenity in {"drinking_water", "water_point"} or tags.get("water_point") in _YES or drinking:
        kinds.add(FacilityKind.WATER)
    propane = any(tags.get(f"fuel:{gas}") in _YES for gas in ("lpg", "propane"))
    if propane or tags.get("shop") == "gas":
        kinds.add(FacilityKind.PROPANE)
    return frozenset(kinds)


def _fuels(tags: Mapping[str, str]) -> dict[str, bool]:
    return {k.removeprefix("fuel:"): v in _YES for k, v in tags.items() if k.startswith("fuel:")}


def serves(kind: FacilityKind, tags: Mapping[str, str], coach: Coach) -> bool:
    """Whether a facility is of use to this coach, as far as its tags tell.

    Left out are stations that are told to be for trucks alone, or to have none of the coach's fuel
    (gasoline where the coach does not say); places closed to the public; sites that take no motorhomes.
    """
    if tags.get("access") in {"private", "no"} or tags.get("motorhome") == "no":
        return False
    if kind is not FacilityKind.FUEL:
        return not (kind is FacilityKind.CAMP and tags.get("caravans") == "no")
    if tags.get("hgv") == "only" or tags.get("motorcar") == "no":
        return False
    fuels = _fuels(tags)
    if coach.fuel is Fuel.DIESEL:
        return fuels.get("diesel", not any(fuels.values()))
    gasoline = [sold for fuel, sold in fuels.items() if fuel.startswith(_GASOLINE)]
    return any(gasoline) if gasoline else not any(fuels.values())


def facility_notes(kind: FacilityKind, tags: Mapping[str, str], coach: Coach) -> tuple[str, ...]:
    """What the tags tell of a facility that matters to the coach, one fact each."""
    notes = []
    if kind is FacilityKind.FUEL:
        fuels = sorted(fuel for fuel, sold in _fuels(tags).items() if sold)
        octanes = [fuel.removeprefix("octane_") for fuel in fuels if fuel.startswith("octane_")]
        if octanes:
            notes.append(f"octane {', '.join(octanes)}")
        elif not fuels:
            notes.append("kinds of fuel not told")
        if tags.get("hgv") in _YES:
            notes.append("room for trucks")
    if kind is FacilityKind.CAMP:
        told = {"power_supply": "power", "drinking_water": "water", "sanitary_dump_station": "dump station"}
        notes += [word if tags[key] != "no" else f"no {word}" for key, word in told.items() if key in tags]
    for key, word in (("maxlength", "length"), ("maxwidth", "width")):
        if key in tags:
            notes.append(f"limit of {word} told: {tags[key]}")
    if tags.get("access") == "customers" or tags.get("access") == "destination":
        notes.append("for guests only")
    if tags.get("opening_hours"):
        notes.append(f"hours told: {tags['opening_hours']}")
    if tags.get("fee") in {"yes", "no"}:
        notes.append("for a fee" if tags["fee"] == "yes" else "no fee")
    if kind is FacilityKind.FUEL and coach.propane:
        notes.append("shut propane off before you fill up (common practice)")
    return tuple(notes)

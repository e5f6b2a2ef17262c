"""Names as an inventory writes them against names as the map does. All are invented or the guide's own."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clearance.structures.names import Agreement, Names, compare, inventory_names, joined, map_names

AGREE, DIFFER, UNTOLD = Agreement.AGREE, Agreement.DIFFER, Agreement.UNTOLD


@pytest.mark.parametrize(
    ("text", "routes", "words"),
    [
        ("I 81, US 51, MILL ROAD", {"I81", "US51"}, {"mill"}),
        ("SR 42 (POND ROAD)", {"S42"}, {"pond"}),
        ("US 66", {"US66"}, set()),
        ("MAIN STREET", set(), {"main"}),
        ("COUNTY ROAD 450", {"C450"}, set()),
    ],
)
def test_examples_of_items_6_and_7(text: str, routes: set[str], words: set[str]) -> None:
    """Texts printed in FHWA-PD-96-001, Items 6 and 7."""
    told = inventory_names(text)
    assert told.routes == routes
    assert {word for name in told.names for word in name.words} == words
    assert not told.rail
    assert not told.water


def test_rails_and_water_are_no_roads() -> None:
    """C & 0 RAILROAD and MISSISSIPPI RIVER: Items 6 and 7 of the guide."""
    rail, river = inventory_names("C & 0 RAILROAD"), inventory_names("MISSISSIPPI RIVER")
    assert (rail.rail, rail.names, rail.routes) == (True, frozenset(), frozenset())
    assert (river.water, river.names) == (True, frozenset())
    assert inventory_names("RIVER ROAD").names
    assert not inventory_names("RIVER ROAD").water


@pytest.mark.parametrize(
    ("inventory", "tags", "agreement"),
    [
        ("HEATHER ST", {"name": "Heather Street"}, AGREE),
        ("HEATHER ST", {"name": "Heather Avenue"}, DIFFER),
        ("HEATHER", {"name": "Heather Street", "ref": "US 2"}, AGREE),
        ("US 2", {"name": "Heather Street", "ref": "US 2;SR 100"}, AGREE),
        ("STATE ROUTE 100", {"ref": "ME 100"}, AGREE),
        ("ST RTE 100", {"ref": "SR 100"}, AGREE),
        ("INTERSTATE 95 NB", {"ref": "I 95"}, AGREE),
        ("I-95", {"ref": "I 395"}, DIFFER),
        ("US-1A", {"ref": "US 1"}, DIFFER),
        ("US 9", {"ref": "ME 9"}, DIFFER),
        ("CO RD 007", {"ref": "CR 7"}, AGREE),
        ("N HEATHER ST", {"name": "South Heather Street"}, DIFFER),
        ("N HEATHER ST", {"name": "Heather Street"}, AGREE),
        ("N HEATHER", {"name": "South Heather"}, DIFFER),
        ("HEATHER N", {"name": "Heather South"}, DIFFER),
        ("N HEATHER", {"name": "North Heather Street"}, AGREE),
        # cut off at the end of a field of 18 characters
        ("OLD HONEYSUCKLE GA", {"name": "Old Honeysuckle Gardens"}, DIFFER),
        ("THE HONEYSUCKLE GA", {"name": "Honeysuckle Gardens"}, DIFFER),
        ("HONEYSUCKLE GARDE", {"name": "Honeysuckle Gardens"}, AGREE),
        ("HONEYSUCKLE AVENU", {"name": "Honeysuckle Avenue"}, AGREE),
        ("HONEYSUCKLE AVENU", {"name": "Honeysuckle Road"}, DIFFER),
        ("MAPLE ST", {"name": "Maplewood Street"}, DIFFER),
        ("5TH STREET", {"name": "Fifth Street"}, AGREE),
        ("5TH STREET", {"name": "5th Avenue"}, DIFFER),
        ("ST MARYS RD", {"name": "Saint Mary's Road"}, AGREE),
        ("COURT ST", {"name": "Court Street"}, AGREE),
        ("COURT ST", {"name": "Heather Street"}, DIFFER),
        # ST before a name is a saint; behind it, and with no name at all, a street
        ("NORTH ST", {"name": "North Street"}, AGREE),
        ("E ST", {"name": "E Street"}, AGREE),
        ("NORTH ST", {"name": "South Street"}, DIFFER),
        ("NORTH ST", {"name": "North Saint"}, DIFFER),
        ("CITY ST", {"name": "Heather Street"}, UNTOLD),
        ("LOCAL ST", {"name": "Saint Street"}, UNTOLD),
        ("ST CLAIR", {"name": "Saint Clair"}, AGREE),
        ("N ST CLAIR", {"name": "North Saint Clair Street"}, AGREE),
        ("ST", {"name": "Saint"}, UNTOLD),
        ("PARKWAY SOUTH", {"name": "Parkway South"}, AGREE),
        ("PARKWAY SOUTH", {"name": "Parkway North"}, DIFFER),
        ("LOCAL ROAD", {"name": "Heather Street"}, UNTOLD),
        ("CITY STREET", {"name": "Heather Street"}, UNTOLD),
        ("US 2", {"name": "Heather Street"}, UNTOLD),
        ("OLD BROOK", {"name": "Old Brook Road"}, UNTOLD),
        ("A & B RAILROAD", {"name": "Freight Main Line"}, UNTOLD),
        ("HEATHER ST; OLD BROOK", {"alt_name": "Heather Street"}, AGREE),
        ("", {"name": "Heather Street"}, UNTOLD),
        ("HEATHER ST", {}, UNTOLD),
    ],
)
def test_the_same_road_by_two_names(inventory: str, tags: dict[str, str], agreement: Agreement) -> None:
    one, other = inventory_names(inventory), map_names(tags)
    assert compare(one, other) is agreement
    assert compare(other, one) is agreement


def test_directions_of_travel() -> None:
    assert inventory_names("I 95 NB").headings == {"N"}
    assert inventory_names("US 2 WESTBOUND").headings == {"W"}
    assert inventory_names("N HEATHER ST").headings == frozenset()


@given(st.text(max_size=40))
def test_any_text_agrees_with_itself_or_tells_nothing(text: str) -> None:
    told = inventory_names(text)
    assert compare(told, told) is (AGREE if told.routes or told.names else UNTOLD)
    assert joined([told, Names()]) == told


STREETS = {
    "street": "street st str",
    "avenue": "avenue ave av aven avenu",
    "road": "road rd",
    "drive": "drive dr",
    "boulevard": "boulevard blvd bvd boul",
    "lane": "lane ln",
    "court": "court ct",
    "place": "place pl",
    "parkway": "parkway pkwy pky pkway prkwy",
    "highway": "highway hwy hiway",
    "expressway": "expressway expwy expy xway",
    "freeway": "freeway fwy",
    "pike": "turnpike tpke tpk pike",
    "circle": "circle cir",
    "terrace": "terrace ter terr",
    "square": "square sq",
    "way": "way wy",
    "trail": "trail trl tr",
    "alley": "alley aly",
}
FORMS = [(kind, form) for kind, forms in STREETS.items() for form in forms.split()]


@pytest.mark.parametrize(("kind", "form"), FORMS)
def test_every_form_of_a_kind_of_street(kind: str, form: str) -> None:
    told = inventory_names(f"BELL {form.upper()}")
    other = "road" if kind != "road" else "lane"
    assert compare(told, map_names({"name": f"Bell {kind}"})) is AGREE
    assert compare(told, map_names({"name": f"Bell {other}"})) is DIFFER
    assert compare(told, map_names({"name": "Bell"})) is AGREE
    assert compare(told, map_names({"name": f"Clay {kind}"})) is DIFFER


def test_an_extension_is_of_the_same_street() -> None:
    for form in ("EXT", "EXTENSION"):
        told = inventory_names(f"BELL ST {form}")
        assert compare(told, map_names({"name": "Bell Street"})) is AGREE
        assert compare(told, map_names({"name": "Bell Road"})) is DIFFER


@pytest.mark.parametrize(
    ("form", "side"),
    [("N", "n"), ("NO", "n"), ("NORTH", "n"), ("S", "s"), ("SO", "s"), ("SOUTH", "s"), ("E", "e"),
     ("EAST", "e"), ("W", "w"), ("WEST", "w")],
)  # fmt: skip
def test_every_form_of_a_side(form: str, side: str) -> None:
    full = {"n": "North", "s": "South", "e": "East", "w": "West"}
    told = inventory_names(f"{form} BELL ST")
    for other, word in full.items():
        expected = AGREE if other == side else DIFFER
        assert compare(told, map_names({"name": f"{word} Bell Street"})) is expected


@pytest.mark.parametrize(
    ("form", "heading"),
    [
        (f"{side}{tail}", side[0].upper())
        for sides, tails in (("nsew", ("b", "bd", "bnd", "bound")),)
        for side in sides
        for tail in tails
    ]
    + [
        (f"{side}{tail}", side[0].upper())
        for side in ("north", "south", "east", "west")
        for tail in ("bound", "bnd")
    ],
)
def test_every_form_of_a_heading(form: str, heading: str) -> None:
    told = inventory_names(f"I 95 {form.upper()}")
    assert told.headings == {heading}
    assert told.names == frozenset()


@pytest.mark.parametrize(
    "word", ["railroad", "railway", "rr", "ry", "rwy", "rlwy", "rail", "railrd", "tracks", "amtrak", "csx"]
)
def test_every_word_for_a_railway(word: str) -> None:
    told = inventory_names(f"COAST {word.upper()}")
    assert told.rail
    assert told.names == frozenset()


@pytest.mark.parametrize(
    "word",
    [
        *("river", "riv", "creek", "crk", "brook", "brk", "stream", "branch", "bayou", "slough", "canal"),
        *(
            "ditch",
            "pond",
            "lake",
            "inlet",
            "wash",
            "gulch",
            "arroyo",
            "harbor",
            "bay",
            "run",
            "fork",
            "drain",
        ),
    ],
)
def test_every_word_for_water(word: str) -> None:
    told = inventory_names(f"HERON {word.upper()}")
    assert told.water
    assert told.names == frozenset()


@pytest.mark.parametrize(
    "word",
    [
        *("local", "city", "town", "county", "private", "public", "access", "service", "unnamed", "frontage"),
        *("ramp", "ramps", "municipal", "township", "twp", "rural", "farm", "field", "entrance", "exit"),
        *("the", "of", "to", "from", "under", "on", "off", "route", "rte", "rt", "connector", "interchange"),
        *("and", "over", "at"),
        *("relief", "overflow", "pedestrian", "bridge", "walkway", "path", "bike", "parking", "lot", "other"),
        *("none", "unknown", "business", "bus", "alt", "alternate", "spur", "loop", "bypass", "roads"),
        *("streets", "highways", "lanes", "ml", "mainline", "hov"),
    ],
)
def test_every_word_that_names_no_road(word: str) -> None:
    assert inventory_names(word).names == frozenset()
    (name,) = inventory_names(f"{word} bell").names
    assert name.words == {"bell"}


def test_ordinals_in_words_and_figures() -> None:
    figures = ("1st", "2nd", "3rd", "4th", "5th", "6th", "7th", "8th", "9th", "10th")
    words = ("First", "Second", "Third", "Fourth", "Fifth", "Sixth", "Seventh", "Eighth", "Ninth", "Tenth")
    for i, figure in enumerate(figures):
        for j, word in enumerate(words):
            agreement = compare(inventory_names(f"{figure} ST"), map_names({"name": f"{word} Street"}))
            assert agreement is (AGREE if i == j else DIFFER)


@pytest.mark.parametrize(
    ("text", "route"),
    [
        *((f"{before} 95", "I95") for before in ("I", "IH", "INTERSTATE", "INTERSTATE HIGHWAY")),
        *((f"{before} 95", "I95") for before in ("INTERSTATE HWY", "INTERSTATE ROUTE", "INTERSTATE RTE")),
        *((f"{before} 9", "US9") for before in ("US", "U S", "USH", "US HWY", "US HIGHWAY", "US RTE")),
        *((f"{before} 9", "US9") for before in ("USR", "U.S.", "US RT", "US ROUTE")),
        *((f"{before} 9", "C9") for before in ("CR", "C R", "COUNTY ROAD", "COUNTY RD", "CO RD", "CO HWY")),
        *((f"{before} 9", "C9") for before in ("CTH", "CSAH", "CH", "COUNTY HWY", "COUNTY ROUTE")),
        *((f"{before} 9", "S9") for before in ("SR", "S R", "SH", "STH", "STATE ROAD", "STATE HWY")),
        *((f"{before} 9", "S9") for before in ("STATE", "ROUTE", "RTE", "RT", "HIGHWAY", "HWY", "ST ROUT")),
        *((f"{before} 9", "S9") for before in ("ST RTE", "ST RT", "STATE RD", "STATE HIGHWAY", "SHWY")),
        ("US 1A", "US1A"),
        ("I 95N", "I95"),
        ("I-095", "I95"),
        ("SR 12N", "S12N"),
    ],
)  # fmt: skip
def test_every_way_to_write_a_number(text: str, route: str) -> None:
    assert inventory_names(text).routes == {route}


STATES = (
    "AL AK AZ AR CA CO CT DE FL GA HI ID IL IN IA KS KY LA ME MD MA MI MN MS MO MT NE NV NH NJ NM NY NC ND "
    "OH OK OR PA RI SC SD TN TX UT VT VA WA WV WI WY DC PR"
)


def test_every_state_numbers_roads() -> None:
    for state in STATES.split():
        assert inventory_names(f"{state} 9").routes == {"S9"}
        # CO is Colorado and short for county.
        assert inventory_names(f"{state} HWY 9").routes == ({"C9"} if state == "CO" else {"S9"})
    assert inventory_names("XY 9").routes == frozenset()


@pytest.mark.parametrize(
    "key",
    [
        *(
            "name",
            "ref",
            "alt_name",
            "old_name",
            "official_name",
            "loc_name",
            "short_name",
            "name_1",
            "name_2",
        ),
        *("nat_ref", "reg_ref", "unsigned_ref", "bridge:name", "tunnel:name"),
    ],
)
def test_every_key_under_which_a_map_names_a_road(key: str) -> None:
    assert compare(inventory_names("BELL ST"), map_names({key: "Bell Street"})) is AGREE


def test_a_name_is_only_cut_off_where_its_field_is_full() -> None:
    assert (
        compare(inventory_names("OLD BELLWETHER GAR"), map_names({"name": "Old Bellwether Garage"})) is AGREE
    )
    assert compare(inventory_names("BELLWETHER GAR"), map_names({"name": "Bellwether Garage"})) is DIFFER
    # Of 17 characters it may have lost a space; of 16 nothing.
    assert len("OLD BELLWEATH GAR") == 17
    assert compare(inventory_names("OLD BELLWEATH GAR"), map_names({"name": "Old Bellweath Garage"})) is AGREE
    assert compare(inventory_names("OLD BELLWEAT GAR"), map_names({"name": "Old Bellweat Garage"})) is DIFFER
    # Two letters are too few to know a word by.
    assert (
        compare(inventory_names("BIG BELLWETHER GA"), map_names({"name": "Big Bellwether Garage"})) is DIFFER
    )


def test_what_several_names_tell_together() -> None:
    parts = [inventory_names(text) for text in ("I 95 NB", "BELL ST", "COAST RR", "HERON CREEK", "US 2 SB")]
    told = joined(parts)
    assert told.routes == {"I95", "US2"}
    assert told.headings == {"N", "S"}
    assert {word for name in told.names for word in name.words} == {"bell"}
    assert told.rail
    assert told.water
    assert joined([]) == Names()
    assert joined(parts[:1]) == parts[0]


@pytest.mark.parametrize(
    ("text", "routes"),
    [
        *((f"I 95{side}", {"I95"}) for side in "NSEW"),
        *((f"US 2{side}", {f"US2{side}"}) for side in "NSEW"),
        ("I 95A", {"I95A"}),
        ("I 95 US 2 SR 7 CR 9", {"I95", "US2", "S7", "C9"}),
        ("I 95 I 295", {"I95", "I295"}),
        ("US 2 / US 7", {"US2", "US7"}),
        ("US 12345", set()),
        ("US 1234", {"US1234"}),
        ("TAXI 9", set()),
        ("BUS 9", set()),
        ("9", set()),
        ("SR 0042", {"S42"}),
    ],
)  # fmt: skip
def test_several_numbers_and_what_is_none(text: str, routes: set[str]) -> None:
    assert inventory_names(text).routes == routes


@pytest.mark.parametrize(
    ("inventory", "name", "agreement"),
    [
        # marks
        ("ST MARYS RD", "Saint Mary\u2019s Road", AGREE),
        ("ST. MARY'S RD.", "Saint Marys Road", AGREE),
        ("BELL-CLAY ST", "Bell Clay Street", AGREE),
        ("BELL_CLAY ST", "Bell Clay Street", AGREE),
        ("C & D STREET", "CD Street", AGREE),
        ("BELL & CLAY", "Bell", AGREE),
        ("BELL & CLAY", "Clay", AGREE),
        ("BELL & CLAY", "Bell Clay Oak", AGREE),
        ("BELL AND CLAY", "Clay Street", AGREE),
        ("BELL OVER CLAY", "Clay Street", AGREE),
        ("BELL AT CLAY", "Clay Street", AGREE),
        *((f"BELL ST{mark}CLAY ST", "Clay Street", AGREE) for mark in (";", ",", "/", "&", "(", ")")),
        ("BELL ST CLAY", "Clay Street", AGREE),
        # sides
        ("SOUTH", "South", AGREE),
        ("SOUTH", "North", DIFFER),
        ("N E BELL", "North Bell", AGREE),
        ("N E BELL", "East Bell", DIFFER),
        ("BELL ST N", "South Bell Street", DIFFER),
        ("BELL", "South Bell", AGREE),
        # the kind of street alone names nothing, with a side it does
        ("PARKWAY", "Parkway", UNTOLD),
        ("PARKWAY", "Bell Street", UNTOLD),
        ("PARKWAY SOUTH", "Bell Street", DIFFER),
        ("COURT ST", "Court", UNTOLD),
        ("HIGHWAY PARK", "Highway Park", AGREE),
        ("BELL ST RD", "Bell Road", AGREE),
        ("BELL ST RD", "Bell Street", DIFFER),
        # of two names the shorter must be within the longer
        ("BELL", "Old Bell", AGREE),
        ("OLD BELL", "Bell", AGREE),
        ("OLD BELL", "New Bell", DIFFER),
        ("OLD BELL HILL", "Old Clay", DIFFER),
        # cut off at the end of the last name of a full field alone
        ("BELLWETHER GAR, CLAY", "Bellwether Garage", DIFFER),
        ("CLAY, BELLWETHER GAR", "Bellwether Garage", AGREE),
        ("BELLWETHER GAR      ", "Bellwether Garage", DIFFER),
        ("      BELLWETHER GAR", "Bellwether Garage", DIFFER),
        ("OLD BELLWETHER 12B", "Old Bellwether 12Bc", DIFFER),
        ("HONEYSUCKLEGARDEN", "Honeysucklegardens", DIFFER),
        ("OLD BELLWETHERGAR", "Old Bellwethergarage", AGREE),
        ("OLD BELLWETHER BOU", "Old Bellwether Boulevard", AGREE),
        ("OLD BELLWETHER BOU", "Old Bellwether Street", DIFFER),
        # TER may be a terrace alone, and CO a court, a corner or a county
        ("OLD BELLWETHER TER", "Old Bellwether Terrace", AGREE),
        ("OLD BELLWETHER TER", "Old Bellwether Road", DIFFER),
        ("OLD BELLWETHER COR", "Old Bellwether Corner", AGREE),
        ("OLD BELLWETHER ALT", "Old Bellwether Altar", AGREE),
    ],
)
def test_names_that_are_hard_to_read(inventory: str, name: str, agreement: Agreement) -> None:
    one, other = inventory_names(inventory), map_names({"name": name})
    assert compare(one, other) is agreement
    assert compare(other, one) is agreement


@pytest.mark.parametrize(
    ("text", "rail", "water"),
    [
        ("BROOK", False, True),
        ("OLD HERON BROOK", False, True),
        ("BROOK ST", False, False),
        ("HERON BROOK; BELL ST", False, True),
        ("BELL ST; COAST RR", True, False),
        ("RAILROAD AVE", True, False),
        ("COAST RR AND HERON RIVER", True, True),
        ("RIVER RR", True, False),
        ("BELL", False, False),
        ("", False, False),
    ],
)
def test_rail_and_water_in_any_part(text: str, rail: bool, water: bool) -> None:
    told = inventory_names(text)
    assert (told.rail, told.water) == (rail, water)


def test_of_the_same_thing_named_twice_nothing_is_lost() -> None:
    bell, clay, nothing = inventory_names("BELL ST"), inventory_names("CLAY ST"), Names()
    assert joined([bell, bell]) is bell
    assert joined([nothing, bell, inventory_names(""), bell]).names == bell.names
    assert joined([bell, clay, bell]).names == bell.names | clay.names
    assert joined([bell, inventory_names("COAST RR")]).rail
    assert not joined([bell, clay]).rail
    assert not joined([bell, clay]).water
    assert map_names({}) == Names()
    assert map_names({"operator": "Bell Street"}) == Names()

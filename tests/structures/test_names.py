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

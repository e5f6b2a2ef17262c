"""Rules for structures without a sign: shown and ranked by, never a clearance."""

from __future__ import annotations

import pytest

from clearance.core.coach import Coach
from clearance.core.lengths import Length
from clearance.core.standing import standing
from clearance.core.structure import Direction, EvidenceClass, Standing, Structure
from clearance.structures.find import find_structures
from clearance.structures.implied import RULES, rules_for, with_implied
from tests.towns import Town

BRIDGE = {"highway": "primary", "bridge": "yes", "layer": "1"}


def town(road: dict[str, str], *, place: dict[str, str] | None = None) -> Town:
    made = Town().node(1, -100, 0).node(2, 100, 0).node(3, 0, -100).node(4, 0, 100).node(5, 50, 50, place)
    return made.way(10, [1, 2], {"highway": "secondary"} | road).way(20, [3, 4], BRIDGE)


def implied(road: dict[str, str], *, place: dict[str, str] | None = None, country: str = "") -> Structure:
    extract = town(road, place=place).extract()
    finder = (lambda _lon, _lat: country) if country else None
    (found,) = with_implied(find_structures(extract), extract, finder)
    return found


def rules(structure: Structure) -> list[str]:
    return [e.key for e in structure.evidence if e.evidence_class is EvidenceClass.IMPLIED]


def test_every_rule_has_its_source_and_says_what_it_means() -> None:
    assert len({rule.key for rule in RULES}) == len(RULES)
    for rule in RULES:
        assert rule.source
        assert rule.meaning
        assert len(rule.country) == 2


def test_california_from_its_law_and_the_manual() -> None:
    """Greatest legal height 14'0" (California Vehicle Code 35250), signs below 12 in more (MUTCD 2C.27)."""
    found = implied({"tiger:county": "Invented, CA"})
    assert rules(found) == ["rule US", "rule US-CA"]
    assert found.implied == Length.from_feet(14 + 1)
    assert "look for a sign" in found.evidence[-1].note
    assert "California Vehicle Code 35250" in found.evidence[-1].source


def test_implied_neither_clears_nor_condemns() -> None:
    """A coach that needs more than the rule promises is not kept out by the rule either."""
    found = implied({"tiger:county": "Invented, CA"})
    for height in (Length.from_feet(12), Length.from_feet(16)):
        assert standing(found, Direction.BOTH, Coach(height=height)) is Standing.UNVERIFIED
    assert found.lowest() is None
    assert not any(e.can_clear or e.figure for e in found.evidence)


@pytest.mark.parametrize(
    ("road", "place", "country", "expected"),
    [
        ({"tiger:county": "Invented, TX"}, None, "", ["rule US", "rule US-TX"]),
        ({"tiger:county": "Invented, ME"}, None, "", ["rule US"]),
        ({"tiger:county": "Invented, ME:Other, NH"}, None, "", ["rule US"]),
        ({}, {"addr:country": "us", "addr:state": "CA"}, "", ["rule US", "rule US-CA"]),
        ({}, {"addr:state": "CA"}, "", []),  # CA alone may be anything
        ({}, None, "GB", ["rule GB"]),
        ({}, None, "DE", []),
        ({"maxheight": "default"}, None, "DE", ["rule DE"]),
        ({"maxheight": "default"}, None, "FR", ["rule FR"]),
        ({}, None, "FR", []),
        ({"highway": "motorway"}, None, "FR", []),
        ({"highway": "motorway_link", "maxheight": "default"}, None, "FR", ["rule FR-motorway"]),
        ({"maxheight": "none"}, None, "DE", []),
        ({"maxheight": "default", "highway": "motorway"}, None, "FR", ["rule FR-motorway"]),
        ({"highway": "motorway", "ref": "I 95"}, None, "US", ["rule US", "rule US-motorway"]),
        ({"highway": "motorway", "ref": "ME 95"}, None, "US", ["rule US"]),
        ({"highway": "service"}, None, "US", []),
        ({}, None, "JP", []),
        ({}, None, "", []),
    ],
)
def test_where_a_rule_holds(
    road: dict[str, str], place: dict[str, str] | None, country: str, expected: list[str]
) -> None:
    assert rules(implied(road, place=place, country=country)) == expected


def test_a_structure_with_a_known_height_needs_no_rule() -> None:
    assert rules(implied({"maxheight": "4.2", "tiger:county": "Invented, CA"})) == []
    unread = implied({"maxheight": "low", "tiger:county": "Invented, CA"})
    assert rules(unread) == ["rule US", "rule US-CA"]
    assert unread.implied is None  # what is there may be lower than any rule
    assert implied({"maxheight": "below_default", "tiger:county": "Invented, CA"}).implied is None


def test_of_several_figures_the_most_special_rule_counts() -> None:
    road = {"highway": "motorway", "ref": "I 5"}
    assert [r.key for r in rules_for("US", "CA", road)] == ["rule US", "rule US-CA"]
    assert [r.height for r in rules_for("FR", "", {"highway": "primary"}, unsigned=True)] == [
        Length.from_metres("4.3")
    ]


@pytest.mark.parametrize(
    ("highway", "public"),
    [
        *((word, False) for word in ("service", "track", "footway", "path", "cycleway", "pedestrian")),
        ("bridleway", False),
        *((word, True) for word in ("residential", "primary", "motorway", "living_street", "unclassified")),
    ],
)
def test_rules_are_for_public_roads(highway: str, public: bool) -> None:
    assert bool(rules_for("US", "CA", {"highway": highway})) is public


def test_rules_show_the_year_of_their_source() -> None:
    dates = {rule.key: rule.date for rule in RULES}
    assert dates["rule US"] == dates["rule US-CA"] == "2009"
    assert dates["rule GB"] == "2013"
    assert dates["rule US-TX"] == dates["rule DE"] == dates["rule FR"] == dates["rule FR-motorway"] == ""
    found = implied({"tiger:county": "Invented, CA"})
    assert {e.date for e in found.evidence} == {"2009"}


def test_what_each_rule_promises() -> None:
    promised = {rule.key: rule.height for rule in RULES if rule.height is not None}
    assert promised == {
        "rule US-CA": Length.from_feet(15),
        "rule US-TX": Length.from_feet(20),
        "rule US-motorway": Length.from_feet(14),
        "rule DE": Length.from_metres("4.5"),
        "rule FR": Length.from_metres("4.3"),
        "rule FR-motorway": Length.from_metres("4.75"),
    }

"""Rules for structures without a sign: shown and ranked by, never a clearance."""

from __future__ import annotations

import pytest

from clearance.core.coach import Coach
from clearance.core.lengths import Length
from clearance.core.standing import standing
from clearance.core.structure import Direction, EvidenceClass, Kind, Standing, Structure
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


@pytest.mark.parametrize(
    ("elsewhere", "place", "country", "expected"),
    [
        # the state of one road tells the country of the next
        ({"tiger:county": "Invented, CA"}, None, "", ["rule US"]),
        ({"tiger:county": "Invented"}, None, "GB", ["rule US"]),
        ({"addr:country": "US"}, None, "GB", ["rule US"]),
        ({"addr:country": " us "}, {"addr:country": "US"}, "", ["rule US"]),
        ({"addr:country": "GB"}, {"addr:country": "US"}, "", []),
        ({"addr:country": "GB"}, {"addr:country": "US"}, "DE", []),
        ({"addr:state": "CA"}, None, "US", ["rule US"]),  # of which country is not told
        ({"addr:state": "ca", "addr:country": "us"}, None, "", ["rule US", "rule US-CA"]),
        ({"addr:state": "CA", "addr:country": "US"}, {"addr:state": "TX"}, "", ["rule US"]),
        ({"addr:state": "CA", "addr:country": "GB"}, None, "", ["rule GB"]),
    ],
)
def test_what_the_rest_of_the_map_tells(
    elsewhere: dict[str, str], place: dict[str, str] | None, country: str, expected: list[str]
) -> None:
    made = town({}, place=place).node(6, 300, 0).node(7, 400, 0)
    extract = made.way(30, [6, 7], {"highway": "service"} | elsewhere).extract()
    finder = (lambda _lon, _lat: country) if country else None
    (found,) = with_implied(find_structures(extract), extract, finder)
    assert rules(found) == expected


def test_the_country_is_asked_for_the_place_of_the_structure() -> None:
    asked: list[tuple[float, float]] = []

    def country_at(lon: float, lat: float) -> str:
        asked.append((lon, lat))
        return "GB"

    extract = town({}).extract()
    (found,) = with_implied(find_structures(extract), extract, country_at)
    assert asked == [(found.lon, found.lat)]


@pytest.mark.parametrize(
    ("county", "expected"),
    [
        ("Invented, CA", ["rule US", "rule US-CA"]),
        ("Invented, CA:Other, CA", ["rule US", "rule US-CA"]),
        ("Invented, CA;Other, TX", ["rule US"]),
        ("Invented CA", ["rule US"]),
        ("Invented, Ca", ["rule US"]),
        ("Invented, CAL", ["rule US"]),
        ("Invented, C", ["rule US"]),
    ],
)
def test_the_state_within_the_name_of_a_county(county: str, expected: list[str]) -> None:
    assert rules(implied({"tiger:county": county})) == expected


def test_rules_are_for_what_signs_are_put_up_for() -> None:
    """Not for a height of the road itself, nor for a height bar, nor for what stands beside the road."""
    for tags in ({"maxheight": "default"}, {"maxheight": "below_default"}):
        made = Town().node(1, 0, 0).node(2, 50, 0, {"barrier": "height_restrictor"}).node(3, 100, 0)
        made.way(10, [1, 2, 3], {"highway": "secondary", **tags})
        for ref, (x, y) in enumerate(((0, 50), (20, 50), (20, 70), (0, 70)), start=4):
            made.node(ref, x, y)
        made.way(20, [4, 5, 6, 7, 4], {"building": "yes", "maxheight": "default"})
        extract = made.extract()
        found = find_structures(extract)
        assert {s.kind for s in found} == {Kind.LIMIT, Kind.HEIGHT_BAR, Kind.BUILDING}
        assert with_implied(found, extract, lambda _lon, _lat: "DE") == found
    tunnel = Town().node(1, 0, 0).node(2, 50, 0)
    extract = tunnel.way(
        10, [1, 2], {"highway": "secondary", "tunnel": "yes", "maxheight": "default"}
    ).extract()
    (found_tunnel,) = with_implied(find_structures(extract), extract, lambda _lon, _lat: "DE")
    assert rules(found_tunnel) == ["rule DE"]


def test_a_structure_said_to_be_ordinary_beside_another_height() -> None:
    """One of two texts says default: the rule holds, as nothing verifies the structure."""
    found = implied({"maxheight": "default", "maxheight:lanes": "|"}, country="DE")
    assert "rule DE" in rules(found)
    assert found.evidence[-1].evidence_class is EvidenceClass.IMPLIED
    assert found.evidence[-1].note.endswith("; look for a sign")
    assert found.evidence[-1].source == "OpenStreetMap wiki, Tag:maxheight=default"


def test_of_two_rules_with_a_figure_the_state_goes_before_the_class_of_road() -> None:
    road = {"highway": "motorway", "ref": "I 5"}
    assert [r.key for r in rules_for("US", "TX", road)] == ["rule US", "rule US-TX"]
    assert [r.key for r in rules_for("US", "", road)] == ["rule US", "rule US-motorway"]
    assert [r.key for r in rules_for("US", "ME", road | {"highway": "motorway_link"})] == [
        "rule US",
        "rule US-motorway",
    ]
    assert [r.key for r in rules_for("US", "", road | {"highway": "primary"})] == ["rule US"]
    assert [r.key for r in rules_for("FR", "", {"highway": "motorway"}, unsigned=True)] == [
        "rule FR-motorway"
    ]
    assert rules_for("FR", "", {"highway": "motorway"}) == ()
    assert [r.key for r in rules_for("US", "", {})] == ["rule US"]

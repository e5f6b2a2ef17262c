"""Heights from lists, brought to structures of tiny towns. All records and names are invented."""

from __future__ import annotations

import math
import time
from dataclasses import replace

import pytest

from clearance.core.coach import Coach
from clearance.core.inventory import CodedHeight, HeightState, InventoryRecord
from clearance.core.lengths import Length
from clearance.core.matches import HeightRecord
from clearance.core.standing import standing
from clearance.core.structure import Direction, Evidence, EvidenceClass, Kind, Standing, Structure
from clearance.structures.find import find_structures
from clearance.structures.fusion import CONFLICT, Fused, from_map, fuse
from clearance.structures.implied import with_implied
from tests.structures.inventories import MISSING, NONE, RIVER, SOURCE, at, figure, listed
from tests.towns import Town

HEATHER = {"highway": "residential", "name": "Heather Street"}
MILL = {"highway": "secondary", "name": "Mill Road", "ref": "SR 7"}
BRIDGE = {"bridge": "yes", "layer": "1"}
COACH = Coach(height=Length.from_feet(13))


def overpass(upper: dict[str, str] | None = None, road: dict[str, str] | None = None) -> Town:
    """Heather Street runs eastward under Mill Road, which crosses it at x = 0 on a bridge of 40 m."""
    town = (
        Town()
        .node(1, -200, 0)
        .node(2, 200, 0)
        .node(3, 0, -200)
        .node(4, 0, -20)
        .node(5, 0, 20)
        .node(6, 0, 200)
    )
    town.way(10, [1, 2], HEATHER | (road or {}))
    town.way(20, [4, 5], MILL | BRIDGE if upper is None else upper)
    return town.way(21, [3, 4], MILL).way(22, [5, 6], MILL)


def fused(town: Town, *records: HeightRecord) -> Fused:
    extract = town.extract()
    return fuse(find_structures(extract), records, extract)


def under(found: Fused, road: int = 10) -> Structure:
    (structure,) = [s for s in found.structures if s.upper and any(span.way == road for span in s.spans)]
    return structure


def added(structure: Structure) -> list[Evidence]:
    return [e for e in structure.evidence if e.source != "OpenStreetMap"]


def over_heather(**items: object) -> InventoryRecord:
    told: dict[str, object] = {"carried": "SR 7", "features": "HEATHER ST", "item_54": figure("4.52")}
    return at("1", 3, 4, **(told | items))


def test_item_54_verifies_the_road_beneath() -> None:
    """54A = H: measured evidence with its source, item, text, date and the reason of the match."""
    found = fused(overpass(), over_heather())
    structure = under(found)
    (evidence,) = added(structure)
    assert (evidence.evidence_class, evidence.figure) == (EvidenceClass.MEASURED, Length.from_metres("4.52"))
    assert (evidence.source, evidence.key, evidence.raw, evidence.date) == (
        SOURCE,
        "Item 54",
        "H 4.52",
        "2023-06",
    )
    assert "3 m away" in evidence.note  # from the deck
    assert "name beneath agrees" in evidence.note
    assert structure.verified()
    assert standing(structure, Direction.BOTH, COACH) is Standing.CLEAR
    (match,) = found.matches
    assert match.structures == (structure.key,)
    assert match.score > 0.9
    assert match.text.startswith(
        f"{SOURCE}, line 1, structure 1 (SR 7 over HEATHER ST): matched with score 0.9"
    )
    assert found.unmatched == ()
    assert found.conflicts == ()


@pytest.mark.parametrize(
    "item",
    [NONE, MISSING, RIVER, figure("5.0", "R"), CodedHeight(HeightState.UNREADABLE, None, "H 4m52")],
)
def test_codes_that_are_no_clearance_over_a_road_add_nothing(item: CodedHeight) -> None:
    found = fused(overpass(), over_heather(item_54=item))
    assert len(found.matches) == 1
    assert added(under(found)) == []
    assert not under(found).verified()


def test_item_10_condemns_and_never_clears() -> None:
    """Item 10 is the height over the best strip: lower than the need, nothing fits; higher tells nothing."""
    low = fused(overpass(), over_heather(record_type="2", item_54=MISSING, item_10=figure("3.90", "")))
    high = fused(overpass(), over_heather(record_type="2", item_54=MISSING, item_10=figure("5.90", "")))
    assert standing(under(low), Direction.BOTH, COACH) is Standing.TOO_LOW
    assert standing(under(high), Direction.BOTH, COACH) is Standing.UNVERIFIED
    (evidence,) = added(under(high))
    assert not evidence.can_clear
    assert evidence.key == "Item 10"


def test_item_10_of_the_route_on_the_bridge_says_nothing_of_the_one_beneath() -> None:
    found = fused(overpass(), over_heather(item_10=figure("4.0", "")))
    assert [e.key for e in added(under(found))] == ["Item 54"]


def test_item_10_of_one_road_is_not_taken_for_another_road() -> None:
    town = (
        overpass()
        .node(7, -200, 10)
        .node(8, 200, 10)
        .way(11, [7, 8], {"highway": "residential", "name": "Low Lane"})
    )
    found = fused(
        town,
        over_heather(features="HEATHER ST, LOW LANE"),
        over_heather(record_type="A", features="LOW LANE", item_54=MISSING, item_10=figure("3.5", "")),
    )
    assert {e.key for e in added(under(found, 11))} == {"Item 54", "Item 10"}
    assert {e.key for e in added(under(found, 10))} == {"Item 54"}


def test_item_53_is_for_the_road_on_a_covered_bridge() -> None:
    covered = MILL | {"bridge": "covered", "layer": "1"}
    found = fused(overpass(covered), over_heather(item_53=figure("3.80", ""), item_54=figure("5.0")))
    (on,) = [s for s in found.structures if s.kind is Kind.COVERED_BRIDGE]
    assert [(e.key, e.figure) for e in added(on)] == [("Item 53", Length.from_metres("3.80"))]
    assert standing(on, Direction.BOTH, COACH) is Standing.TOO_LOW
    assert [(e.key, e.figure) for e in added(under(found))] == [("Item 54", Length.from_metres("5.0"))]


def test_a_truss_that_the_map_does_not_know_becomes_a_structure() -> None:
    """Over a river, say: nothing of it is in the map but a bridge."""
    town = Town().node(1, -200, 0).node(2, -30, 0).node(3, 30, 0).node(4, 200, 0)
    town.way(10, [1, 2], HEATHER).way(11, [2, 3], HEATHER | BRIDGE).way(12, [3, 4], HEATHER)
    assert find_structures(town.extract()) == ()
    through = at(
        "1",
        -28,
        3,
        carried="HEATHER ST",
        features="OLD BROOK",
        service_under="5",
        item_54=RIVER,
        item_53=figure("3.9", ""),
    )
    found = fused(town, through)
    (structure,) = found.structures
    assert (structure.kind, structure.key, structure.road) == (
        Kind.COVERED_BRIDGE,
        "way/11:inventory",
        "Heather Street",
    )
    assert [(s.way, s.start, s.end) for s in structure.spans] == [(11, 0.0, 1.0)]
    assert structure.lowest() == Length.from_metres("3.9")
    assert "an inventory tells" in structure.warnings[0]
    plain = at("1", -28, 3, carried="HEATHER ST", features="OLD BROOK", service_under="5", item_54=RIVER)
    assert fused(town, plain).structures == ()


def test_two_lists_that_disagree_are_a_conflict_too() -> None:
    inventory, county = over_heather(item_54=figure("4.60")), listed(0, 4, "4.1", "Heather Street")
    found = fused(overpass(), inventory, county)
    (conflict,) = found.conflicts
    assert {conflict.mapped, conflict.listed} == {Length.from_metres("4.6"), Length.from_metres("4.1")}
    assert conflict.text in under(found).warnings
    assert "Invented County" in conflict.text
    assert SOURCE in conflict.text
    assert under(found).lowest() == Length.from_metres("4.1")
    # An upper bound of another list is nothing to disagree with.
    bound = over_heather(record_type="2", item_54=MISSING, item_10=figure("5.9", ""))
    assert fused(overpass(), bound, county).conflicts == ()


def test_what_lists_added_can_be_taken_away_again() -> None:
    town = overpass(MILL | {"bridge": "covered", "layer": "1"}, {"maxheight": "4.6"})
    town.node(31, -300, 80).node(32, -260, 80).way(31, [31, 32], HEATHER | BRIDGE)
    extract = town.extract()
    plain = with_implied(find_structures(extract), extract, lambda _lon, _lat: "US")
    truss = at(
        "2", -280, 81, carried="HEATHER ST", item_53=figure("3.9", ""), item_54=RIVER, service_under="5"
    )
    lists = (over_heather(item_54=figure("4.02"), item_53=figure("3.80", "")), listed(0, 4, "4.1"), truss)
    found = fuse(plain, lists, extract)
    assert len(found.structures) == len(plain) + 1
    assert found.conflicts
    assert from_map(found.structures) == plain
    assert fuse(from_map(found.structures), lists, extract) == found


def test_posted_and_listed_heights_that_disagree_are_a_conflict_and_the_lower_counts() -> None:
    found = fused(overpass(road={"maxheight": "4.6"}), over_heather(item_54=figure("4.02")))
    structure = under(found)
    assert structure.lowest() == Length.from_metres("4.02")
    (warning,) = [w for w in structure.warnings if w.startswith(CONFLICT)]
    assert "4.6 m" in warning
    assert "4.02 m" in warning
    (conflict,) = found.conflicts
    assert (conflict.structure, conflict.text) == (structure.key, warning)
    assert (conflict.mapped, conflict.listed) == (Length.from_metres("4.6"), Length.from_metres("4.02"))


@pytest.mark.parametrize(
    ("posted", "listed_m", "conflict"),
    [
        ("13'6\"", "4.11", False),  # 13'6" = 4.1148 m, cut off to 4.11 m in the inventory
        ("13'6\"", "4.10", True),  # below 4.11 m whatever was cut off
        ("13'6\"", "4.26", False),  # a sign that shows 5.7 in less
        ("13'6\"", "4.27", True),  # 6.1 in
    ],
)
def test_what_signs_and_cutting_off_explain_is_no_conflict(
    posted: str, listed_m: str, conflict: bool
) -> None:
    found = fused(overpass(road={"maxheight": posted}), over_heather(item_54=figure(listed_m)))
    assert bool(found.conflicts) is conflict
    assert under(found).lowest() == min(Length.from_feet(13, 6), Length.from_metres(listed_m))


@pytest.mark.parametrize(
    ("road", "said"),
    [
        ({"maxheight": "low!"}, "cannot be read"),
        ({"maxheight": "below_default"}, "lower than ordinary"),
        ({"maxheight": "150"}, "cannot be read"),
    ],
)
def test_a_doubt_in_the_map_keeps_a_listed_height_from_clearing(road: dict[str, str], said: str) -> None:
    structure = under(fused(overpass(road=road), over_heather()))
    (evidence,) = added(structure)
    assert not evidence.can_clear
    assert said in evidence.note
    assert standing(structure, Direction.BOTH, COACH) is Standing.UNVERIFIED


def test_an_order_that_is_not_told_is_not_cleared() -> None:
    found = fused(overpass(MILL), over_heather())
    for structure in found.structures:
        assert structure.ambiguous_order
        assert not structure.verified()


def test_a_byway_is_not_cleared_by_a_record_that_does_not_name_it() -> None:
    """An inventory of public roads need not have measured over a service road beneath another span."""
    town = overpass().node(7, -200, 15).node(8, 200, 15).way(11, [7, 8], {"highway": "service"})
    found = fused(town, over_heather())
    assert under(found, 10).verified()
    assert not under(found, 11).verified()
    assert under(found, 11).lowest() == Length.from_metres("4.52")


def test_a_height_that_may_be_in_feet_does_not_clear() -> None:
    found = fused(overpass(), over_heather(item_54=figure("13.42")))
    assert not under(found).verified()
    assert "feet" in added(under(found))[0].note


def test_two_roads_under_one_bridge_are_one_match() -> None:
    """A dual carriageway beneath: one record, two structures of the map."""
    dual = {"highway": "motorway", "ref": "I 95", "oneway": "yes"}
    town = overpass().node(7, 200, 12).node(8, -200, 12).way(11, [7, 8], dual)
    town = town.node(9, -200, 24).node(12, 200, 24).way(12, [9, 12], dual)
    # The bridge ends at y = 20, so lengthen it.
    town = town.node(5, 0, 40)
    found = fused(town, over_heather(features="I 95, HEATHER ST"))
    (match,) = found.matches
    assert len(match.structures) == 3
    assert all(s.verified() for s in found.structures if s.upper)


def parallel_town() -> Town:
    """Heather Street under two one-way bridges of I 95, 24 m apart: northbound to the east."""
    motorway = {"highway": "motorway", "ref": "I 95", "oneway": "yes", **BRIDGE}
    town = Town().node(1, -200, 0).node(2, 200, 0).way(10, [1, 2], HEATHER)
    town = town.node(3, 12, -30).node(4, 12, 30).way(20, [3, 4], motorway)
    return town.node(5, -12, 30).node(6, -12, -30).way(21, [5, 6], motorway)


def test_parallel_bridges_each_get_their_own_record() -> None:
    """Places that tell a little, and which of the two is the right one in the direction of the route."""
    common = {"carried": "I 95", "features": "HEATHER ST", "traffic": "1"}
    right = at("1", 6, 0, item_54=figure("4.50"), parallel="R", **common)
    left = at("2", -6, 0, item_54=figure("4.80"), parallel="L", **common)
    for records in ((right, left), (left, right)):
        found = fused(parallel_town(), *records)
        by_upper = {s.upper: s.lowest() for s in found.structures}
        assert by_upper == {"way/20": Length.from_metres("4.50"), "way/21": Length.from_metres("4.80")}


def test_twins_that_only_places_tell_apart_count_with_the_lower_height() -> None:
    """No directions in the list: each bridge gets its own record, and the lower figure of the other."""
    common = {"carried": "I 95", "features": "HEATHER ST", "traffic": "1"}
    east = at("1", 11, 0, item_54=figure("4.50"), **common)
    west = at("2", -11, 0, item_54=figure("4.80"), **common)
    found = fused(parallel_town(), east, west)
    assert len(found.matches) == 2
    for structure in found.structures:
        assert structure.lowest() == Length.from_metres("4.50")
        assert structure.verified()
    (own, other) = next(s for s in found.structures if s.upper == "way/21").evidence
    assert own.figure == Length.from_metres("4.80")
    assert "bridge beside" in other.note
    untold = at("1", 11, 0, **common)
    assert not any(s.verified() for s in fused(parallel_town(), untold, west).structures)


def test_the_direction_of_travel_tells_parallel_bridges_apart_where_places_do_not() -> None:
    common = {"features": "HEATHER ST", "traffic": "1"}
    north = at("1", 0, 0, item_54=figure("4.50"), carried="I 95 NB", **common)
    south = at("2", 0, 0, item_54=figure("4.80"), carried="I 95 SB", **common)
    by_upper = {s.upper: s.lowest() for s in fused(parallel_town(), south, north).structures}
    assert by_upper == {"way/20": Length.from_metres("4.50"), "way/21": Length.from_metres("4.80")}


def test_a_tie_stays_unmatched_and_is_listed() -> None:
    """One record midway between two bridges that it fits equally well."""
    found = fused(
        parallel_town(),
        at("1", 0, 0, carried="I 95", features="HEATHER ST", traffic="1", item_54=figure("4.5")),
    )
    assert found.matches == ()
    (left_over,) = found.unmatched
    assert "tie" in left_over.reason
    assert left_over.tells_height
    assert all(s.lowest() is None for s in found.structures)


def test_two_levels_are_told_apart_by_what_they_carry() -> None:
    """Heather Street under Mill Road under High Road, all at one place."""
    town = overpass().node(7, -150, -150).node(8, 150, 150)
    town = town.way(30, [7, 8], {"highway": "primary", "name": "High Road", "bridge": "yes", "layer": "2"})
    found = fused(
        town,
        over_heather(),
        at("2", 1, 2, carried="HIGH RD", features="SR 7, HEATHER ST", item_54=figure("5.10")),
    )
    lowest = {(s.spans[0].way, s.upper): s.lowest() for s in found.structures}
    assert lowest[10, "way/20"] == Length.from_metres("4.52")
    assert lowest[10, "way/30"] == Length.from_metres("5.10")
    assert lowest[20, "way/30"] == Length.from_metres("5.10")


@pytest.mark.parametrize(
    ("items", "said"),
    [
        ({"carried": "SR 9", "features": "LOW LANE"}, "name beneath differs"),
        ({"features": "OLD BROOK", "service_under": "5", "item_54": RIVER}, "only water beneath"),
        ({"carried": "A&B RAILROAD", "service_on": "2", "record_type": "2"}, "rail above"),
        ({"carried": "FOOTBRIDGE", "service_on": "3", "record_type": "2"}, "foot above"),
        ({"design": "18", "record_type": "2"}, "tunnel"),
        ({"place_step_m": 1852.0}, "told to 1852 m only"),
    ],
)
def test_near_misses_stay_unmatched_with_the_reason(items: dict[str, object], said: str) -> None:
    found = fused(overpass(), over_heather(**items))
    assert found.matches == ()
    assert said in found.unmatched[0].reason
    assert under(found).lowest() is None


def test_far_records_stay_unmatched_and_those_beyond_the_map_are_counted() -> None:
    far = at("1", 190, 190, carried="SR 7", features="HEATHER ST", item_54=figure("4.5"))
    beyond = at("2", 50_000, 0, carried="SR 7", features="HEATHER ST", item_54=figure("4.5"))
    found = fused(overpass(), far, beyond)
    assert found.matches == ()
    assert len(found.unmatched) == 1
    assert "within 150 m" in found.unmatched[0].reason
    assert found.outside == 1


def test_a_lower_record_that_lost_keeps_the_winner_from_clearing() -> None:
    """Two records fit the one bridge; the better one wins, but the other's 3.9 m could be meant."""
    rival = at("2", 30, 10, carried="SR 7", features="HEATHER ST", item_54=figure("3.9"))
    structure = under(fused(overpass(), over_heather(), rival))
    (evidence,) = added(structure)
    assert evidence.figure == Length.from_metres("4.52")
    assert not evidence.can_clear
    assert "3.9 m" in evidence.note


def test_a_lower_record_of_another_road_is_no_rival() -> None:
    """It crosses the same road near here, but carries another one: no bridge of the map is its."""
    other = at("2", 30, 10, carried="HIGH RD", features="HEATHER ST", item_54=figure("3.9"))
    structure = under(fused(overpass(), over_heather(), other))
    assert structure.verified()
    assert structure.lowest() == Length.from_metres("4.52")


def test_records_of_one_structure_number_are_one_bridge() -> None:
    """The "on" record brings Item 54, the "under" record its Item 10."""
    under_record = over_heather(record_type="2", item_54=MISSING, item_10=figure("4.9", ""))
    found = fused(overpass(), under_record, over_heather())
    (match,) = found.matches
    assert len(match.records) == 2
    assert {e.key: e.can_clear for e in added(under(found))} == {"Item 54": True, "Item 10": False}


def test_tracks_side_by_side_are_one_bridge() -> None:
    rail = {"railway": "rail", **BRIDGE}
    town = overpass(rail).node(7, 4, -40).node(8, 4, 40).way(23, [7, 8], rail)
    found = fused(town, listed(2, 0, "3.7", "Heather Street"))
    assert {s.lowest() for s in found.structures if s.upper} == {Length.from_metres("3.7")}
    assert len(found.matches) == 1


def test_a_short_tunnel_under_a_bridge_is_that_bridge() -> None:
    town = (
        Town().node(1, -200, 0).node(2, -12, 0).node(3, 12, 0).node(4, 200, 0).node(5, 0, -40).node(6, 0, 40)
    )
    town.way(10, [1, 2], HEATHER).way(11, [2, 3], HEATHER | {"tunnel": "yes"}).way(12, [3, 4], HEATHER)
    town.way(20, [5, 6], MILL)
    found = fused(town, over_heather())
    assert {s.kind for s in found.structures} == {Kind.BRIDGE, Kind.TUNNEL}
    assert all(s.lowest() == Length.from_metres("4.52") for s in found.structures)


def test_a_list_of_heights_takes_the_same_way() -> None:
    found = fused(overpass(), listed(10, 5, "4.2", "Heather St"), listed(5, 150, "3.0", "Low Lane", "line 3"))
    structure = under(found)
    (evidence,) = added(structure)
    assert (evidence.source, evidence.key, evidence.date) == ("Invented County", "height", "2022-05-01")
    assert evidence.element == "list line 2"
    assert structure.verified()
    (left_over,) = found.unmatched
    assert left_over.records[0] == listed(5, 150, "3.0", "Low Lane", "line 3")
    assert left_over.text.startswith("Invented County, line 3 (Low Lane): not matched, ")


def test_a_listed_height_without_a_name_must_lie_close() -> None:
    assert len(fused(overpass(), listed(8, 8, "4.2")).matches) == 1
    assert fused(overpass(), listed(40, 30, "4.2")).matches == ()


def test_two_sources_both_count() -> None:
    structure = under(fused(overpass(), over_heather(), listed(1, 1, "4.2", "Heather St")))
    assert structure.lowest() == Length.from_metres("4.2")
    assert {e.source for e in added(structure)} == {SOURCE, "Invented County"}


def test_nothing_in_nothing_out() -> None:
    extract = overpass().extract()
    structures = find_structures(extract)
    assert fuse(structures, (), extract).structures == structures
    assert fuse((), (over_heather(),), Town().extract()).outside == 1


def test_a_twentieth_of_a_country_in_a_twentieth_of_the_time() -> None:
    """2,500 overpasses and 5,000 records, half of them river bridges; 20 times as many must take below 10 s.

    Bounded loosely, at 8 times that share of processor time, so that a busy machine does not fail it.
    """
    town = Town()
    overpasses: list[HeightRecord] = []
    rivers: list[HeightRecord] = []
    for k in range(2_500):
        x, y, n = 400.0 * (k % 50), 300.0 * (k // 50), 10 * k
        town.node(n, x - 60, y).node(n + 1, x + 60, y).node(n + 2, x, y - 60).node(n + 3, x, y + 60)
        town.way(n, [n, n + 1], {"highway": "residential", "name": f"{k % 97}th Street"})
        town.way(n + 1, [n + 2, n + 3], {"highway": "primary", "ref": f"US {k % 89 + 1}", **BRIDGE})
        common = {"carried": f"US {k % 89 + 1}"}
        overpasses.append(
            at(str(2 * k), x + 9, y - 7, features=f"{k % 97}TH ST", item_54=figure("4.5"), **common)
        )
        rivers.append(
            at(str(2 * k + 1), x, y + 90, features="OLD BROOK", service_under="5", item_54=RIVER, **common)
        )
    extract = town.extract()
    structures = find_structures(extract)
    began = time.process_time()
    found = fuse(structures, [*rivers, *overpasses], extract)
    spent = time.process_time() - began
    assert len(found.matches) == 2_500
    assert {id(m.records[0]) for m in found.matches} == {id(r) for r in overpasses}
    assert all(len(m.structures) == 1 for m in found.matches)
    assert spent < 8 * 10 / 20


UPPERS: dict[str, dict[str, str]] = {
    "road": MILL | BRIDGE,
    "rail": {"railway": "rail", **BRIDGE},
    "foot": {"highway": "footway", **BRIDGE},
    "other": {"man_made": "pipeline", "location": "overhead", "layer": "1"},
}
#: Item 42A of FHWA-PD-96-001: 1 highway, 2 railway, 3 on foot, 4 highway and railway, 5 highway and foot,
#: 6 overpass, 7 and 8 third and fourth level, 9 building, 0 other.
CARRIED = {
    **{code: {"road"} for code in "15678"},
    "2": {"rail"},
    "3": {"foot"},
    "4": {"road", "rail"},
    "9": set(),
    "0": {"other"},
    "": set(UPPERS),
}


@pytest.mark.parametrize("code", sorted(CARRIED))
@pytest.mark.parametrize("upper", sorted(UPPERS))
def test_item_42a_says_what_is_above(code: str, upper: str) -> None:
    record = over_heather(service_on=code, carried="")
    assert bool(fused(overpass(UPPERS[upper]), record).matches) == (upper in CARRIED[code])


@pytest.mark.parametrize(
    ("code", "road"),
    [*((c, True) for c in ("1", "4", "6", "8", "0", "")), *((c, False) for c in ("2", "3", "5", "7", "9"))],
)
def test_item_42b_says_what_is_beneath(code: str, road: bool) -> None:
    """42B: 1 highway, 2 railway, 3 on foot, 4 highway and railway, 5 water, 6 to 8 with water, 9 relief."""
    assert bool(fused(overpass(), over_heather(service_under=code)).matches) is road


def test_a_road_beneath_by_item_42b_must_be_on_the_map() -> None:
    town = Town().node(4, 0, -20).node(5, 0, 20).node(3, 0, -200).node(6, 0, 200)
    town.way(20, [4, 5], MILL | BRIDGE).way(21, [3, 4], MILL).way(22, [5, 6], MILL)
    for code, fits in (("1", False), ("4", False), ("6", False), ("8", False), ("5", True), ("2", True)):
        record = over_heather(service_under=code, item_54=MISSING, item_53=figure("3.9", ""))
        assert bool(fused(town, record).matches) is fits


@pytest.mark.parametrize(
    ("told", "east"),
    [
        *(({"carried": f"I 95 {heading}"}, heading == "NB") for heading in ("NB", "SB")),
        *(({"carried": "I 95", "suffix": code}, code == "1") for code in ("1", "3")),
        *(({"carried": "I 95", "parallel": code}, code == "R") for code in ("R", "L")),
    ],
)
def test_the_direction_of_travel_by_each_item(told: dict[str, str], east: bool) -> None:
    """Items 7, 5E (1 north, 3 south) and 101 tell which of two parallel bridges is meant: north is east."""
    record = at("1", 0, 0, features="HEATHER ST", traffic="1", item_54=figure("4.5"), **told)
    (match,) = fused(parallel_town(), record).matches
    assert match.structures[0].split(":")[1] == ("way/20" if east else "way/21")


@pytest.mark.parametrize(
    ("told", "east"),
    [
        *(({"carried": f"I 95 {heading}"}, heading == "EB") for heading in ("EB", "WB")),
        *(({"carried": "I 95", "suffix": code}, code == "2") for code in ("2", "4")),
        *(({"carried": "I 95", "parallel": code}, code == "R") for code in ("R", "L")),
    ],
)
def test_the_same_where_the_bridges_run_east_and_west(told: dict[str, str], east: bool) -> None:
    motorway = {"highway": "motorway", "ref": "I 95", "oneway": "yes", **BRIDGE}
    town = Town().node(1, 0, -200).node(2, 0, 200).way(10, [1, 2], HEATHER)
    town = town.node(3, -30, -12).node(4, 30, -12).way(20, [3, 4], motorway)
    town = town.node(5, 30, 12).node(6, -30, 12).way(21, [5, 6], motorway)
    record = at("1", 0, 0, features="HEATHER ST", traffic="1", item_54=figure("4.5"), **told)
    (match,) = fused(town, record).matches
    assert match.structures[0].split(":")[1] == ("way/20" if east else "way/21")


@pytest.mark.parametrize(
    ("metres", "clears"), [("8.99", True), ("9.0", False), ("19.99", False), ("20.0", True)]
)
def test_heights_that_may_be_feet(metres: str, clears: bool) -> None:
    assert under(fused(overpass(), over_heather(item_54=figure(metres)))).verified() is clears


@pytest.mark.parametrize(
    "highway", ["service", "track", "footway", "path", "cycleway", "bridleway", "pedestrian", "residential"]
)
def test_byways_are_cleared_by_name_alone(highway: str) -> None:
    byway = {"highway": highway, "motor_vehicle": "yes"}
    for name, features, clears in (
        ("", "HEATHER ST", highway == "residential"),
        ("Low Lane", "LOW LANE", True),
        ("Low Lane", "HEATHER ST, LOW LANE", True),
    ):
        tags = byway | ({"name": name} if name else {})
        town = overpass().node(7, -200, 15).node(8, 200, 15).way(11, [7, 8], tags)
        assert under(fused(town, over_heather(features=features)), 11).verified() is clears


def test_records_around_the_map_are_looked_at_and_others_counted() -> None:
    """Within 0.01 degrees of the box of the map."""
    inside = at("1", 3, 4, carried="SR 7", features="HEATHER ST")
    places = [(-200 - 0.0099 * 78846.8, 0), (0, 200 + 0.0099 * 111131.8)]
    outside = [(-200 - 0.0101 * 78846.8, 0), (0, 200 + 0.0101 * 111131.8)]
    outside += [(200 + 0.0101 * 78846.8, 0), (0, -200 - 0.0101 * 111131.8)]
    near = [at(str(10 + i), x, y) for i, (x, y) in enumerate(places)]
    far = [at(str(20 + i), x, y) for i, (x, y) in enumerate(outside)]
    found = fused(overpass(), inside, *near, *far)
    assert found.outside == len(far)
    assert len(found.unmatched) == len(near)


def test_the_items_of_the_specification_of_2022_have_their_own_names() -> None:
    items = {"item_54": figure("4.5"), "item_53": figure("3.9", ""), "item_10": figure("4.1", "")}
    covered = MILL | {"bridge": "covered", "layer": "1"}
    for edition, beneath, on in (
        (1995, {"Item 54"}, {"Item 53", "Item 10"}),
        (2022, {"B.H.13"}, {"B.H.13", "B.H.12"}),
    ):
        found = fused(overpass(covered), over_heather(edition=edition, **items))
        (deck,) = [s for s in found.structures if s.kind is Kind.COVERED_BRIDGE]
        assert {e.key for e in added(under(found))} == beneath
        assert {e.key for e in added(deck)} == on


@pytest.mark.parametrize(
    "highway", ["service", "track", "footway", "path", "cycleway", "bridleway", "pedestrian", "residential"]
)
def test_a_record_of_water_alone_may_be_of_a_bridge_over_a_byway(highway: str) -> None:
    town = Town().node(1, -200, 0).node(2, 200, 0).node(4, 0, -20).node(5, 0, 20)
    town.way(10, [1, 2], {"highway": highway, "motor_vehicle": "yes"}).way(20, [4, 5], MILL | BRIDGE)
    record = at("1", 0, 0, carried="SR 7", features="OLD BROOK", service_under="5", item_54=MISSING)
    assert bool(fused(town, record).matches) is (highway != "residential")


@pytest.mark.parametrize(
    ("carried", "code", "rail"),
    [("COAST RAILROAD", "", True), ("SR 7", "", False), ("SR 7", "1", False)],
)
def test_a_railway_is_known_by_what_is_carried_where_the_item_does_not_say(
    carried: str, code: str, rail: bool
) -> None:
    """A railway bridge of the map takes the record of a railway, and no other at the same place."""
    line = {"railway": "rail", "name": "Coast Line"} | BRIDGE
    told = {"carried": carried, "features": "HEATHER ST", "service_on": code}
    on_rail = fused(overpass(line), over_heather(**told))
    on_road = fused(overpass(), over_heather(**told))
    assert bool(on_rail.matches) or not rail
    scores = [found.matches[0].score if found.matches else 0.0 for found in (on_rail, on_road)]
    assert (scores[0] > scores[1]) is rail


def heading_town(bearing: float) -> Town:
    """Heather Street under a one-way deck of I 95 that leads in `bearing`, in degrees from north."""
    x, y = 30 * math.sin(math.radians(bearing)), 30 * math.cos(math.radians(bearing))
    ax, ay = 200 * math.cos(math.radians(bearing)), -200 * math.sin(math.radians(bearing))
    town = Town().node(1, -ax, -ay).node(2, ax, ay).way(10, [1, 2], HEATHER)
    town.node(3, -x, -y).node(4, x, y)
    return town.way(20, [3, 4], {"highway": "motorway", "ref": "I 95", "oneway": "yes", **BRIDGE})


@pytest.mark.parametrize(
    ("told", "towards"),
    [
        *(({"carried": f"I 95 {code}B"}, 90 * n) for n, code in enumerate("NESW")),
        *(({"suffix": str(n + 1)}, 90 * n) for n in range(4)),
        ({"parallel": "R"}, 45),
        ({"parallel": "L"}, 225),
        ({"carried": "I 95 NB, I 95 SB", "suffix": "2"}, 90),
        ({"suffix": "2", "parallel": "L"}, 90),
        ({"carried": "I 95 WB", "suffix": "1"}, 270),
    ],
)  # fmt: skip
def test_directions_to_a_degree(told: dict[str, str], towards: float) -> None:
    """Up to 75 degrees apart they agree: no more, on either side."""
    record = over_heather(**({"carried": "I 95"} | told))
    for off, agrees in ((-74.3, True), (74.3, True), (-75.7, False), (75.7, False)):
        (match,) = fused(heading_town(towards + off), record).matches
        assert ("directions agree" in match.reason) is agrees


@pytest.mark.parametrize(("traffic", "said"), [("1", "agree"), ("2", "differ"), ("3", "differ"), ("0", "")])
def test_item_102_tells_one_way_from_both(traffic: str, said: str) -> None:
    """102: 0 no highway traffic, 1 one way, 2 both ways, 3 both ways on one lane."""
    (match,) = fused(heading_town(0), over_heather(carried="I 95", traffic=traffic)).matches
    assert match.reason.endswith(f", directions {said}" if said else "kind agrees")
    # What the record of the road beneath says of its traffic is not about the deck.
    below = over_heather(carried="I 95", traffic=traffic, record_type="2")
    (match,) = fused(heading_town(0), below).matches
    assert "directions" not in match.reason


@pytest.mark.parametrize(
    ("skew", "said"),
    [(0, "agree"), (20, "agree"), (45, "differ"), (90, "differ"), (91, ""), (99, ""), (None, "")],
)  # fmt: skip
def test_item_34_is_an_angle_up_to_90(skew: int | None, said: str) -> None:
    """34: 99 tells that the skew changes along the structure. The deck here is square to the road."""
    (match,) = fused(overpass(), over_heather(skew_deg=skew, traffic="")).matches
    assert match.reason.endswith(f", directions {said}" if said else "kind agrees")


def test_a_building_over_a_road_is_item_42a_9() -> None:
    town = Town().node(1, -200, 0).node(2, 200, 0).way(10, [1, 2], HEATHER)
    for ref, (x, y) in enumerate(((-10, -10), (10, -10), (10, 10), (-10, 10)), start=3):
        town.node(ref, x, y)
    town.way(20, [3, 4, 5, 6, 3], {"building": "roof", "layer": "1"})
    for code, fits in (("9", True), ("1", False), ("2", False)):
        assert bool(fused(town, over_heather(carried="", service_on=code)).matches) is fits


@pytest.mark.parametrize(
    ("code", "told"), [("2", "rail"), ("3", "foot"), ("5", "water"), ("7", "rail and water"), ("9", "water")]
)
def test_what_is_beneath_by_item_42b_is_told(code: str, told: str) -> None:
    (left,) = fused(overpass(), over_heather(service_under=code)).unmatched
    assert left.reason.endswith(f"the list has only {told} beneath, the map a road")


def test_records_of_one_bridge_are_read_the_one_on_it_first() -> None:
    on = over_heather(line=9)
    below = [over_heather(line=line, record_type=code) for line, code in ((7, "2"), (3, "A"), (5, "A"))]
    far = [replace(r, lon=r.lon + 0.0005, service_on="2") for r in below]
    for order in ([on, *far], [*far, on], [*far[::-1], on]):
        (match,) = fused(overpass(), *order).matches
        assert [r.line for r in match.records if isinstance(r, InventoryRecord)] == [9, 7, 3, 5]
        assert match.distance_m < 5  # from the place of the first


def test_the_order_of_records_and_of_lists_does_not_matter() -> None:
    records: list[HeightRecord] = [
        over_heather(),
        listed(1, 1, "4.2", "Heather St"),
        replace(over_heather(), source="A list"),
    ]
    one, other = fused(overpass(), *records), fused(overpass(), *records[::-1])
    assert one == other
    assert [e.source for e in added(under(one))] == ["A list", "Invented County", SOURCE]


def test_what_is_left_over_is_told_in_the_order_of_the_list() -> None:
    far = [
        at(number, x, 190, carried="SR 7", features="HEATHER ST") for number, x in (("1", 190), ("5", 195))
    ]
    rival = at("3", 30, 10, carried="SR 7", features="HEATHER ST")
    found = fused(overpass(), far[0], replace(over_heather(), number="2", line=2), rival, far[1])
    assert [r.line for u in found.unmatched for r in u.records if isinstance(r, InventoryRecord)] == [1, 3, 5]


def test_figures_of_a_match_are_rounded() -> None:
    (match,) = fused(overpass(), replace(over_heather(), lon=-39.999_876_6)).matches
    assert match.distance_m == round(match.distance_m, 1) > 0
    assert match.score == round(match.score, 3) < 1


@pytest.mark.parametrize(
    ("posted", "told", "conflict"),
    [("4.11", "4.10", True), ("4.1099", "4.10", False), ("4.0", "4.1524", False), ("4.0", "4.1525", True)],
)
def test_conflicts_to_a_tenth_of_a_millimetre(posted: str, told: str, conflict: bool) -> None:
    """Cut off means less than a centimetre; a sign may show up to 6 in, 0.1524 m, less."""
    found = fused(overpass(road={"maxheight": posted}), over_heather(item_54=figure(told)))
    assert bool(found.conflicts) is conflict


def test_what_is_no_conflict() -> None:
    at_night = {"maxheight:conditional": "3.5 @ (22:00-06:00)"}
    assert fused(overpass(road=at_night), over_heather()).conflicts == ()
    # Of two heights of the map the lower is what a listed one is held against.
    both = {"maxheight": "4.5", "maxheight:physical": "4.9"}
    assert fused(overpass(road=both), over_heather(item_54=figure("4.52"))).conflicts == ()
    physical = {"maxheight:physical": "4.9"}
    assert len(fused(overpass(road=physical), over_heather(item_54=figure("4.52"))).conflicts) == 1
    # Two openings of one list: each has its height.
    two = (over_heather(item_54=figure("4.2")), over_heather(record_type="2", item_54=figure("5.2")))
    found = fused(overpass(), *two)
    assert (len(added(under(found))), found.conflicts) == (2, ())
    # An upper bound above a sign speaks against nothing, one below it does.
    for metres, conflicts in (("5.9", 0), ("3.9", 1)):
        bound = over_heather(record_type="2", item_54=MISSING, item_10=figure(metres, ""))
        assert len(fused(overpass(road={"maxheight": "4.2"}), bound).conflicts) == conflicts
    # A list of single heights is no bound.
    assert len(fused(overpass(road={"maxheight": "4.2"}), listed(2, 2, "4.6", "Heather St")).conflicts) == 1


def test_a_conflict_is_told_once_and_in_full() -> None:
    twice = (over_heather(item_54=figure("4.02")), over_heather(record_type="2", item_54=figure("4.02")))
    found = fused(overpass(road={"maxheight": "4.6"}), *twice)
    text = (
        f"heights disagree: way/10 maxheight=4.6 is 4.6 m, {SOURCE}, structure 1, Item 54 is 4.02 m; "
        "the lower counts"
    )
    assert [c.text for c in found.conflicts] == [text]
    assert under(found).warnings == (text,)
    lists = fused(overpass(), over_heather(item_54=figure("4.6")), listed(0, 4, "4.1", "Heather Street"))
    assert [c.text for c in lists.conflicts] == [
        "heights disagree: Invented County, list line 2 height is 4.1 m, "
        f"{SOURCE}, structure 1, Item 54 is 4.6 m; the lower counts"
    ]


def test_of_equal_and_of_several_rivals() -> None:
    """An equal height casts no doubt; of lower ones the lowest is told."""
    rivals = [
        at(str(n), 30, 10, carried="SR 7", features="HEATHER ST", item_54=figure(metres))
        for n, metres in enumerate(("4.52", "4.1", "3.9"), start=2)
    ]
    assert under(fused(overpass(), over_heather(), rivals[0])).verified()
    (evidence,) = added(under(fused(overpass(), over_heather(), *rivals)))
    assert "another record of the list, of 3.9 m," in evidence.note
    # An upper bound clears nothing that a rival could keep it from.
    bound = over_heather(record_type="2", item_54=MISSING, item_10=figure("5.9", ""))
    below = replace(rivals[2], record_type="2")
    (evidence,) = added(under(fused(overpass(), bound, below)))
    assert "another record" not in evidence.note


def twins(east: tuple[HeightRecord, ...], west: tuple[HeightRecord, ...]) -> dict[str, list[Evidence]]:
    """What is added to the two bridges of `parallel_town` that only places tell apart."""
    found = fused(parallel_town(), *east, *west)
    assert len(found.matches) == 2
    return {s.upper: added(s) for s in found.structures}


def twin(number: str, x: float, **items: object) -> HeightRecord:
    return at(number, x, 0, carried="I 95", features="HEATHER ST", traffic="1", **items)


def test_a_twin_adds_only_what_is_lower_than_all_of_ones_own() -> None:
    east = (twin("1", 11, item_54=figure("4.50")), twin("1", 11, item_54=figure("4.80"), record_type="2"))
    for metres, counts in (("4.49", 3), ("4.50", 2), ("4.60", 2)):
        told = twins(east, (twin("2", -11, item_54=figure(metres)),))
        assert len(told["way/20"]) == counts
    # An upper bound is no height of one's own.
    bound = (twin("1", 11, item_54=MISSING, item_10=figure("4.0", ""), record_type="2"),)
    beside = twins(bound, (twin("2", -11, item_54=figure("4.60")),))["way/20"]
    assert [(e.figure, e.can_clear) for e in beside] == [
        (Length.from_metres("4.0"), False),
        (Length.from_metres("4.60"), False),
    ]
    assert "no height of its own" in beside[1].note
    assert "only places tell this bridge" not in beside[0].note


def test_whose_road_beneath_a_height_is_of() -> None:
    """Two roads beneath: the list names one of them, or the other, or neither."""
    town = overpass().node(7, -200, 10).node(8, 200, 10)
    town.way(11, [7, 8], {"highway": "residential", "name": "Low Lane"})
    found = fused(town, over_heather())
    assert under(found, 10).verified()
    assert not under(found, 11).verified()
    assert "the list names another road beneath" in added(under(found, 11))[0].note
    neither = fused(town, over_heather(features=""))
    assert under(neither, 10).verified()
    assert under(neither, 11).verified()
    one = fused(overpass(), over_heather(carried="SR 7", features="LOW LANE"))
    assert "the list names another road beneath" not in added(under(one))[0].note
    # A list of anybody's was made for this road, be it a byway.
    byway = overpass(road={"highway": "service"})
    assert under(fused(byway, listed(1, 1, "4.2"))).verified()
    assert not under(fused(byway, over_heather(features=""))).verified()


@pytest.mark.parametrize(
    ("first", "second", "several"),
    [({"name": "Low Lane"}, {"name": "Low Lane"}, False), ({}, {}, True), ({"name": "Low Lane"}, {}, True)],
)
def test_a_best_strip_is_of_one_road(first: dict[str, str], second: dict[str, str], several: bool) -> None:
    """The two carriageways of one road are one road, two roads without a name are two."""
    town = Town().node(4, 0, -40).node(5, 0, 40).way(20, [4, 5], MILL | BRIDGE)
    for n, (y, more) in enumerate(((0, first), (12, second))):
        town.node(30 + n, -200, y).node(40 + n, 200, y).way(
            10 + n, [30 + n, 40 + n], {"highway": "primary"} | more
        )
    found = fused(
        town, over_heather(features="", record_type="2", item_54=MISSING, item_10=figure("3.9", ""))
    )
    assert [len(added(under(found, way))) for way in (10, 11)] == ([0, 0] if several else [1, 1])


def test_two_lists_tell_of_one_truss() -> None:
    town = Town().node(1, -200, 0).node(2, -30, 0).node(6, 0, 5).node(3, 30, 0).node(4, 200, 0)
    town.way(10, [1, 2], HEATHER).way(12, [3, 4], HEATHER)
    town.way(11, [2, 6, 3], HEATHER | BRIDGE | {"bridge:name": "High Arch"})
    truss = at("1", -28, 3, carried="HEATHER ST", service_under="5", item_54=RIVER, item_53=figure("3.9", ""))
    found = fused(town, truss, replace(truss, source="A list", item_53=figure("3.8", "")))
    (structure,) = found.structures
    assert [e.figure for e in structure.evidence] == [Length.from_metres("3.8"), Length.from_metres("3.9")]
    assert (structure.name, structure.spans[0].end) == ("High Arch", 2.0)
    assert structure.tags == {"way/11": HEATHER | BRIDGE | {"bridge:name": "High Arch"}}
    (match,) = [m for m in found.matches if m.records == (truss,)]
    assert match.structures == ("way/11:inventory",)


def test_the_best_strip_of_a_deck_condemns_and_never_clears() -> None:
    covered = MILL | {"bridge": "covered", "layer": "1"}
    for metres, standing_of in (("3.9", Standing.TOO_LOW), ("5.9", Standing.UNVERIFIED)):
        found = fused(overpass(covered), over_heather(item_10=figure(metres, "")))
        (on,) = [s for s in found.structures if s.kind is Kind.COVERED_BRIDGE]
        assert [(e.key, e.can_clear) for e in added(on)] == [("Item 10", False)]
        assert standing(on, Direction.BOTH, COACH) is standing_of
    # What stands in doubt on the deck is not cleared either.
    doubtful = fused(overpass(covered | {"maxheight": "low"}), over_heather(item_53=figure("4.9", "")))
    (on,) = [s for s in doubtful.structures if s.kind is Kind.COVERED_BRIDGE]
    assert not on.verified()


def test_records_at_the_very_edge_of_what_is_looked_at() -> None:
    extract = overpass().extract()
    west, east = float(extract.lon.min()) - 0.01, float(extract.lon.max()) + 0.01
    south, north = float(extract.lat.min()) - 0.01, float(extract.lat.max()) + 0.01
    for lon, lat in ((west, 45.0), (east, 45.0), (-40.0, south), (-40.0, north)):
        assert fuse((), [replace(listed(0, 0, "4"), lon=lon, lat=lat)], extract).outside == 0
    for lon, lat in ((west - 1e-9, 45.0), (east + 1e-9, 45.0), (-40.0, south - 1e-9), (-40.0, north + 1e-9)):
        assert fuse((), [replace(listed(0, 0, "4"), lon=lon, lat=lat)], extract).outside == 1

"""Records brought to structures: which one, what they change, and what is said where they fit none."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from clearance.assess.day import plan_day
from clearance.assess.records import NEAR_M, structures_near, with_records
from clearance.core.drive import Unverified, Verdict
from clearance.core.lengths import Length
from clearance.core.record import Record, Removal, elements_of_structure
from clearance.core.structure import EvidenceClass, Kind, Standing
from clearance.network.network import Network
from clearance.workflow import network_of
from tests.assess.towns import COACH, END, START, halt, two_ways
from tests.towns import Town, lonlat

HIGH, LOW = Length.from_feet(14, 2), Length.from_feet(12)


def record(
    network: Network, height: Length, *, key: bool = True, at: tuple[float, float] | None = None
) -> Record:
    """A record of the one structure of a town, or of a place."""
    structure = network.structures[0]
    lon, lat = (structure.lon, structure.lat) if at is None else lonlat(*at)
    return Record(
        uid="12" * 16,
        height=height,
        raw=str(height),
        date="2026-05-05",
        who="Ines",
        lon=lon,
        lat=lat,
        key=structure.key if key else "",
        kind=str(structure.kind),
        elements=elements_of_structure(structure) if key else (),
    )


def standing(network: Network) -> tuple[list[Standing], Verdict]:
    """How the structures stand on the drive of the two ways, unknown heights taken as they come."""
    drive = plan_day(network, COACH, [halt(*START), halt(*END)], unverified=Unverified.ACCEPT)
    return [f.standing for f in (*drive.findings, *drive.in_the_way)], drive.verdict


def test_a_recorded_height_clears_what_nobody_knew() -> None:
    town = two_ways()
    assert standing(town) == ([Standing.UNVERIFIED], Verdict.CARE)
    counted = with_records(town, [record(town, HIGH)])
    assert (counted.records, counted.notes) == (1, ())
    assert standing(counted.network) == ([Standing.CLEAR], Verdict.CLEAR)
    evidence = counted.network.structures[0].evidence[-1]
    assert (evidence.evidence_class, evidence.source) == (EvidenceClass.MEASURED, "recorded by Ines")


def test_a_recorded_height_that_is_too_low_always_counts() -> None:
    """Also where a sign in the map says that there is room."""
    town = two_ways(direct={"maxheight": "4.6"}, detour={"motor_vehicle": "no"})
    assert standing(town)[1] is Verdict.CLEAR
    counted = with_records(town, [record(town, LOW)])
    assert standing(counted.network) == ([Standing.TOO_LOW], Verdict.BLOCKED)


def test_a_recorded_height_never_overrides_a_lower_posted_one() -> None:
    town = two_ways(direct={"maxheight": "3.5"}, detour={"motor_vehicle": "no"})
    counted = with_records(town, [record(town, HIGH)])
    assert standing(counted.network) == ([Standing.TOO_LOW], Verdict.BLOCKED)
    assert counted.network.structures[0].lowest() == Length.from_metres("3.5")


def test_of_two_records_the_lower_counts() -> None:
    town = two_ways(detour={"motor_vehicle": "no"})
    two = [record(town, HIGH), replace(record(town, LOW), uid="34" * 16)]
    for order in (two, two[::-1]):
        assert standing(with_records(town, order).network) == ([Standing.TOO_LOW], Verdict.BLOCKED)


def test_a_removed_record_counts_no_more() -> None:
    town = two_ways()
    gone = replace(record(town, LOW), removal=Removal(when="2026-06-01T00:00:00Z", who="Ines", why="wrong"))
    counted = with_records(town, [gone])
    assert counted.network is town
    assert counted.records == 0


def test_a_structure_whose_key_has_changed_is_known_by_its_elements() -> None:
    town = two_ways()
    old = replace(record(town, HIGH), key="999:20:0")
    counted = with_records(town, [old])
    assert standing(counted.network)[0] == [Standing.CLEAR]
    (note,) = counted.notes
    assert "the map has changed" in note
    assert town.structures[0].key in note


def test_a_key_far_from_its_place_is_not_the_same_structure() -> None:
    """Elements of the map get moved: what is 400 m away now is something else; the figure stays behind."""
    town = two_ways()
    lon, lat = lonlat(100, 0)
    counted = with_records(town, [replace(record(town, HIGH), lon=lon, lat=lat)])
    assert standing(counted.network)[0] == [Standing.CLEAR, Standing.UNVERIFIED]
    assert "no longer in the map" in counted.notes[0]


def test_a_place_alone_counts_against_and_never_for() -> None:
    town = two_ways()
    near = record(town, HIGH, key=False, at=(500 + NEAR_M - 5, 0))
    counted = with_records(town, [near])
    assert standing(counted.network)[0] == [Standing.UNVERIFIED]
    assert "clears none" in counted.notes[0]
    low = with_records(town, [replace(near, height=LOW)])
    drive = plan_day(low.network, COACH, [halt(*START), halt(*END)], unverified=Unverified.ACCEPT)
    assert [p.road for p in drive.pieces] == ["West Road", "High Street", "East Road"]


def test_a_height_where_no_structure_is_mapped_stands_on_the_road() -> None:
    """A low branch 200 m before the bridge closes the street in both directions, and that alone."""
    town = two_ways()
    counted = with_records(town, [record(town, LOW, key=False, at=(300, 8))])
    assert counted.notes == ()
    network = counted.network
    added = network.structures[1]
    assert (added.kind, added.road) == (Kind.LIMIT, "Low Street")
    assert (added.lon, added.lat) == pytest.approx(lonlat(300, 0), abs=1e-7)
    for ends in ((START, END), (END, START)):
        drive = plan_day(network, COACH, [halt(*end) for end in ends], unverified=Unverified.ACCEPT)
        assert "High Street" in [p.road for p in drive.pieces]
        assert drive.car is not None
        passed = [f.structure.key for f in drive.car.differences if f.standing is Standing.TOO_LOW]
        assert passed == [added.key]
    assert np.all(np.diff(network.hit_arc) >= 0)


def test_a_structure_that_has_gone_from_the_map_leaves_its_height_on_the_road() -> None:
    with_bridge = two_ways()
    without = two_ways(rail={"waterway": "stream"})
    assert len(without.structures) == 0
    counted = with_records(without, [record(with_bridge, LOW)])
    assert counted.records == 1
    assert "no longer in the map" in counted.notes[0]
    drive = plan_day(counted.network, COACH, [halt(*START), halt(*END)], unverified=Unverified.ACCEPT)
    assert "High Street" in [p.road for p in drive.pieces]


def test_records_elsewhere_are_nobodys_business() -> None:
    town = two_ways()
    far = replace(record(town, LOW), lon=-41.0, lat=46.0)
    counted = with_records(town, [far])
    assert (counted.network is town, counted.records, counted.notes) == (True, 0, ())
    field = record(town, LOW, key=False, at=(500, 500))
    counted = with_records(town, [field])
    assert (counted.network is town, counted.records) == (True, 0)
    assert "no road is within 40 m" in counted.notes[0]


def test_structures_near_a_place_come_nearest_first() -> None:
    town = two_ways()
    ((metres, index),) = structures_near(town, *lonlat(510, 0))
    assert index == 0
    assert metres == pytest.approx(10, abs=0.5)
    assert structures_near(town, *lonlat(600, 0)) == []


@pytest.mark.parametrize(("metres", "same"), [(249.8, True), (250.2, False)])
def test_a_key_within_250_m_is_the_same_structure(metres: float, same: bool) -> None:
    """The structure is at (500, 0): the record of it is north of that, where no road is near."""
    town = two_ways()
    told = replace(record(town, HIGH, at=(500, metres)), key=town.structures[0].key, elements=())
    counted = with_records(town, [told])
    assert counted.records == int(same)
    assert counted.network.structures[0].verified() is same


@pytest.mark.parametrize(("metres", "near"), [(39.8, True), (40.2, False)])
def test_a_place_within_forty_metres_is_that_of_a_structure(metres: float, near: bool) -> None:
    """Along the street: farther off, the figure stands on the road by itself."""
    town = two_ways()
    counted = with_records(town, [record(town, LOW, key=False, at=(500 + metres, 0))])
    assert counted.records == 1
    evidence = counted.network.structures[0].evidence
    assert [e.note for e in evidence if e.source == "recorded by Ines"] == (
        ["may be of another structure"] if near else []
    )
    assert len(counted.network.structures) == (1 if near else 2)


def test_notes_name_the_structure_and_the_road() -> None:
    town = two_ways()
    (note,) = with_records(town, [record(town, LOW, key=False)]).notes
    assert f"against the railway bridge over Low Street ({town.structures[0].key}), and clears none" in note
    bare = two_ways({"name": ""})
    (note,) = with_records(bare, [record(bare, LOW, key=False)]).notes
    assert f"against the railway bridge ({bare.structures[0].key}), and clears none" in note
    gone = replace(record(town, LOW), key="way/1:way/2:1", elements=("way/77",), lon=0.0)
    lon, lat = lonlat(-200, 0)
    counted = with_records(town, [replace(gone, lon=lon, lat=lat)])
    assert (
        "its structure is no longer in the map; the height stands for itself on West Road" in counted.notes[0]
    )
    added = counted.network.structures[-1]
    assert (added.road, added.kind, added.lowest()) == ("West Road", Kind.LIMIT, LOW)
    assert (added.lon, added.lat) == pytest.approx((lon, lat), abs=1e-6)
    (far,) = with_records(town, [record(town, LOW, key=False, at=(-200, 45))]).notes
    assert "no structure is mapped there, and no road is within 40 m; it counts nowhere" in far


def test_records_of_several_structures_at_once() -> None:
    town = two_ways(detour={"tunnel": "yes"})
    by_kind = {s.kind: i for i, s in enumerate(town.structures)}
    records = [
        replace(record(town, HIGH), key=s.key, lon=s.lon, lat=s.lat, uid=str(i) * 32)
        for i, s in enumerate(town.structures)
    ]
    counted = with_records(town, records)
    assert (counted.records, counted.notes) == (2, ())
    assert all(s.verified() for s in counted.network.structures)
    assert {s.kind for s in counted.network.structures} == set(by_kind)


def test_no_records_and_no_roads_change_nothing() -> None:
    town = two_ways()
    for records in ([], [replace(record(town, LOW), lon=10.0, lat=10.0)]):
        counted = with_records(town, records)
        assert counted.network is town
        assert (counted.records, counted.notes) == (0, ())
    empty = network_of(Town().extract())
    assert with_records(empty, [record(town, LOW)]).records == 0


def test_a_record_at_the_very_edge_of_the_area_counts() -> None:
    """The roads of the town run from (-500, 0) to (1500, 0), and to 1,000 m north."""
    town = two_ways()
    for at in ((-500, 0), (1500, 0), (0, 1000), (1000, 1000)):
        counted = with_records(town, [record(town, LOW, key=False, at=at)])
        assert (counted.records, counted.notes) == (1, ())
        assert len(counted.network.structures) == 2
    for at in ((-501, 0), (1501, 0), (500, -1), (500, 1001)):
        counted = with_records(town, [record(town, LOW, key=False, at=at)])
        assert (counted.records, counted.network is town) == (0, True)


def test_a_figure_on_a_one_way_street_stands_where_it_was_seen() -> None:
    town = Town().node(1, -500, 0).node(2, 500, 0).node(3, 500, 100).node(4, -500, 100)
    town.way(10, [1, 2, 3, 4, 1], {"highway": "residential", "oneway": "yes", "ref": "R 7"})
    network = network_of(town.extract())
    lon, lat = lonlat(100, 5)
    seen = Record(
        uid="56" * 16, height=LOW, raw="12'", date="2026-05-05", who="Ines", lon=lon, lat=lat, name="branch"
    )
    counted = with_records(network, [seen])
    (added,) = counted.network.structures
    assert (added.key, added.name, added.road, added.kind) == (
        f"record:{'56' * 16}",
        "branch",
        "R 7",
        Kind.LIMIT,
    )
    assert (added.lon, added.lat) == pytest.approx(lonlat(100, 0), abs=1e-7)
    assert [(e.figure, e.evidence_class) for e in added.evidence] == [(LOW, EvidenceClass.MEASURED)]
    told = with_records(network, [replace(seen, road="Mill Lane")]).network.structures[0]
    assert told.road == "Mill Lane"


def two_bridges() -> Network:
    """Two railways 60 m apart over one street, at (500, 0) and (560, 0)."""
    town = Town().node(1, 0, 0).node(2, 1000, 0)
    for ref, x in ((3, 500), (5, 560)):
        town.node(ref, x, -50).node(ref + 1, x, 50)
        town.way(20 + ref, [ref, ref + 1], {"railway": "rail", "bridge": "yes", "layer": "1"})
    return network_of(town.way(10, [1, 2], {"highway": "residential", "name": "Mill Lane"}).extract())


def test_a_place_between_two_counts_against_both_and_clears_none() -> None:
    town = two_bridges()
    middle = replace(record(town, HIGH, key=False, at=(530, 0)), note="at night")
    counted = with_records(town, [middle])
    assert counted.records == 1
    assert "its height counts against 2 structures near it, and clears none" in counted.notes[0]
    for structure in counted.network.structures:
        (evidence,) = [e for e in structure.evidence if e.source == "recorded by Ines"]
        assert (evidence.can_clear, evidence.figure) == (False, HIGH)
        assert evidence.note == "at night, may be of another structure"
        assert not structure.verified()
    # One that is nearer, but not alone within 40 m, is no better known; one that is alone is.
    lone = with_records(town, [replace(middle, lon=lonlat(515, 0)[0])])
    assert "2 structures" not in lone.notes[0]
    assert sum(len(s.evidence) for s in lone.network.structures) == 1 + sum(
        len(s.evidence) for s in town.structures
    )


def test_of_two_structures_near_it_the_one_with_more_of_its_elements_is_meant() -> None:
    """The key is not known any more; the railway's way is that of the first, the street is of both."""
    town = two_bridges()
    for mine, other in (town.structures[:2], town.structures[1::-1]):
        elements = elements_of_structure(mine)
        seen = replace(record(town, HIGH, at=(530, 0)), key="999:1:0", elements=elements, kind=str(mine.kind))
        counted = with_records(town, [seen])
        assert len(set(elements) - set(elements_of_structure(other))) > 0
        known = {s.key: s.verified() for s in counted.network.structures}
        assert known == {mine.key: True, other.key: False}
        assert f"the height counts for the railway bridge over Mill Lane ({mine.key})" in counted.notes[0]
    street = [
        e for e in elements_of_structure(town.structures[0]) if e in elements_of_structure(town.structures[1])
    ]
    assert street
    both = replace(record(town, HIGH, at=(530, 0)), key="999:1:0", elements=tuple(street))
    counted = with_records(town, [both])
    assert "against 2 structures near it" in counted.notes[0]
    none = replace(both, elements=("way/77",))
    counted = with_records(town, [none])
    assert "no longer in the map" in counted.notes[0]
    assert [s.kind for s in counted.network.structures][2:] == [Kind.LIMIT]


def test_structures_near_a_place_come_in_order_up_to_the_limit() -> None:
    town = two_bridges()
    order = [town.structures[k].lon for _, k in structures_near(town, *lonlat(540, 0), 100)]
    assert order == sorted(order, reverse=True)
    assert [round(m) for m, _ in structures_near(town, *lonlat(540, 0), 100)] == [20, 40]
    assert len(structures_near(town, *lonlat(555, 0), 50)) == 1

"""A screening compared with an earlier one: each change and each cause by a case of its own."""

from __future__ import annotations

from dataclasses import replace

import pytest

from clearance.assess.changes import compare
from clearance.core.changes import (
    CauseKind,
    Changes,
    Earlier,
    EarlierRow,
    EarlierStructure,
    Known,
    StructureChanged,
)
from clearance.core.coach import Coach
from clearance.core.drive import Unverified, Verdict
from clearance.core.extract import ExtractInfo
from clearance.core.lengths import Length
from clearance.core.places import Place
from clearance.core.screening import Admitted, Flag, Row, Screening, Trip
from clearance.core.structure import Evidence, EvidenceClass, Kind, Span, Standing, Structure

COACH = Coach(height=Length.from_feet(13), name="Heron")
HOME = Place(lon=-40.0, lat=45.0, name="Yard")
QUAY = Place(lon=-40.01, lat=45.01, name="Quay")
HIGH, TIGHT, LOW = Length.from_feet(16), Length.from_feet(13, 8), Length.from_feet(12)


def structure(key: str, height: Length | None, *, can_clear: bool = True, at: float = 0.0) -> Structure:
    evidence = Evidence(evidence_class=EvidenceClass.POSTED, figure=height, can_clear=can_clear)
    return Structure(
        key=key,
        kind=Kind.BRIDGE,
        lon=-40.005 + at,
        lat=45.005,
        road="Quay Road",
        evidence=() if height is None else (evidence,),
        spans=(Span(way=1, start=0, end=0),),
    )


def was(
    key: str, height: Length | None, *, verified: bool | None = None, at: float = 0.0
) -> EarlierStructure:
    known = Known(clearance=height, verified=height is not None if verified is None else verified)
    return EarlierStructure(
        key=key,
        kind="bridge",
        text=f"bridge {key}",
        lon=-40.005 + at,
        lat=45.005,
        forward=known,
        backward=known,
    )


def now(
    verdict: Verdict, *structures: Structure, passes: tuple[str, ...] = (), place: Place = QUAY
) -> Screening:
    flags = tuple(Flag(key=key, standing=Standing.TIGHT) for key in passes)
    blocked = verdict is Verdict.BLOCKED
    trip = None if blocked else Trip(distance_m=1, duration_s=1, passed=flags)
    row = Row(
        number=1,
        place=place,
        where="line 2",
        coach=0,
        verdict=verdict,
        off_road_m=0.0,
        tallest=Admitted(way=True),
        tallest_verified=Admitted(way=True),
        there=trip,
        back=trip,
        in_the_way=flags if blocked else (),
    )
    return Screening(
        home=HOME,
        coaches=(COACH,),
        unverified=Unverified.AVOID,
        info=ExtractInfo(source="new.osm"),
        rows=(row,),
        structures=structures,
    )


def then(verdict: Verdict, *structures: EarlierStructure, passed: tuple[str, ...] = ()) -> Earlier:
    row = EarlierRow(
        name=QUAY.name, lon=QUAY.lon, lat=QUAY.lat, coach=0, verdict=verdict, keys=frozenset(passed)
    )
    return Earlier(
        labels=("Heron",),
        coaches=(COACH,),
        home=(HOME.lon, HOME.lat),
        unverified="avoid",
        source="old.osm",
        data_date="2026-01-01",
        rows=(row,),
        structures=structures,
    )


def kinds(changes: Changes) -> list[CauseKind]:
    return [cause.kind for moved in changes.moved for cause in moved.causes]


@pytest.mark.parametrize(
    ("before", "after", "changed"),
    [
        (was("a", HIGH), structure("a", HIGH), None),
        (was("a", None), structure("a", None), None),
        (was("a", HIGH), structure("a", LOW), StructureChanged.LOWERED),
        (was("a", LOW), structure("a", HIGH), StructureChanged.RAISED),
        (was("a", None), structure("a", HIGH), StructureChanged.KNOWN),
        (was("a", HIGH), structure("a", None), StructureChanged.UNKNOWN),
        # The figure stands, but nothing is to be relied on any more.
        (was("a", HIGH), structure("a", HIGH, can_clear=False), StructureChanged.UNKNOWN),
        (was("a", HIGH, verified=False), structure("a", HIGH), StructureChanged.KNOWN),
        (None, structure("a", HIGH), StructureChanged.NEW),
        (was("a", HIGH), None, StructureChanged.GONE),
        # Mapped anew under another key in the same place: the same structure.
        (was("a", HIGH), structure("b", HIGH), None),
        (was("a", HIGH), structure("b", LOW, at=0.00005), StructureChanged.LOWERED),
    ],
)
def test_what_changed_of_a_structure(
    before: EarlierStructure | None, after: Structure | None, changed: StructureChanged | None
) -> None:
    old = then(Verdict.CLEAR, *([before] if before else []))
    found = compare(old, now(Verdict.CLEAR, *([after] if after else [])), ["Heron"])
    assert [c.changed for c in found.structures] == ([changed] if changed else [])
    assert (found.same, found.moved) == (1, ())


def test_another_bridge_farther_off_is_another_bridge() -> None:
    found = compare(
        then(Verdict.CLEAR, was("a", HIGH)), now(Verdict.CLEAR, structure("b", HIGH, at=0.001)), ["Heron"]
    )
    assert {c.changed for c in found.structures} == {StructureChanged.NEW, StructureChanged.GONE}


def test_one_direction_that_is_lower_makes_it_lower() -> None:
    old = replace(was("a", HIGH), backward=Known(clearance=TIGHT, verified=True))
    found = compare(then(Verdict.CLEAR, old), now(Verdict.CLEAR, structure("a", HIGH)), ["Heron"])
    assert [c.changed for c in found.structures] == [StructureChanged.RAISED]
    assert found.structures[0].before == TIGHT
    assert found.structures[0].now == HIGH


def test_a_verdict_moved_by_the_structure_in_the_way_alone() -> None:
    old = then(Verdict.CLEAR, was("a", HIGH), was("far", HIGH, at=1), passed=("a",))
    new = now(Verdict.BLOCKED, structure("a", LOW), structure("far", LOW, at=1), passes=("a",))
    found = compare(old, new, ["Heron"])
    assert len(found.structures) == 2
    [moved] = found.moved
    assert (moved.before, moved.now, moved.number, moved.coach) == (Verdict.CLEAR, Verdict.BLOCKED, 1, 0)
    assert [c.change and c.change.keys for c in moved.causes] == [frozenset({"a"})]
    assert found.by_row() == {(1, 0): moved}


def test_a_structure_that_stands_as_it_did_moves_nothing() -> None:
    """Higher, but clear then and now: the reason must be another one."""
    old = then(Verdict.CARE, was("a", HIGH), passed=("a",))
    found = compare(old, now(Verdict.CLEAR, structure("a", Length.from_feet(17)), passes=("a",)), ["Heron"])
    assert kinds(found) == [CauseKind.ROADS]


def test_a_structure_avoided_then_counts() -> None:
    old = then(Verdict.CARE, was("a", LOW), passed=("a",))
    assert kinds(compare(old, now(Verdict.CLEAR, structure("a", HIGH)), ["Heron"])) == [CauseKind.STRUCTURE]


def test_other_causes() -> None:
    old = then(Verdict.CLEAR)
    taller = replace(COACH, height=Length.from_feet(12), propane=False)
    moved_home = replace(old, home=(HOME.lon + 0.01, HOME.lat))
    new = now(Verdict.CARE)
    assert kinds(compare(replace(old, coaches=(taller,)), new, ["Heron"])) == [CauseKind.COACH]
    [moved] = compare(replace(old, coaches=(taller,)), new, ["Heron"]).moved
    assert moved.causes[0].text == "height, propane aboard"
    assert kinds(compare(replace(old, unverified="refuse"), new, ["Heron"])) == [CauseKind.POLICY]
    assert kinds(compare(moved_home, new, ["Heron"])) == [CauseKind.HOME]


def test_destinations_of_one_list_only() -> None:
    other = replace(QUAY, name="Mill", lon=-40.3)
    found = compare(then(Verdict.CARE), now(Verdict.CLEAR, place=other), ["Heron"])
    assert [(m.name, m.before, m.now) for m in found.moved] == [
        ("Mill", None, Verdict.CLEAR),
        ("Quay", Verdict.CARE, None),
    ]
    # Another name for the same place is the same destination, and so is a name whose place moved a little.
    assert not compare(
        then(Verdict.CARE), now(Verdict.CARE, place=replace(QUAY, name="Pier")), ["Heron"]
    ).moved
    near = replace(QUAY, lon=QUAY.lon + 0.001)
    assert not compare(then(Verdict.CARE), now(Verdict.CARE, place=near), ["Heron"]).moved


def test_coaches_by_label_by_order_and_new_ones() -> None:
    old, new = then(Verdict.CARE), now(Verdict.CARE)
    assert compare(old, new, ["Wren"]).same == 1
    two = replace(new, coaches=(COACH, COACH), rows=(*new.rows, replace(new.rows[0], coach=1)))
    found = compare(old, two, ["Wren", "Heron"])
    assert (found.same, found.moved, found.new_coaches) == (1, (), ("Wren",))

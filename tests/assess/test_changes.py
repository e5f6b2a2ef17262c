"""A screening compared with an earlier one: each change and each cause by a case of its own."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from pyproj import Geod

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
from clearance.core.structure import Direction, Evidence, EvidenceClass, Kind, Span, Standing, Structure

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


M = 1 / 111_131.8  # a metre of latitude in degrees at 45 degrees north, on WGS84


@pytest.mark.parametrize(
    ("field", "value", "word"),
    [
        ("height", Length.from_feet(12), "height"),
        ("margin", Length.from_feet(1), "margin"),
        ("comfort", Length.from_feet(15), "comfort"),
        ("width", Length.from_feet(8), "width"),
        ("length", Length.from_feet(40), "length"),
        ("weight_kg", 9000, "weight"),
        ("towing", True, "what it tows"),
        ("tow_reversible", True, "whether its tow can be backed up"),
        ("propane", False, "propane aboard"),
        ("wheelbase", Length.from_feet(24), "wheelbase"),
    ],
)
def test_each_measure_of_a_coach_is_a_cause(field: str, value: object, word: str) -> None:
    other = replace(COACH, **{field: value})  # type: ignore[arg-type]
    [moved] = compare(replace(then(Verdict.CLEAR), coaches=(other,)), now(Verdict.CARE), ["Heron"]).moved
    assert [(c.kind, c.text) for c in moved.causes] == [(CauseKind.COACH, word)]


@pytest.mark.parametrize(
    ("known", "figure", "can_clear", "changed"),
    [
        # What is known, then and now: a verified figure, an unverified one, nothing.
        (Known(clearance=HIGH, verified=True), HIGH, True, None),
        (Known(clearance=HIGH, verified=True), HIGH, False, StructureChanged.UNKNOWN),
        (Known(clearance=HIGH, verified=True), None, True, StructureChanged.UNKNOWN),
        (Known(clearance=HIGH, verified=False), HIGH, True, StructureChanged.KNOWN),
        (Known(clearance=HIGH, verified=False), HIGH, False, None),
        (Known(clearance=HIGH, verified=False), None, True, StructureChanged.UNKNOWN),
        (Known(clearance=None, verified=False), HIGH, True, StructureChanged.KNOWN),
        (Known(clearance=None, verified=False), HIGH, False, StructureChanged.KNOWN),
        (Known(clearance=None, verified=False), None, True, None),
        # A verified bound of no figure is more than a figure that nobody stands for.
        (Known(clearance=None, verified=True), HIGH, False, StructureChanged.UNKNOWN),
        (Known(clearance=None, verified=True), HIGH, True, StructureChanged.KNOWN),
    ],
)
def test_what_is_known_is_ranked(
    known: Known, figure: Length | None, can_clear: bool, changed: StructureChanged | None
) -> None:
    old = replace(was("a", HIGH), forward=known, backward=known)
    new = now(Verdict.CLEAR, structure("a", figure, can_clear=can_clear))
    assert [c.changed for c in compare(then(Verdict.CLEAR, old), new, ["Heron"]).structures] == (
        [changed] if changed else []
    )


@pytest.mark.parametrize(
    ("along", "metres", "same"),
    [("lat", 7.9, True), ("lat", 8.1, False), ("lon", 7.9, True), ("lon", 8.1, False)],
)
@pytest.mark.parametrize("lat", [0.0, 45.0, 69.0, -69.0])
def test_mapped_anew_within_eight_metres(along: str, metres: float, same: bool, lat: float) -> None:
    for sign in (1, -1):
        shift = sign * metres * M
        if along == "lon":
            shift /= math.cos(math.radians(lat))
        old = replace(was("a", HIGH), lon=-40.0, lat=lat)
        new = replace(
            structure("b", LOW),
            lon=-40.0 + (shift if along == "lon" else 0),
            lat=lat + (shift if along == "lat" else 0),
        )
        found = compare(then(Verdict.CLEAR, old), now(Verdict.CLEAR, new), ["Heron"]).structures
        expected = [StructureChanged.LOWERED] if same else [StructureChanged.NEW, StructureChanged.GONE]
        assert sorted(c.changed for c in found) == sorted(expected)
        if same:
            assert found[0].keys == {"a", "b"}
            assert (found[0].before, found[0].now) == (HIGH, LOW)


def test_of_two_that_were_mapped_anew_the_nearest_are_one() -> None:
    old = [was("a", HIGH), was("b", HIGH, at=6 * M)]
    new = [structure("c", LOW, at=1 * M), structure("d", HIGH, at=5 * M)]
    (changed,) = compare(then(Verdict.CLEAR, *old), now(Verdict.CLEAR, *new), ["Heron"]).structures
    assert changed.keys == {"a", "c"}


def test_another_kind_at_the_same_place_is_another_structure() -> None:
    new = replace(structure("b", HIGH), kind=Kind.GANTRY)
    found = compare(then(Verdict.CLEAR, was("a", HIGH)), now(Verdict.CLEAR, new), ["Heron"]).structures
    assert [c.changed for c in found] == [StructureChanged.NEW, StructureChanged.GONE] or [
        c.changed for c in found
    ] == [StructureChanged.GONE, StructureChanged.NEW]


@pytest.mark.parametrize(("metres", "cause"), [(0.9, CauseKind.ROADS), (1.1, CauseKind.HOME)])
def test_a_home_within_a_metre_is_the_same(metres: float, cause: CauseKind) -> None:
    old = replace(then(Verdict.CLEAR), home=(HOME.lon, HOME.lat + metres * M))
    assert kinds(compare(old, now(Verdict.CARE), ["Heron"])) == [cause]


@pytest.mark.parametrize(("metres", "same"), [(299.5, True), (300.5, False)])
def test_a_destination_of_the_same_name_within_300_m_is_the_same(metres: float, same: bool) -> None:
    near = replace(QUAY, lat=QUAY.lat + metres * M)
    found = compare(then(Verdict.CARE), now(Verdict.CARE, place=near), ["Heron"])
    assert found.same == int(same)
    assert len(found.moved) == (0 if same else 2)


def test_of_two_destinations_of_one_name_the_nearest_is_meant() -> None:
    old = then(Verdict.CLEAR)
    far = replace(old.rows[0], lat=QUAY.lat + 200 * M, verdict=Verdict.BLOCKED)
    for rows in ((far, old.rows[0]), (old.rows[0], far)):
        found = compare(replace(old, rows=rows), now(Verdict.CLEAR), ["Heron"])
        assert found.same == 1
        assert [(m.before, m.now) for m in found.moved] == [(Verdict.BLOCKED, None)]


def test_a_place_without_a_name_is_told_by_its_coordinates() -> None:
    found = compare(then(Verdict.CLEAR), now(Verdict.CARE, place=Place(lon=-41.0, lat=46.0)), ["Heron"])
    assert found.moved[0].name == "46.00000,-41.00000"
    assert (found.source, found.data_date) == ("old.osm", "2026-01-01")


def test_changes_of_structures_come_in_the_order_of_their_kinds() -> None:
    old = then(Verdict.CLEAR, was("a", LOW), was("b", HIGH, at=1), was("c", HIGH, at=2), was("d", LOW, at=3))
    new = now(Verdict.CLEAR, structure("a", HIGH), structure("b", LOW, at=1), structure("e", HIGH, at=4),
              structure("d", HIGH, at=3))  # fmt: skip
    found = compare(old, new, ["Heron"]).structures
    order = [list(StructureChanged).index(c.changed) for c in found]
    assert order == sorted(order)
    raised = [min(c.keys) for c in found if c.changed is StructureChanged.RAISED]
    assert raised == ["a", "d"]
    assert {c.changed: c.text for c in found if c.changed is StructureChanged.NEW} == {
        StructureChanged.NEW: ""
    }


@pytest.mark.parametrize("far", [0.00001, 0.00002])
def test_of_two_that_are_now_one_the_nearest_is_it_and_the_other_gone(far: float) -> None:
    old = then(Verdict.CLEAR, was("a", HIGH, at=-far), was("b", HIGH, at=0.000005))
    found = compare(old, now(Verdict.CLEAR, structure("new", LOW)), ["Heron"])
    assert {(c.changed, tuple(sorted(c.keys))) for c in found.structures} == {
        (StructureChanged.LOWERED, ("b", "new")),
        (StructureChanged.GONE, ("a",)),
    }
    # And the other way about: of two new ones the nearest is it.
    old = then(Verdict.CLEAR, was("one", HIGH))
    found = compare(
        old, now(Verdict.CLEAR, structure("a", LOW, at=-far), structure("b", LOW, at=0.000005)), ["Heron"]
    )
    assert {(c.changed, tuple(sorted(c.keys))) for c in found.structures} == {
        (StructureChanged.LOWERED, ("b", "one")),
        (StructureChanged.NEW, ("a",)),
    }


@pytest.mark.parametrize("forward", [HIGH, TIGHT, LOW, None])
@pytest.mark.parametrize("backward", [HIGH, TIGHT, LOW, None])
def test_the_worse_direction_is_what_a_structure_stood_as(
    forward: Length | None, backward: Length | None
) -> None:
    """Gone now: the reason, unless both directions were clear."""
    old = replace(
        was("a", HIGH),
        forward=Known(clearance=forward, verified=forward is not None),
        backward=Known(clearance=backward, verified=backward is not None),
    )
    found = compare(then(Verdict.CARE, old, passed=("a",)), now(Verdict.CLEAR), ["Heron"])
    clear = forward == backward == HIGH
    assert kinds(found) == [CauseKind.ROADS if clear else CauseKind.STRUCTURE]
    figures = [figure for figure in (forward, backward) if figure is not None]
    assert found.structures[0].before == min(figures, default=None)


def test_each_of_many_that_were_mapped_anew_is_found_again() -> None:
    """Moved by up to eight metres in any direction, at latitudes up to 75 degrees, against Geod of pyproj."""
    chance, geod = np.random.default_rng(8), Geod(ellps="WGS84")
    old, new, near = [], [], {}
    for n in range(900):
        lon, lat = (
            float(chance.uniform(-170, 170)),
            float(chance.choice([-1, 1]) * chance.choice([5, 45, 60, 75])),
        )
        lat -= float(chance.uniform(0, 1)) if lat > 0 else -float(chance.uniform(0, 1))
        metres = float(chance.choice([chance.uniform(0.1, 7.95), chance.uniform(8.05, 12)]))
        to_lon, to_lat, _ = geod.fwd(
            lon, lat, float(chance.choice([90, 270, chance.uniform(0, 360)])), metres
        )
        old.append(replace(was(f"old {n}", HIGH), lon=lon, lat=lat))
        new.append(replace(structure(f"new {n}", LOW), lon=to_lon, lat=to_lat))
        near[n] = metres < 8
    found = compare(then(Verdict.CLEAR, *old), now(Verdict.CLEAR, *new), ["Heron"]).structures
    assert {c.keys for c in found} == {
        frozenset(keys)
        for n, same in near.items()
        for keys in ([(f"old {n}", f"new {n}")] if same else [(f"old {n}",), (f"new {n}",)])
    }
    assert 300 < sum(near.values()) < 600


def test_what_moved_is_told_by_coach_and_then_by_number() -> None:
    """Rows come sorted by verdict or by name; those of a coach that was not screened then are left out."""
    old, new = then(Verdict.CARE), now(Verdict.CLEAR)
    rows = [
        replace(
            new.rows[0], number=number, coach=coach, place=replace(QUAY, name=name, lat=QUAY.lat + number)
        )
        for coach, number, name in ((2, 2, "b"), (2, 1, "a"), (0, 2, "b"), (1, 1, "a"), (0, 1, "a"))
    ]
    two = replace(
        old,
        labels=("Wren", "Heron"),
        coaches=(COACH, COACH),
        rows=tuple(
            EarlierRow(name=r.place.name, lon=r.place.lon, lat=r.place.lat, coach=1 - r.coach // 2,
                       verdict=Verdict.CARE, keys=frozenset())
            for r in rows if r.coach != 1
        ),
    )  # fmt: skip
    found = compare(two, replace(new, coaches=(COACH,) * 3, rows=tuple(rows)), ["Heron", "Lark", "Wren"])
    assert [(m.label, m.coach, m.number, m.name, m.before) for m in found.moved] == [
        ("Heron", 0, 1, "a", Verdict.CARE),
        ("Heron", 0, 2, "b", Verdict.CARE),
        ("Wren", 2, 1, "a", Verdict.CARE),
        ("Wren", 2, 2, "b", Verdict.CARE),
    ]
    assert (found.new_coaches, found.same) == (("Lark",), 0)
    gone = compare(two, replace(new, coaches=(COACH,), rows=()), ["Wren"])
    assert {(m.label, m.name, m.now, m.number, m.coach) for m in gone.moved} == {
        ("Wren", "a", None, None, None),
        ("Wren", "b", None, None, None),
    }


def test_one_that_is_the_same_does_not_hide_those_behind_it() -> None:
    old, new = then(Verdict.CARE), now(Verdict.CLEAR)
    places = [replace(QUAY, name=name, lat=QUAY.lat + n) for n, name in enumerate("abc")]
    before = tuple(replace(old.rows[0], name=p.name, lat=p.lat) for p in places)
    rows = tuple(
        replace(new.rows[0], number=n, place=place, verdict=Verdict.CLEAR if n == 3 else Verdict.CARE)
        for n, place in enumerate(places, start=1)
    )
    found = compare(replace(old, rows=before), replace(new, rows=rows), ["Heron"])
    assert (found.same, [(m.name, m.now) for m in found.moved]) == (2, [("c", Verdict.CLEAR)])


def test_coaches_of_other_names_are_matched_by_order_where_there_are_as_many() -> None:
    old, new = then(Verdict.CARE), now(Verdict.CLEAR)
    two = replace(
        old,
        labels=("Heron", "Wren"),
        coaches=(COACH, COACH),
        rows=(old.rows[0], replace(old.rows[0], coach=1, verdict=Verdict.CLEAR)),
    )
    screening = replace(new, coaches=(COACH, COACH), rows=(new.rows[0], replace(new.rows[0], coach=1)))
    found = compare(two, screening, ["Lark", "Kite"])
    assert [(m.label, m.before, m.now) for m in found.moved] == [("Lark", Verdict.CARE, Verdict.CLEAR)]
    assert (found.same, found.new_coaches) == (1, ())
    other = compare(old, screening, ["Lark", "Kite"])
    assert (other.same, other.moved, other.new_coaches) == (0, (), ("Lark", "Kite"))


@pytest.mark.parametrize(("moved", "same"), [(0.4e-5, True), (0.6e-5, False)])
@pytest.mark.parametrize("along", ["lon", "lat"])
def test_a_place_without_a_name_is_known_by_its_coordinates(along: str, moved: float, same: bool) -> None:
    """To a metre or so, whatever it is called: that it has no name makes it no namesake of another."""
    place = replace(QUAY, name="", **{along: getattr(QUAY, along) + moved})
    old = then(Verdict.CARE)
    for name in ("Quay", ""):
        rows = (replace(old.rows[0], name=name),)
        assert compare(replace(old, rows=rows), now(Verdict.CARE, place=place), ["Heron"]).same == int(same)


def test_of_two_rows_at_one_place_the_first_is_taken_first() -> None:
    old, new = then(Verdict.CARE), now(Verdict.CLEAR)
    rows = (old.rows[0], replace(old.rows[0], verdict=Verdict.CLEAR))
    found = compare(replace(old, rows=rows), new, ["Heron"])
    assert [(m.before, m.now) for m in found.moved] == [
        (Verdict.CARE, Verdict.CLEAR),
        (Verdict.CLEAR, None),
    ]
    both = replace(new, rows=(new.rows[0], replace(new.rows[0], number=2)))
    again = compare(replace(old, rows=rows), both, ["Heron"])
    assert (again.same, [(m.before, m.number) for m in again.moved]) == (1, [(Verdict.CARE, 1)])


def test_a_row_is_taken_once() -> None:
    """Of two destinations at one place, of other names than then, the first is the one of then."""
    old, new = then(Verdict.CARE), now(Verdict.CLEAR)
    rows = tuple(
        replace(new.rows[0], number=n, place=replace(QUAY, name=name))
        for n, name in ((1, "Pier"), (2, "Mole"))
    )
    found = compare(old, replace(new, rows=rows), ["Heron"])
    assert [(m.name, m.before) for m in found.moved] == [("Pier", Verdict.CARE), ("Mole", None)]


def test_structures_that_changed_alike_come_by_their_first_key() -> None:
    old = then(Verdict.CLEAR, was("z", HIGH), was("m", HIGH, at=1), was("y", HIGH, at=2))
    new = now(
        Verdict.CLEAR,
        structure("a", LOW),
        structure("m", LOW, at=1),
        structure("b", LOW, at=2),
        structure("c", LOW, at=3),
    )
    found = compare(old, new, ["Heron"]).structures
    assert [sorted(c.keys) for c in found] == [["c"], ["a", "z"], ["b", "y"], ["m"]]


def test_a_structure_that_one_trip_now_goes_by_is_a_cause() -> None:
    """Passed there, avoided on the way back, or in the way: each bears on the row, though it did not then."""
    for where in ("passed", "avoided"):
        screening = now(Verdict.CLEAR, structure("a", HIGH))
        trip = Trip(distance_m=1, duration_s=1, **{where: (Flag(key="a", standing=Standing.CLEAR),)})  # type: ignore[arg-type]
        row = replace(screening.rows[0], back=trip)
        found = compare(then(Verdict.CARE, was("a", LOW)), replace(screening, rows=(row,)), ["Heron"])
        assert kinds(found) == [CauseKind.STRUCTURE]
    blocked = now(Verdict.BLOCKED, structure("a", LOW), passes=("a",))
    assert kinds(compare(then(Verdict.CARE, was("a", HIGH)), blocked, ["Heron"])) == [CauseKind.STRUCTURE]
    beside = now(Verdict.CLEAR, structure("a", HIGH), passes=("b",))
    assert kinds(compare(then(Verdict.CARE, was("a", LOW), passed=("b",)), beside, ["Heron"])) == [
        CauseKind.ROADS
    ]


def test_the_policies_are_named() -> None:
    [moved] = compare(replace(then(Verdict.CLEAR), unverified="refuse"), now(Verdict.CARE), ["Heron"]).moved
    assert [c.text for c in moved.causes] == ["refuse, now avoid"]
    # All that differs is told, in one order.
    old = replace(
        then(Verdict.CLEAR, was("a", HIGH), passed=("a",)),
        unverified="refuse",
        coaches=(replace(COACH, width=Length.from_feet(8)),),
        home=(HOME.lon, HOME.lat + 2 * M),
    )
    assert kinds(compare(old, now(Verdict.CARE, structure("a", LOW)), ["Heron"])) == [
        CauseKind.STRUCTURE,
        CauseKind.COACH,
        CauseKind.POLICY,
        CauseKind.HOME,
    ]


def test_what_changed_of_a_structure_is_told_with_its_place_and_words() -> None:
    old = then(Verdict.CLEAR, was("a", HIGH), was("b", HIGH, at=1))
    new = now(Verdict.CLEAR, structure("a", LOW, at=0.00002), structure("c", None, at=2))
    found = {c.changed: c for c in compare(old, new, ["Heron"]).structures}
    lowered, gone, fresh = (
        found[kind] for kind in (StructureChanged.LOWERED, StructureChanged.GONE, StructureChanged.NEW)
    )
    assert (lowered.text, lowered.lon, lowered.lat) == ("bridge a", -40.00498, 45.005)
    assert (gone.text, gone.lon, gone.keys) == ("bridge b", -39.005, frozenset("b"))
    assert (gone.before, gone.now) == (HIGH, None)
    assert (fresh.text, fresh.lon, fresh.keys) == ("", -38.005, frozenset("c"))
    assert (fresh.before, fresh.now) == (None, None)


@pytest.mark.parametrize(
    ("forward", "backward", "changed"),
    [
        # Of the two directions the worse change is told: lowered, not known any more, known, raised.
        (LOW, None, StructureChanged.LOWERED),
        (None, HIGH, StructureChanged.UNKNOWN),
        (HIGH, HIGH, None),
    ],
)
def test_of_two_directions_the_worse_change_is_told(
    forward: Length | None, backward: Length | None, changed: StructureChanged | None
) -> None:
    told = tuple(
        Evidence(evidence_class=EvidenceClass.POSTED, figure=figure, direction=direction)
        for figure, direction in ((forward, Direction.FORWARD), (backward, Direction.BACKWARD))
        if figure is not None
    )
    new = replace(structure("a", None), evidence=told)
    found = compare(then(Verdict.CLEAR, was("a", HIGH)), now(Verdict.CLEAR, new), ["Heron"]).structures
    assert [c.changed for c in found] == ([changed] if changed else [])
    # The other way about, from this to a figure for both.
    old = replace(
        was("a", HIGH),
        forward=Known(clearance=forward, verified=forward is not None),
        backward=Known(clearance=backward, verified=backward is not None),
    )
    back = compare(then(Verdict.CLEAR, old), now(Verdict.CLEAR, structure("a", HIGH)), ["Heron"]).structures
    assert [c.changed for c in back] == ([StructureChanged.KNOWN] if changed else [])

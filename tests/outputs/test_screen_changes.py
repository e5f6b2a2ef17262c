"""What changed since an earlier screening, in words."""

from __future__ import annotations

from dataclasses import replace

from clearance.core.changes import Cause, CauseKind, Moved, StructureChange, StructureChanged
from clearance.core.drive import Verdict
from clearance.core.lengths import Length
from clearance.outputs.measures import Units
from clearance.outputs.screen_changes import causes_counted, moved_text, structure_change_text
from clearance.outputs.screen_words import by_key
from tests.outputs.screen_samples import LOW, SCREENING

KNOWN = dict(by_key(SCREENING))
NAMELESS = replace(LOW, key="way/7:way/8:1", name="", road="")


def change(key: str, now: str = "2.4") -> StructureChange:
    return StructureChange(
        changed=StructureChanged.NEW,
        text="",
        lon=-40.00123456,
        lat=45.0,
        keys=frozenset({key}),
        now=Length.from_metres(now),
    )


def moved(*changes: StructureChange) -> Moved:
    causes = tuple(Cause(kind=CauseKind.STRUCTURE, change=one) for one in changes)
    return Moved(name="Camp", label="Heron", before=Verdict.CARE, now=Verdict.BLOCKED, causes=causes)


def test_alike_reasons_are_told_once_with_how_often() -> None:
    alike = moved(*(change(NAMELESS.key) for _ in range(3)), change(LOW.key))
    text = moved_text(alike, KNOWN | {NAMELESS.key: NAMELESS})
    assert text == (
        "Camp (Heron): BLOCKED, was TAKE CARE. Railway bridge: new in the map data (7'10\"), 3 of them. "
        "Railway bridge (Coast Line): new in the map data (7'10\")."
    )


def test_reasons_that_differ_in_one_unit_alone_are_told_apart() -> None:
    near = moved(change(LOW.key, "2.40"), change(LOW.key, "2.41"))
    known = KNOWN | {LOW.key: LOW}
    assert [count for _, count in causes_counted(near.causes, known)] == [1, 1]
    assert moved_text(near, known, Units.FEET).count("7'10\"") == 2
    assert "of them" not in moved_text(near, known, Units.FEET)


def test_a_structure_without_name_and_road_is_told_by_its_place() -> None:
    text = structure_change_text(change(NAMELESS.key), {NAMELESS.key: NAMELESS})
    assert text == "railway bridge at 45.00000,-40.00123: new in the map data (7'10\")"
    assert "45.0" not in structure_change_text(change(LOW.key), KNOWN)


def test_a_verdict_that_moved_without_a_reason_found() -> None:
    assert moved_text(moved(), KNOWN) == "Camp (Heron): BLOCKED, was TAKE CARE."

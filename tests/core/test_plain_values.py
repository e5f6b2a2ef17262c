"""What plain values hold where nothing is told, and the words that stand in files and outputs."""

from __future__ import annotations

import importlib
import pkgutil
from dataclasses import MISSING, fields, is_dataclass
from enum import Enum

import pytest

import clearance.core
from clearance.core.access import Vehicle
from clearance.core.changes import CauseKind, StructureChanged
from clearance.core.coach import Fuel
from clearance.core.drive import InOutAnswer, Unverified, Verdict
from clearance.core.facility import FacilityKind
from clearance.core.lengths import HeightWord, Length
from clearance.core.screening import NO_WAY, UNLIMITED, Leg, SortBy
from clearance.core.structure import Direction, EvidenceClass, Kind, Standing

#: All that is not nothing, empty or no where it is not told.
TOLD: dict[tuple[str, str], object] = {
    ("Coach", "margin"): Length.from_feet(0, 6),
    ("Coach", "comfort"): Length.from_feet(14),
    ("Coach", "propane"): True,
    ("Coach", "name"): "coach",
    ("ConditionalAccess", "direction"): Direction.BOTH,
    ("Evidence", "direction"): Direction.BOTH,
    ("Evidence", "can_clear"): True,
    ("Evidence", "source"): "OpenStreetMap",
    ("ExtractInfo", "attribution"): "© OpenStreetMap contributors, ODbL 1.0",
    ("InventoryRecord", "edition"): 1995,
    ("Jobs", "unverified"): Unverified.AVOID,
    ("Place", "kind"): "point",
    ("TurnOff", "leads_on"): True,
    ("UnusedRow", "dropped"): True,
}


def test_what_is_not_told_is_nothing() -> None:
    found: dict[tuple[str, str], object] = {}
    for module in pkgutil.iter_modules(clearance.core.__path__):
        for value in vars(importlib.import_module(f"clearance.core.{module.name}")).values():
            if isinstance(value, type) and is_dataclass(value) and value.__module__.startswith("clearance."):
                found |= {
                    (value.__name__, f.name): f.default for f in fields(value) if f.default is not MISSING
                }
    assert len(found) > 80
    nothing: tuple[object, ...] = (None, None)  # along a way and against it
    assert {key: value for key, value in found.items() if value and value != nothing} == TOLD


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        (Vehicle, "coach car"),
        (Fuel, "gasoline diesel"),
        (Verdict, "clear care blocked"),
        (Unverified, "avoid accept refuse"),
        (InOutAnswer, "drives_through needs_room_to_turn do_not_enter"),
        (FacilityKind, "fuel dump camp water propane"),
        (Leg, "there back"),
        (SortBy, "verdict time extra name list"),
        (CauseKind, "structure coach policy home roads"),
        (
            StructureChanged,
            "new gone lowered raised height_known_now height_not_known_any_more",
        ),
        (HeightWord, "default below_default none no_sign unsigned no_indications"),
        (EvidenceClass, "posted measured implied none"),
        (Standing, "too_low unverified tight clear"),
        (Direction, "both forward backward"),
        (
            Kind,
            "bridge railway_bridge railway_trestle footbridge aqueduct pipeline conveyor gantry "
            "building_over_the_road tunnel building_passage covered_way covered_or_truss_bridge height_bar "
            "barrier_with_a_height drive-through_lane car-park_deck fuel_canopy "
            "posted_height,_structure_not_mapped crossing_of_unknown_order",
        ),
    ],
)
def test_words_stay_what_they_are(kind: type[Enum], words: str) -> None:
    """Earlier outputs and records hold them: another word would be another thing."""
    told = [str(member.value).replace(" ", "_") for member in kind]
    assert told == words.split()


def test_numbers_that_stand_for_no_figure() -> None:
    """Below and above every clearance in tenths of a millimetre, as 32 bits hold them."""
    assert (NO_WAY, UNLIMITED) == (-1, 2_147_483_647)

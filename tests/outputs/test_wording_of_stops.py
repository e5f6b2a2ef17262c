"""Words about stops and facilities: the way in and out, the road that is far, danger never left out."""

from __future__ import annotations

from dataclasses import replace

import pytest

from clearance.core.drive import InOut, InOutAnswer
from clearance.core.facility import FacilityKind
from clearance.core.lengths import Length
from clearance.outputs.measures import Units
from clearance.outputs.wording import facility_brief, facility_text, in_out_text, off_road_text
from tests.outputs import samples

THROUGH = InOut(answer=InOutAnswer.DRIVES_THROUGH)


@pytest.mark.parametrize("reason", ["dead end: no way leads on", "Dead end: no way leads on."])
def test_a_reason_becomes_a_sentence(reason: str) -> None:
    told = in_out_text(InOut(answer=InOutAnswer.NEEDS_ROOM, reason=reason, dead_end_m=120))
    assert told.startswith("Needs room to turn. Dead end: no way leads on. The dead end is 400 ft long.")


@pytest.mark.parametrize(
    ("metres", "units", "text"),
    [
        (50.0, Units.FEET, ""),
        (51.0, Units.FEET, "The nearest road for the coach is 150 ft from it."),
        (120.0, Units.METRES, "The nearest road for the coach is 120 m from it."),
    ],
)
def test_a_road_beside_the_place_is_not_worth_a_word(metres: float, units: Units, text: str) -> None:
    stop = replace(samples.care_drive().stops[0], off_road_m=metres)
    assert off_road_text(stop, units) == text


@pytest.mark.parametrize(
    ("in_out", "canopy", "text"),
    [
        (THROUGH, None, "Fuel: Mill Fuel, 2 min detour"),
        (
            THROUGH,
            Length.from_feet(12),
            "Fuel: Mill Fuel, 2 min detour, height told 12'0\", too low",
        ),
        (
            InOut(answer=InOutAnswer.NEEDS_ROOM, serious=True, reason="A yard."),
            None,
            "Fuel: Mill Fuel, 2 min detour, needs room to turn, serious",
        ),
        (
            InOut(answer=InOutAnswer.DO_NOT_ENTER),
            Length.from_feet(15),
            "Fuel: Mill Fuel, 2 min detour, height told 15'0\", clear, do not enter",
        ),
    ],
)
def test_in_brief_a_facility_keeps_what_is_dangerous(in_out: InOut, canopy: Length | None, text: str) -> None:
    facility = samples.facility(
        FacilityKind.FUEL, "Mill Fuel", (0, 0), 1609.344, 120, in_out=in_out, canopy=canopy, notes=("x",)
    )
    assert facility_brief(facility, samples.COACH) == text
    assert facility_text(facility, samples.COACH).startswith("after 1.0 mi, 2 min detour")


def test_a_detour_of_seconds_is_none() -> None:
    near = samples.facility(FacilityKind.WATER, "", (0, 0), 0, 29)
    assert facility_brief(near, samples.COACH) == "Water: no name, no detour"

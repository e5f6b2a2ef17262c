from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from clearance.core.coach import Coach
from clearance.core.lengths import Length
from clearance.core.standing import judge, standing
from clearance.core.structure import Direction, Evidence, EvidenceClass, Kind, Standing, Structure

COACH = Coach(height=Length.from_feet(13), margin=Length.from_feet(0, 6), comfort=Length.from_feet(14))
STEP = Length(1)  # a tenth of a millimetre


def _structure(*evidence: Evidence) -> Structure:
    return Structure(key="k", kind=Kind.BRIDGE, lon=0.0, lat=0.0, evidence=evidence)


def _posted(figure: Length, direction: Direction = Direction.BOTH, condition: str = "") -> Evidence:
    return Evidence(
        evidence_class=EvidenceClass.POSTED, figure=figure, direction=direction, condition=condition
    )


def test_equal_to_the_need_is_not_too_low_and_a_tenth_of_a_millimetre_less_is() -> None:
    assert judge(COACH.need, verified=True, coach=COACH) is Standing.TIGHT
    assert judge(COACH.need - STEP, verified=True, coach=COACH) is Standing.TOO_LOW


def test_equal_to_the_comfort_is_clear_and_a_tenth_of_a_millimetre_less_is_tight() -> None:
    assert judge(COACH.comfort, verified=True, coach=COACH) is Standing.CLEAR
    assert judge(COACH.comfort - STEP, verified=True, coach=COACH) is Standing.TIGHT


def test_four_metres_eleven_is_below_thirteen_foot_six() -> None:
    assert judge(Length.from_metres("4.11"), verified=True, coach=COACH) is Standing.TOO_LOW
    assert judge(Length.from_metres("4.1148"), verified=True, coach=COACH) is Standing.TIGHT


def test_no_figure_is_unverified_whatever_is_said() -> None:
    assert judge(None, verified=True, coach=COACH) is Standing.UNVERIFIED
    assert judge(None, verified=False, coach=COACH) is Standing.UNVERIFIED


def test_an_unverified_figure_condemns_but_never_clears() -> None:
    assert judge(COACH.need - STEP, verified=False, coach=COACH) is Standing.TOO_LOW
    assert judge(Length.from_metres("9"), verified=False, coach=COACH) is Standing.UNVERIFIED


def test_a_comfort_below_the_need_counts_as_the_need() -> None:
    coach = Coach(height=Length.from_feet(14), comfort=Length.from_feet(13))
    assert judge(coach.need, verified=True, coach=coach) is Standing.CLEAR


def test_each_direction_stands_for_itself() -> None:
    structure = _structure(
        _posted(Length.from_feet(14, 2), Direction.FORWARD),
        _posted(Length.from_feet(12, 8), Direction.BACKWARD),
    )
    assert standing(structure, Direction.FORWARD, COACH) is Standing.CLEAR
    assert standing(structure, Direction.BACKWARD, COACH) is Standing.TOO_LOW
    assert standing(structure, Direction.BOTH, COACH) is Standing.TOO_LOW


def test_a_figure_for_one_direction_verifies_not_the_other() -> None:
    structure = _structure(_posted(Length.from_feet(15), Direction.FORWARD))
    assert standing(structure, Direction.FORWARD, COACH) is Standing.CLEAR
    assert standing(structure, Direction.BACKWARD, COACH) is Standing.UNVERIFIED
    assert standing(structure, Direction.BOTH, COACH) is Standing.UNVERIFIED


def test_a_condition_is_assumed_to_hold_and_verifies_nothing() -> None:
    low, high = _posted(Length.from_feet(12, 9), condition="Mo-Fr"), _posted(Length.from_feet(14, 6))
    assert standing(_structure(low, high), Direction.FORWARD, COACH) is Standing.TOO_LOW
    only = _structure(_posted(Length.from_feet(15), condition="Mo-Fr"))
    assert standing(only, Direction.FORWARD, COACH) is Standing.UNVERIFIED


def test_nothing_known_at_all() -> None:
    assert standing(_structure(), Direction.BOTH, COACH) is Standing.UNVERIFIED


@given(st.integers(10_000, 100_000), st.integers(10_000, 100_000), st.booleans())
def test_a_higher_clearance_never_stands_worse(a: int, b: int, verified: bool) -> None:
    order = [Standing.TOO_LOW, Standing.UNVERIFIED, Standing.TIGHT, Standing.CLEAR]
    low, high = sorted((a, b))
    worse, better = (judge(Length(v), verified=verified, coach=COACH) for v in (low, high))
    assert order.index(worse) <= order.index(better)

"""What stands out beyond the axles of a coach, told or bounded."""

from __future__ import annotations

import pytest

from clearance.core.coach import Coach
from clearance.core.errors import UsageError
from clearance.core.lengths import Length


def feet(whole: int) -> Length:
    return Length.from_feet(whole)


@pytest.mark.parametrize(
    ("told", "front", "rear"),
    [
        ({}, 0, 0),  # no wheelbase: nothing is reckoned
        ({"rear_overhang": 10}, 0, 0),
        ({"wheelbase": 24, "rear_overhang": 10, "own_length": 38}, 4, 10),
        # Not told, so all that is left, at either end.
        ({"wheelbase": 24, "own_length": 38}, 14, 14),
        ({"wheelbase": 24, "length": 30}, 6, 6),
        # The length is that of coach and towed car: more than the front can be, but no less.
        ({"wheelbase": 12, "rear_overhang": 10, "length": 60}, 12, 10),
        # Nothing told: no more than the wheelbase.
        ({"wheelbase": 12}, 12, 12),
    ],
)
def test_overhangs_are_never_less_than_they_may_be(told: dict[str, int], front: int, rear: int) -> None:
    coach = Coach(height=feet(13), **{key: feet(value) for key, value in told.items()})  # type: ignore[arg-type]
    assert coach.overhangs == (feet(front), feet(rear))


def test_an_overhang_is_never_longer_than_kept_profiles_reach() -> None:
    assert Coach(height=feet(13), wheelbase=Length.from_metres("12")).overhangs[0] == Length.from_metres("8")


def test_axles_that_do_not_fit_the_coach_are_refused() -> None:
    with pytest.raises(UsageError, match="less than wheelbase and rear overhang"):
        Coach(height=feet(13), own_length=feet(30), wheelbase=feet(24), rear_overhang=feet(10))
    with pytest.raises(UsageError, match="wheelbase"):
        Coach(height=feet(13), wheelbase=feet(2))


@pytest.mark.parametrize(
    ("field", "what", "low", "high"),
    [
        ("height", "height", "1.5", "6"),
        ("width", "width", "1", "4"),
        ("length", "length", "2", "30"),
        ("own_length", "own length", "2", "30"),
        ("towed_length", "towed length", "1", "20"),
        ("wheelbase", "wheelbase", "1.5", "12"),
        ("rear_overhang", "rear overhang", "0.2", "8"),
    ],
)
def test_a_measure_that_cannot_be_meant_is_named_with_its_bounds(
    field: str, what: str, low: str, high: str
) -> None:
    for metres in ("0.1", "31"):
        with pytest.raises(UsageError, match=f"^coach {what} {metres} m is outside {low} m to {high} m; "):
            Coach(**{"height": feet(13), "towing": True, field: Length.from_metres(metres)})  # type: ignore[arg-type]


def test_lengths_of_the_parts_may_be_just_the_whole() -> None:
    parts = {"own_length": feet(30), "towed_length": feet(15), "towing": True}
    assert Coach(height=feet(13), length=feet(45), **parts).length == feet(45)  # type: ignore[arg-type]
    with pytest.raises(UsageError, match="less than its parts"):
        Coach(height=feet(13), length=Length(feet(45).tenths - 1), **parts)  # type: ignore[arg-type]
    axles = Coach(height=feet(13), own_length=feet(30), wheelbase=feet(20), rear_overhang=feet(10))
    assert axles.overhangs == (feet(0), feet(10))
    with pytest.raises(UsageError, match="nothing is towed"):
        Coach(height=feet(13), towed_length=feet(15))

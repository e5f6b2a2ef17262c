from __future__ import annotations

from datetime import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clearance.core.lengths import Length
from clearance.outputs.measures import (
    Units,
    clearance_text,
    clock_text,
    coach_text,
    distance_text,
    duration_text,
    gap_text,
    weight_text,
)

INCH = Length.from_feet(0, 1)

#: Metres and the whole inch not above them, by 1 in = 25.4 mm exactly.
FLOORED = [
    ("3.0", "9'10\""),
    ("3.5", "11'5\""),
    ("3.8", "12'5\""),
    ("3.9", "12'9\""),
    ("4.0", "13'1\""),
    ("4.11", "13'5\""),
    ("4.1148", "13'6\""),
    ("4.12", "13'6\""),
    ("4.2", "13'9\""),
    ("4.3", "14'1\""),
    ("4.5", "14'9\""),
    ("5.03", "16'6\""),
]


@pytest.mark.parametrize(("metres", "shown"), FLOORED)
def test_a_clearance_is_rounded_down_to_the_inch(metres: str, shown: str) -> None:
    assert clearance_text(Length.from_metres(metres), Units.FEET) == shown


@given(st.integers(10_000, 300_000))
def test_what_is_shown_is_the_nearest_inch_not_above_the_clearance(tenths: int) -> None:
    """The rule for clearance signs, MUTCD 2009 section 2C.27: the nearest inch not above the actual."""
    feet, inches = clearance_text(Length(tenths)).rstrip('"').split("'")
    shown = Length.from_feet(int(feet), int(inches))
    assert shown <= Length(tenths) < shown + INCH


@given(st.integers(10_000, 300_000))
def test_a_coach_is_never_shown_lower_than_it_is(tenths: int) -> None:
    feet, inches = coach_text(Length(tenths)).rstrip('"').split("'")
    shown = Length.from_feet(int(feet), int(inches))
    assert shown - INCH < Length(tenths) <= shown
    metres = Length.from_metres(coach_text(Length(tenths), Units.METRES).removesuffix(" m"))
    assert metres - Length(100) < Length(tenths) <= metres


@pytest.mark.parametrize(
    ("feet", "inches"), [(14, 9), (14, 3), (16, 0)]
)  # signs printed in the UK Traffic Signs Manual, chapter 4, 2013, paragraph 7.11
def test_a_height_from_a_sign_is_shown_as_the_sign_shows_it(feet: int, inches: int) -> None:
    assert clearance_text(Length.from_feet(feet, inches)) == f"{feet}'{inches}\""
    assert coach_text(Length.from_feet(feet, inches)) == f"{feet}'{inches}\""


def test_metres_keep_the_centimetre_below_or_above() -> None:
    # 4.19 and 4.17 m: measured heights in the UK Traffic Signs Manual, chapter 4, 2013, paragraph 7.12
    assert clearance_text(Length.from_metres("4.19"), Units.METRES) == "4.19 m"
    assert clearance_text(Length.from_metres("4.1748"), Units.METRES) == "4.17 m"
    assert coach_text(Length.from_metres("4.1701"), Units.METRES) == "4.18 m"
    assert clearance_text(Length.from_metres("4.0099"), Units.METRES) == "4.00 m"


def test_both_units_stand_side_by_side() -> None:
    assert clearance_text(Length.from_feet(13, 6), Units.BOTH) == "13'6\" (4.11 m)"
    assert coach_text(Length.from_feet(13, 6), Units.BOTH) == "13'6\" (4.12 m)"


@pytest.mark.parametrize(
    ("tenths", "shown"),
    [
        (0, "0 in (0 cm)"),
        (253, "0 in (2 cm)"),
        (254, "1 in (2 cm)"),
        (-1, "1 in (1 cm)"),
        (-254, "1 in (3 cm)"),
        (16 * 254, "1'4\" (40 cm)"),
        (40 * 254, "3'4\" (1.01 m)"),
        (-40 * 254, "3'4\" (1.02 m)"),
    ],
)
def test_a_gap_is_made_smaller_and_a_want_larger(tenths: int, shown: str) -> None:
    assert gap_text(Length(tenths), Units.BOTH) == shown


@pytest.mark.parametrize(
    ("metres", "feet", "metric"),
    [
        (0, "0 ft", "0 m"),
        (4, "0 ft", "0 m"),
        (15, "50 ft", "20 m"),
        (120, "400 ft", "120 m"),
        (321, "1050 ft", "320 m"),
        (322, "0.2 mi", "320 m"),
        (994, "0.6 mi", "990 m"),
        (996, "0.6 mi", "1.0 km"),
        (1609.344, "1.0 mi", "1.6 km"),
        (2_000_000, "1,242.7 mi", "2,000.0 km"),
    ],
)
def test_distances(metres: float, feet: str, metric: str) -> None:
    assert distance_text(metres, Units.FEET) == feet
    assert distance_text(metres, Units.METRES) == metric
    assert distance_text(metres, Units.BOTH) == f"{feet} ({metric})"


@pytest.mark.parametrize(
    ("seconds", "shown"),
    [
        (0, "under 1 min"),
        (29, "under 1 min"),
        (30, "1 min"),
        (3569, "59 min"),
        (3570, "1 h 00 min"),
        (90_000, "25 h 00 min"),
    ],
)
def test_durations(seconds: float, shown: str) -> None:
    assert duration_text(seconds) == shown


@pytest.mark.parametrize(
    ("hour", "shown"), [(0, "12:07 AM"), (1, "1:07 AM"), (11, "11:07 AM"), (12, "12:07 PM"), (23, "11:07 PM")]
)
def test_times_of_day(hour: int, shown: str) -> None:
    moment = datetime(2026, 5, 4, hour, 7)
    assert clock_text(moment) == shown
    assert clock_text(moment, Units.METRES) == f"{hour:02d}:07"


def test_weights_are_rounded_up() -> None:
    assert weight_text(9_072, Units.BOTH) == "20,010 lb (9,080 kg)"  # 9072 kg is 20000.4 lb

"""The coding of single items, against the examples printed in the guide.

Source: FHWA-PD-96-001, Recording and Coding Guide for the Structure Inventory and Appraisal of the Nation's
Bridges (1995), Items 10, 16, 17, 53, 54 and 90. The texts asserted here were read in it.
"""

from __future__ import annotations

from contextlib import suppress
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clearance.core.inventory import CodedHeight, HeightState
from clearance.core.lengths import Length
from clearance.sources.inventory_items import (
    ItemError,
    decimal_place,
    feet_height,
    inspection_month,
    metric_height,
    place,
    under,
)


@pytest.mark.parametrize(
    ("code", "state", "metres"),
    [
        ("9999", HeightState.UNRESTRICTED, None),  # no restriction
        ("0525", HeightState.FIGURE, "5.25"),  # 5.25 meters
        ("2300", HeightState.FIGURE, "23"),  # 23.00 meters
        ("3850", HeightState.UNRESTRICTED, None),  # 38.50 m: 30 m and more is no restriction
    ],
)
def test_examples_of_item_53(code: str, state: HeightState, metres: str | None) -> None:
    """Item 53 prints 38.50 m as 9999; coding it exactly is optional and means the same."""
    figure = None if metres is None else Length.from_metres(metres)
    assert metric_height(code) == CodedHeight(state, figure, code)


@pytest.mark.parametrize(
    ("reference", "code", "state", "metres"),
    [
        ("N", "0000", HeightState.NOT_A_ROAD, None),  # river beneath
        ("R", "0952", HeightState.RAILWAY, "9.52"),  # railroad 9.529 meters beneath
        ("H", "1046", HeightState.FIGURE, "10.46"),  # highway 10.464 meters beneath
    ],
)
def test_examples_of_item_54(reference: str, code: str, state: HeightState, metres: str | None) -> None:
    figure = None if metres is None else Length.from_metres(metres)
    assert under(reference, code) == CodedHeight(state, figure, f"{reference} {code}")


@pytest.mark.parametrize(
    ("latitude", "longitude", "lat", "lon", "step_m"),
    [
        # 35 deg 27.3 min, 81 deg 5.8 min: to a tenth of a minute
        ("35271800", "081054800", Fraction(35) + Fraction(273, 600), Fraction(81) + Fraction(58, 600), 185.2),
        # the same, "acceptable coding" to the minute
        ("35270000", "081060000", Fraction(35) + Fraction(27, 60), Fraction(81) + Fraction(6, 60), 1852.0),
        # 35 deg 27' 18.55", 81 deg 5' 50.65"
        (
            "35271855",
            "081055065",
            Fraction(35) + Fraction(27, 60) + Fraction(1855, 360000),
            Fraction(81) + Fraction(5, 60) + Fraction(5065, 360000),
            0.3,
        ),
    ],
)
def test_examples_of_items_16_and_17(
    latitude: str, longitude: str, lat: Fraction, lon: Fraction, step_m: float
) -> None:
    """Longitude is west without a sign; how fine the place is coded is seen in its digits."""
    x, y, step = place(latitude, longitude)
    assert [x, y] == pytest.approx([-float(lon), float(lat)], abs=5e-8)
    assert step == pytest.approx(step_m, rel=0.05)


def test_degrees_minutes_seconds_run_together() -> None:
    """31 deg 06' 11.10" = 31.10308 degrees."""
    assert round(place("31061110", "087204000")[1], 5) == 31.10308


def test_a_longitude_that_lost_its_nought_and_one_with_a_sign() -> None:
    assert place("35271855", "81055065") == place("35271855", "081055065") == place("35271855", "-081055065")


@pytest.mark.parametrize(
    ("latitude", "longitude", "said"),
    [
        ("00000000", "000000000", "not known"),
        ("", "", "not known"),
        ("35271855", "000000000", "not known"),
        ("35X71855", "081055065", "digits"),
        ("3527", "081055065", "digits"),
        ("35601855", "081055065", "60 minutes"),
        ("35276000", "081055065", "60 seconds"),
        ("35271855", "001055065", "outside the United States"),
        ("08271855", "081055065", "outside the United States"),
    ],
)
def test_places_that_are_none(latitude: str, longitude: str, said: str) -> None:
    with pytest.raises(ItemError, match=said):
        place(latitude, longitude)


@given(
    st.integers(17, 71),
    st.integers(64, 179),
    st.tuples(st.integers(0, 59), st.integers(0, 5999)),
    st.tuples(st.integers(0, 59), st.integers(0, 5999)),
)
def test_any_place_of_the_country_comes_back(
    lat: int, lon: int, north: tuple[int, int], west: tuple[int, int]
) -> None:
    exact_lat = Fraction(lat) + Fraction(north[0], 60) + Fraction(north[1], 360_000)
    exact_lon = Fraction(lon) + Fraction(west[0], 60) + Fraction(west[1], 360_000)
    codes = f"{lat:02d}{north[0]:02d}{north[1]:04d}", f"{lon:03d}{west[0]:02d}{west[1]:04d}"
    x, y, step = place(*codes)
    assert abs(y - exact_lat) <= Fraction(1, 10**7)
    assert abs(-x - exact_lon) <= Fraction(1, 10**7)
    assert 0 < step <= 1852


@pytest.mark.parametrize(
    "text", ["5", "52", "525", "12345", "4,52", "-4.52", "4.5 m", "1e1", "٤٫٥", "abc", "0.05"]
)
def test_heights_nobody_should_guess_at(text: str) -> None:
    """A whole number may be metres or lost its noughts: 5 is 5 m or 0.05 m."""
    with pytest.raises(ItemError):
        metric_height(text)


@pytest.mark.parametrize("text", ["", "   ", "0", "0000", "0.00", "0.0"])
def test_nothing_and_nought_are_missing_and_never_a_clearance(text: str) -> None:
    assert metric_height(text).state is HeightState.MISSING
    assert under("H", text).state is HeightState.MISSING
    assert under("H", text).figure is None


def test_a_height_without_its_reference_is_refused() -> None:
    with pytest.raises(ItemError, match="54A"):
        under("", "4.52")
    with pytest.raises(ItemError, match="54A"):
        under("X", "4.52")
    assert under("", "").state is HeightState.MISSING
    assert under("N", "99.99").state is HeightState.NOT_A_ROAD
    assert under("H", "99.99").state is HeightState.UNRESTRICTED


@given(st.decimals("1", "29.99", places=2))
def test_both_ways_of_writing_a_height_are_one(metres: Decimal) -> None:
    coded = f"{int(metres * 100):04d}"
    for text in (coded, f"{metres:.2f}"):
        assert metric_height(text).figure == Length.from_metres(metres)


@given(st.text(max_size=12))
def test_any_text_is_read_or_refused(text: str) -> None:
    for read in (metric_height, feet_height, lambda t: under("H", t), lambda t: under(t, "4.52")):
        with suppress(ItemError):
            told = read(text)
            if told.state is not HeightState.RAILWAY:
                assert (told.figure is not None) == (told.state is HeightState.FIGURE)
    with suppress(ItemError):
        lon, lat, step = place(text, text)
        assert lon < -60
        assert lat > 0
        assert step > 0
    assert isinstance(inspection_month(text, 2024), str)


@pytest.mark.parametrize(
    ("text", "metres"), [("14.3", "4.3586"), ("13.5", "4.1148"), ("99.9", None), ("0", None), ("", None)]
)
def test_feet_of_the_2022_specification_are_exact_and_cut_off(text: str, metres: str | None) -> None:
    """1 ft = 0.3048 m exactly, so 14.3 ft = 4.35864 m; a tenth of a millimetre down."""
    figure = feet_height(text).figure
    assert figure == (None if metres is None else Length.from_metres(metres))


def test_decimal_degrees_of_the_2022_specification() -> None:
    assert decimal_place("44.8012345", "-68.7712345")[:2] == (-68.7712345, 44.8012345)
    with pytest.raises(ItemError, match="outside"):
        decimal_place("44.8", "68.77")
    with pytest.raises(ItemError, match="not known"):
        decimal_place("0", "0.000")


@pytest.mark.parametrize(
    ("code", "year", "month"),
    [
        ("1192", 1995, "1992-11"),  # November 1992
        ("0394", 1995, "1994-03"),  # March 1994
        ("394", 2024, "1994-03"),  # a program dropped the nought
        ("0623", 2024, "2023-06"),
        ("1399", 2024, ""),
        ("", 2024, ""),
        ("0171", None, "1971-01"),
        ("0123", None, "2023-01"),
    ],
)
def test_examples_of_item_90(code: str, year: int | None, month: str) -> None:
    assert inspection_month(code, year) == month

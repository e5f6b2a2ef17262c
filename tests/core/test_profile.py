"""Headroom over a dip: closed forms of chord geometry against sampled profiles and brute force."""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clearance.core.errors import UsageError
from clearance.core.lengths import Length
from clearance.core.profile import (
    STATIONS_M,
    Profile,
    lost_headroom,
    lost_under,
    sag_of_circle,
    sag_of_parabola,
    with_sag,
)
from clearance.core.structure import Direction, Evidence, EvidenceClass, Kind, Structure

F64 = npt.NDArray[np.float64]


def parabola(rate: float, *, step: float = 0.05, half: float = 60.0) -> Profile:
    """A dip y = rate x^2 / 2, lowest at 0."""
    x = np.arange(-half, half + step / 2, step)
    return Profile(x, rate * x * x / 2)


def exact_circle_tenths(wheelbase: Fraction, radius: Fraction) -> int:
    """R - sqrt(R^2 - L^2/4) in tenths of a millimetre, rounded up, by whole numbers alone."""
    scale = 10**12
    under_root = (radius * radius - wheelbase * wheelbase / 4) * 10_000**2 * scale**2
    root = math.isqrt(int(under_root))
    return math.ceil(radius * 10_000 - Fraction(root, scale) - Fraction(1, 10**6))


@given(st.integers(30, 150), st.integers(200, 20_000))
def test_a_circle_by_whole_numbers(decimetres: int, radius: int) -> None:
    exact = exact_circle_tenths(Fraction(decimetres, 10), Fraction(radius, 10))
    assert abs(sag_of_circle(decimetres / 10, radius / 10).tenths - exact) <= 1


def test_known_chords() -> None:
    """A chord of 10 m over a circle of 13 m: 13 - 12 = 1 m (the triangle 5, 12, 13)."""
    assert sag_of_circle(10, 13) == Length.from_metres("1")
    assert sag_of_circle(6, 5) == Length.from_metres("1")  # 3, 4, 5
    # A change of grade of 10 % over 20 m, 8 m between the axles: 0.1 x 64 / 160 = 0.04 m
    assert sag_of_parabola(8, 0.1, 20) == Length.from_metres("0.04")


@given(st.floats(3, 12), st.floats(0.001, 0.02))
@settings(max_examples=30, deadline=None)
def test_a_sampled_parabola_loses_what_the_closed_form_says(base: float, rate: float) -> None:
    """r L^2 / 8 midway between the axles, and anywhere a coach may stand."""
    lost = lost_headroom(parabola(rate), 1.7, wheelbase_m=base)
    closed = rate * base * base / 8
    # Straight pieces of 5 cm between points of the curve are off by at most r 0.05^2 / 8.
    assert lost.tenths / 10_000 == pytest.approx(closed, abs=2e-4 + rate * 0.05**2 / 4)
    assert sag_of_parabola(base, rate * 50, 50).tenths / 10_000 == pytest.approx(closed, abs=1.1e-4)


def test_on_a_circle_the_sampled_profile_agrees_too() -> None:
    radius, base = 80.0, 9.0
    x = np.arange(-30, 30.01, 0.02)
    lost = lost_headroom(Profile(x, radius - np.sqrt(radius**2 - x**2)), 0.0, wheelbase_m=base)
    assert abs(lost.tenths - sag_of_circle(base, radius).tenths) <= 2


@given(
    st.lists(st.floats(-1, 1), min_size=50, max_size=50),
    st.floats(3, 9),
    st.floats(0, 3),
    st.floats(0, 3),
    st.floats(-3, 3),
)
@settings(max_examples=60, deadline=None)
def test_any_profile_against_brute_force(
    heights: list[float], base: float, front: float, rear: float, at: float
) -> None:
    """A coach set down every centimetre in both directions loses no more, and hardly less."""
    profile = Profile(np.arange(-25.0, 25.0), np.array(heights))
    lost = lost_headroom(profile, at, wheelbase_m=base, front_m=front, rear_m=rear).tenths / 10_000
    most = 0.0
    for ahead, behind in ((front, rear), (rear, front)):
        axle = np.arange(at - base - ahead, at + behind, 0.01)
        rise = (profile.at(axle + base) - profile.at(axle)) / base
        above = profile.at(axle) + rise * (at - axle) - profile.at(np.array([at]))[0]
        most = max(most, float(above.max()))
    assert lost >= most - 1e-9
    assert lost <= most + 0.05  # slopes of up to 2, and chords ending 1 cm apart


def test_a_level_road_and_an_even_grade_lose_nothing() -> None:
    x = np.array([-50.0, 50.0])
    for rise in (0.0, 0.1):
        assert lost_headroom(Profile(x, rise * x), 0.0, wheelbase_m=8, front_m=1, rear_m=3) == Length(0)


def test_a_hump_costs_the_overhangs_and_not_the_wheelbase() -> None:
    """On a hump of radius R an overhang o behind a wheelbase L stands o (L + o) / (2 R) too high."""
    hump = parabola(-1 / 100)
    assert lost_headroom(hump, 0.0, wheelbase_m=7) == Length(0)
    lost = lost_headroom(hump, 0.0, wheelbase_m=7, rear_m=3)
    assert lost.tenths / 10_000 == pytest.approx(3 * (7 + 3) / (2 * 100), abs=3e-4)
    assert lost == lost_headroom(hump, 0.0, wheelbase_m=7, front_m=3)


@pytest.mark.parametrize(
    "call",
    [
        lambda: Profile(np.array([0.0]), np.array([0.0])),
        lambda: Profile(np.array([0.0, 0.0]), np.array([0.0, 1.0])),
        lambda: Profile(np.array([0.0, 1.0]), np.array([0.0, np.nan])),
        lambda: lost_headroom(parabola(0.01), 55.0, wheelbase_m=8),
        lambda: lost_headroom(parabola(0.01), 0.0, wheelbase_m=0),
        lambda: lost_headroom(parabola(0.01), 0.0, wheelbase_m=8, rear_m=-1),
        lambda: sag_of_circle(30, 10),
        lambda: sag_of_parabola(30, 0.1, 10),
    ],
)
def test_what_cannot_be_meant_is_refused(call: object) -> None:
    with pytest.raises(UsageError):
        call()  # type: ignore[operator]


@given(st.lists(st.lists(st.floats(-1, 1), min_size=43, max_size=43), max_size=5), st.floats(3, 12))
@settings(max_examples=30, deadline=None)
def test_many_profiles_at_once_lose_what_each_loses_alone(rows: list[list[float]], base: float) -> None:
    heights = np.array(rows, dtype=np.float64).reshape(-1, STATIONS_M.size)
    lost = lost_under(heights, wheelbase_m=base, front_m=1.0, rear_m=4.0).tolist()
    for tenths, row in zip(lost, heights, strict=True):
        alone = lost_headroom(Profile(STATIONS_M, row), 0.0, wheelbase_m=base, front_m=1.0, rear_m=4.0)
        assert alone.tenths == tenths


BRIDGE = Structure(key="way/1:way/2:1", kind=Kind.RAIL_BRIDGE, lon=-40.0, lat=45.0)


def test_what_is_left_of_a_height_may_condemn_and_never_clear() -> None:
    posted = Evidence(evidence_class=EvidenceClass.POSTED, figure=Length.from_metres("4.2"), element="way/1")
    high = Structure(key="a", kind=Kind.BRIDGE, lon=-40.0, lat=45.0, evidence=(posted,))
    lost = Length.from_metres("0.0501")
    lower = with_sag(high, lost, wheelbase_m=7.3152)
    assert lower.lowest() == Length.from_metres("4.2") - lost
    assert lower.verified()
    assert not lower.evidence[-1].can_clear
    assert lower.evidence[-1].direction is Direction.BOTH
    assert "wheelbase of 7.3 m loses 6 cm (2 in)" in lower.warnings[-1]
    at_night = with_sag(high, lost, wheelbase_m=8, lowest=Length.from_metres("4.0"))
    assert at_night.lowest() == Length.from_metres("4.0") - lost


def test_a_loss_without_a_known_height_is_a_warning_alone_and_told_once() -> None:
    lower = with_sag(BRIDGE, Length.from_metres("0.05"), wheelbase_m=8)
    assert lower.lowest() is None
    assert "5 cm" in lower.warnings[-1]
    again = with_sag(lower, Length.from_metres("0.07"), wheelbase_m=9)
    (warning,) = again.warnings
    assert "7 cm" in warning
    assert with_sag(BRIDGE, Length(0), wheelbase_m=8) == BRIDGE


def level(half: float = 30.0) -> Profile:
    return Profile(np.array([-half, half]), np.zeros(2))


@pytest.mark.parametrize(
    ("base", "front", "rear", "fits"),
    [
        (0.5, 0, 0, True),
        (0.0, 0, 0, False),
        (-1.0, 0, 0, False),
        (29.0, 0, 0, True),
        (8.0, 0.5, 0.5, True),
        (8.0, 21.9, 0, True),
        (8.0, 0, 21.9, True),
        (8.0, 22.1, 0, False),
        (8.0, 0, 22.1, False),
        (8.0, -0.1, 0, False),
        (8.0, 0, -0.1, False),
        (100.0, 0, 0, False),
        (30.0, 0, 0, True),
        (30.1, 0, 0, False),
    ],
)
def test_measures_that_a_profile_can_bear(base: float, front: float, rear: float, fits: bool) -> None:
    """A profile of 30 m to either side bears a wheelbase and the longer overhang of as much."""
    if fits:
        assert lost_headroom(level(), 0.0, wheelbase_m=base, front_m=front, rear_m=rear) == Length(0)
    else:
        with pytest.raises(UsageError):
            lost_headroom(level(), 0.0, wheelbase_m=base, front_m=front, rear_m=rear)


@pytest.mark.parametrize(("front", "fits"), [(29.9, True), (30.0, False), (30.1, False)])
def test_an_overhang_of_thirty_metres_is_none_of_a_road_vehicle(front: float, fits: bool) -> None:
    for measures in ({"front_m": front}, {"rear_m": front}):
        if fits:
            assert lost_headroom(level(60), 0.0, wheelbase_m=20, **measures) == Length(0)
        else:
            with pytest.raises(UsageError, match="lengths of a road vehicle"):
                lost_headroom(level(60), 0.0, wheelbase_m=20, **measures)


@pytest.mark.parametrize(("base", "fits"), [(99.9, True), (100.0, False), (100.5, False)])
def test_a_wheelbase_of_a_hundred_metres_is_none_of_a_road_vehicle(base: float, fits: bool) -> None:
    if fits:
        assert lost_headroom(level(300), 0.0, wheelbase_m=base) == Length(0)
    else:
        with pytest.raises(UsageError, match="lengths of a road vehicle"):
            lost_headroom(level(300), 0.0, wheelbase_m=base)


@pytest.mark.parametrize(("at", "fits"), [(22.0, True), (-22.0, True), (22.1, False), (-22.1, False)])
def test_a_profile_must_reach_a_coach_to_either_side(at: float, fits: bool) -> None:
    if fits:
        assert lost_headroom(level(), at, wheelbase_m=8) == Length(0)
    else:
        with pytest.raises(UsageError, match="does not reach 8 m to either side"):
            lost_headroom(level(), at, wheelbase_m=8)


def test_closed_forms_at_their_bounds() -> None:
    assert sag_of_circle(20, 10) == Length.from_metres("10")  # the whole circle: half of it
    assert sag_of_circle(0.5, 100).tenths == math.ceil((100 - math.sqrt(100**2 - 0.25**2)) * 10_000)
    assert sag_of_parabola(10, 0.1, 10) == Length.from_metres("0.125")
    assert sag_of_parabola(0.5, 0.1, 10).tenths == math.ceil(0.1 * 0.25 / 80 * 10_000)
    assert sag_of_parabola(5, 0, 10) == Length(0)
    for base, radius in ((0, 10), (20.01, 10)):
        with pytest.raises(UsageError):
            sag_of_circle(base, radius)
    for base, change, curve in ((0, 0.1, 10), (10.01, 0.1, 10), (5, -0.001, 10)):
        with pytest.raises(UsageError):
            sag_of_parabola(base, change, curve)


def test_a_step_in_the_road() -> None:
    """Level at 0 up to x = 0, then level at 1 m from x = 1 on, 10 m between the axles.

    The roof at x = 0 is highest above the road with the front axle just on the upper level: the rear axle at
    -9, the chord rises 1 in 10, and stands 0.9 m above the road at 0.
    """
    step = Profile(np.array([-50.0, 0.0, 1.0, 50.0]), np.array([0.0, 0.0, 1.0, 1.0]))
    assert lost_headroom(step, 0.0, wheelbase_m=10) == Length.from_metres("0.9")
    # At x = 1, on the edge, the front stands at 0 at least; an overhang before it reaches higher.
    assert lost_headroom(step, 1.0, wheelbase_m=10) == Length(0)
    reach = lost_headroom(step, 3.0, wheelbase_m=10, front_m=2).metres
    assert float(reach) == pytest.approx(0.2, abs=1e-4)


def test_profiles_that_are_none() -> None:
    for distance, height in (
        ([0.0, 1.0], [0.0]),
        ([0.0], [0.0]),
        ([0.0, 0.0], [0.0, 0.0]),
        ([1.0, 0.0], [0.0, 0.0]),
        ([0.0, np.inf], [0.0, 0.0]),
        ([0.0, 1.0], [np.nan, 0.0]),
    ):
        with pytest.raises(UsageError):
            Profile(np.array(distance), np.array(height))
    assert Profile(np.array([0.0, 1.0]), np.array([0.0, 2.0])).at(np.array([0.25])).tolist() == [0.5]


def test_what_a_loss_of_nothing_and_of_little_says() -> None:
    posted = Evidence(evidence_class=EvidenceClass.POSTED, figure=Length.from_metres("4.2"), element="way/1")
    high = Structure(key="a", kind=Kind.BRIDGE, lon=-40.0, lat=45.0, evidence=(posted,), warnings=("old",))
    assert with_sag(high, Length(0), wheelbase_m=8) == high
    one = with_sag(high, Length(1), wheelbase_m=8)
    assert one.warnings[0] == "old"
    assert "loses 1 cm (1 in) of height" in one.warnings[1]
    left = one.evidence[-1]
    assert (left.key, left.raw, left.source) == (
        "vertical profile",
        f"{Length.from_metres('4.2')} less {Length(1)}",
        "heights of the ground",
    )
    assert left.evidence_class is EvidenceClass.MEASURED
    assert left.note == one.warnings[1]
    assert "loses 2 cm (1 in)" in with_sag(high, Length(101), wheelbase_m=8).warnings[1]
    assert "loses 3 cm (2 in)" in with_sag(high, Length(255), wheelbase_m=8).warnings[1]


@pytest.mark.parametrize(
    ("base", "front", "rear", "said"),
    [
        (99.9, 0.0, 0.0, "does not reach"),
        (100.0, 0.0, 0.0, "must be lengths"),
        (100.5, 0.0, 0.0, "must be lengths"),
        (0.0, 0.0, 0.0, "must be lengths"),
        (10.0, 29.9, 0.0, "does not reach"),
        (10.0, 30.0, 0.0, "must be lengths"),
        (10.0, 0.0, 30.5, "must be lengths"),
        (10.0, -0.1, 0.0, "must be lengths"),
        (10.0, 0.0, -0.1, "must be lengths"),
    ],
)
def test_which_measures_are_refused_for_what(base: float, front: float, rear: float, said: str) -> None:
    with pytest.raises(UsageError, match=said):
        lost_under(np.zeros((1, STATIONS_M.size)), wheelbase_m=base, front_m=front, rear_m=rear)

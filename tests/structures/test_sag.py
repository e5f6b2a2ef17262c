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
from clearance.core.structure import Direction, Structure
from clearance.structures.find import find_structures
from clearance.structures.sag import (
    UK_CHORD_M,
    Profile,
    lost_headroom,
    profile_under,
    sag_of_circle,
    sag_of_parabola,
    with_profiles,
    with_sag,
    with_sag_warnings,
)
from tests.towns import LAT0, LON0, M_PER_LAT, M_PER_LON, Town

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


def test_headroom_measured_above_a_chord_of_25_m_is_not_lost_twice() -> None:
    """Traffic Signs Manual chapter 4 (2013), paragraph 7.10: a dip is measured on a chord of 25 m."""
    dip = parabola(1 / 500)
    assert lost_headroom(dip, 0.0, wheelbase_m=8, chord_m=UK_CHORD_M) == Length(0)
    longer = lost_headroom(dip, 0.0, wheelbase_m=30, chord_m=UK_CHORD_M).tenths / 10_000
    assert longer == pytest.approx((30**2 - 25**2) / (8 * 500), abs=3e-4)


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


RAIL = {"railway": "rail", "bridge": "yes", "layer": "1"}
ROAD = {"highway": "residential", "name": "Heather Street"}


def dip_town(tags: list[dict[str, str]], upper: dict[str, str] | None = None) -> Town:
    """Heather Street in three ways, the middle one of 40 m under a railway bridge at x = 0."""
    town = (
        Town().node(1, -100, 0).node(2, -20, 0).node(3, 20, 0).node(4, 100, 0).node(5, 0, -50).node(6, 0, 50)
    )
    for k, more in enumerate(tags):
        town.way(10 + k, [1 + k, 2 + k], ROAD | more)
    return town.way(20, [5, 6], upper or RAIL)


def warned(tags: list[dict[str, str]], upper: dict[str, str] | None = None) -> tuple[str, ...]:
    extract = dip_town(tags, upper).extract()
    (found,) = [s for s in with_sag_warnings(find_structures(extract), extract) if s.upper]
    return found.warnings


@pytest.mark.parametrize(
    ("tags", "said"),
    [
        ([{"incline": "down"}, {}, {"incline": "up"}], "falls towards"),
        ([{"incline": "-6%"}, {}, {"incline": "5 %"}], "falls towards"),
        ([{"incline": "up"}, {}, {"incline": "down"}], "rises towards"),
        ([{}, {"hazard": "ground_clearance"}, {}], "ground clearance"),
    ],
)
def test_tags_that_tell_of_a_dip_or_a_hump_warn(tags: list[dict[str, str]], said: str) -> None:
    (warning,) = warned(tags)
    assert said in warning
    assert "way/11" in warning
    assert warned(tags, {"highway": "primary", "bridge": "yes", "layer": "1"}) == ()


def test_ways_drawn_against_each_other_are_read_along_the_road() -> None:
    town = dip_town([{}, {}, {}])
    town = (
        Town().node(1, -100, 0).node(2, -20, 0).node(3, 20, 0).node(4, 100, 0).node(5, 0, -50).node(6, 0, 50)
    )
    town.way(10, [2, 1], ROAD | {"incline": "up"}).way(11, [2, 3], ROAD).way(
        12, [4, 3], ROAD | {"incline": "down"}
    )
    extract = town.way(20, [5, 6], RAIL).extract()
    (found,) = [s for s in with_sag_warnings(find_structures(extract), extract) if s.upper]
    assert "falls towards" in found.warnings[0]


@pytest.mark.parametrize(
    "tags",
    [
        [{}, {}, {}],
        [{"incline": "down"}, {}, {"incline": "down"}],
        [{"incline": "down"}, {}, {}],
        [{"incline": "steep"}, {}, {"incline": "up"}],
        [{"incline": "down"}, {"incline": "down"}, {"incline": "up"}],
    ],
)
def test_tags_that_do_not_tell_say_nothing(tags: list[dict[str, str]]) -> None:
    assert warned(tags) == ()


def railway_bridge(town: Town) -> tuple[Structure, Town]:
    (found,) = [s for s in find_structures(town.extract()) if s.upper]
    return found, town


def test_a_profile_follows_the_road_over_the_ends_of_ways() -> None:
    """The ground dips along x by 0.002 x^2: the profile under the bridge must show it."""
    structure, town = railway_bridge(dip_town([{}, {"maxheight": "4.2"}, {}]))

    def ground(lon: F64, lat: F64) -> F64:
        x = (lon - LON0) * M_PER_LON
        assert np.abs((lat - LAT0) * M_PER_LAT).max() < 0.1
        return np.asarray(50 + 0.002 * x * x)

    found = profile_under(structure, town.extract(), ground, reach_m=60)
    assert found is not None
    profile, at = found
    assert float(profile.distance[-1] - profile.distance[0]) == pytest.approx(120, abs=1)
    assert float(profile.at(np.array([at]))[0]) == pytest.approx(50, abs=0.01)
    lost = lost_headroom(profile, at, wheelbase_m=10)
    assert lost.tenths / 10_000 == pytest.approx(0.004 * 100 / 8, abs=2e-3)

    lower = with_sag(structure, lost, wheelbase_m=10, source="invented grid")
    assert lower.lowest() == Length.from_metres("4.2") - lost
    assert lower.verified()
    assert not lower.evidence[-1].can_clear
    assert "10 m" in lower.warnings[-1]
    assert lower.evidence[-1].direction is Direction.BOTH


def test_every_structure_over_a_dip_loses_its_headroom() -> None:
    """The same ground for all of a town at once; a structure whose ground is unknown stays as it is."""
    extract = dip_town([{}, {"maxheight": "4.2"}, {}]).extract()
    structures = find_structures(extract)

    def ground(lon: F64, lat: F64) -> F64:
        return np.asarray(0.002 * ((lon - LON0) * M_PER_LON) ** 2)

    for found in with_profiles(structures, extract, ground, wheelbase_m=10, rear_m=3, source="invented grid"):
        lowest = found.lowest()
        assert lowest is not None
        assert float(Length.from_metres("4.2").metres - lowest.metres) == pytest.approx(0.05, abs=2e-3)
        assert found.evidence[-1].source == "invented grid"

    def nowhere(lon: F64, _lat: F64) -> F64:
        return np.full_like(lon, np.nan)

    assert with_profiles(structures, extract, nowhere, wheelbase_m=10, source="x") == structures
    uk = with_profiles(structures, extract, ground, wheelbase_m=10, chord_m=UK_CHORD_M, source="x")
    assert uk == structures


def test_no_profile_where_the_road_ends_or_the_ground_is_unknown() -> None:
    structure, town = railway_bridge(dip_town([{}, {}, {}]))
    extract = town.extract()
    assert profile_under(structure, extract, lambda lon, _lat: np.zeros_like(lon), reach_m=200) is None
    assert profile_under(structure, extract, lambda lon, _lat: np.full_like(lon, np.nan), reach_m=30) is None


def test_a_loss_without_a_known_height_is_a_warning_alone() -> None:
    structure, _ = railway_bridge(dip_town([{}, {}, {}]))
    lower = with_sag(structure, Length.from_metres("0.05"), wheelbase_m=8, source="x")
    assert lower.lowest() is None
    assert "0.05 m" in lower.warnings[-1]
    assert with_sag(structure, Length(0), wheelbase_m=8, source="x") == structure

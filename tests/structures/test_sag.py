"""Dips and humps beneath structures, from heights of the ground and from tags."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from clearance.core.lengths import Length
from clearance.core.profile import STATIONS_M, lost_headroom, lost_under
from clearance.core.structure import Structure
from clearance.structures.find import find_structures
from clearance.structures.sag import (
    profile_under,
    road_profiles,
    with_profile_warnings,
    with_sag_warnings,
)
from tests.towns import LAT0, LON0, M_PER_LAT, M_PER_LON, Town

F64 = npt.NDArray[np.float64]

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


def test_every_structure_over_a_known_ground_has_its_profile() -> None:
    """The same ground for all of a town at once; a structure whose ground is unknown has none."""
    extract = dip_town([{}, {"maxheight": "4.2"}, {}]).extract()
    structures = find_structures(extract)

    def ground(lon: F64, lat: F64) -> F64:
        return np.asarray(0.002 * ((lon - LON0) * M_PER_LON) ** 2)

    found = road_profiles(structures, extract, ground)
    assert [structures[i].upper for i in found.structure.tolist()] == ["way/20"]
    assert found.height[0] == pytest.approx(0.002 * STATIONS_M**2, rel=0.01, abs=2e-3)
    (lost,) = lost_under(found.height, wheelbase_m=10, rear_m=3).tolist()
    assert lost / 10_000 == pytest.approx(0.004 * 100 / 8, abs=3e-3)

    warned_of = with_profile_warnings(structures, found)
    (over,) = [s for s in warned_of if s.upper]
    assert "wheelbase of 8.0 m loses" in over.warnings[-1]
    assert over.lowest() == Length.from_metres("4.2")  # a warning alone

    none = road_profiles(structures, extract, lambda lon, _lat: np.full_like(lon, np.nan))
    assert (none.structure.size, none.height.shape) == (0, (0, STATIONS_M.size))
    assert with_profile_warnings(structures, none) == structures
    level = road_profiles(structures, extract, lambda lon, _lat: np.zeros_like(lon))
    assert with_profile_warnings(structures, level) == structures


def test_no_profile_where_the_road_ends_or_the_ground_is_unknown() -> None:
    structure, town = railway_bridge(dip_town([{}, {}, {}]))
    extract = town.extract()
    assert profile_under(structure, extract, lambda lon, _lat: np.zeros_like(lon), reach_m=200) is None
    assert profile_under(structure, extract, lambda lon, _lat: np.full_like(lon, np.nan), reach_m=30) is None


def test_at_a_junction_the_road_goes_on_by_its_name() -> None:
    """Side Lane meets Heather Street at both ends of the part under the bridge."""
    for name, warns in (("Side Lane", True), ("Heather Street", False)):
        town = dip_town([{"incline": "down"}, {}, {"incline": "up"}])
        town.node(7, -20, 100).node(8, 20, 100)
        town.way(31, [2, 7], {"highway": "residential", "name": name, "incline": "down"})
        town.way(32, [3, 8], {"highway": "residential", "name": name, "incline": "down"})
        extract = town.extract()
        (found,) = [s for s in with_sag_warnings(find_structures(extract), extract) if s.upper]
        assert bool(found.warnings) is warns


@pytest.mark.parametrize(
    ("before", "under", "behind", "warns"),
    [
        ("down", "0", "up", True),
        ("down", "0%", "up", True),
        ("down", "1%", "up", False),
        ("down", "-1%", "up", False),
        ("down", "steep", "up", True),
        ("0", "", "up", False),
        ("down", "", "0", False),
        ("0", "", "0", False),
        ("up", "", "0", False),
        ("0", "", "down", False),
        ("-3,5 %", "", "2°", True),
        ("DOWN", "", " up ", True),
        ("down", "", "down", False),
        ("up", "", "up", False),
    ],
)
def test_forms_of_incline(before: str, under: str, behind: str, warns: bool) -> None:
    assert bool(warned([{"incline": text} if text else {} for text in (before, under, behind)])) is warns

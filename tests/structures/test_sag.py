"""Dips and humps beneath structures, from heights of the ground and from tags."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest

from clearance.core.lengths import Length
from clearance.core.profile import STATIONS_M, lost_headroom, lost_under
from clearance.core.structure import Structure
from clearance.structures.find import find_structures
from clearance.structures.sag import (
    RoadProfiles,
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


#: Metres of a tiny town, eastward, for one metre along a road as it is reckoned.
EAST = M_PER_LON / (111_195 * float(np.cos(np.radians(LAT0))))


def level(lon: F64, lat: F64) -> F64:
    del lat
    return np.zeros_like(lon)


def bent_town(nodes: dict[str, list[int]], places: dict[int, tuple[float, float]]) -> Town:
    """Streets of the nodes told, in order, the first under a railway bridge at x = 0."""
    town = Town()
    for ref, (x, y) in places.items():
        town.node(ref, x, y)
    for k, (name, refs) in enumerate(nodes.items()):
        town.way(10 + k, refs, {"highway": "residential", "name": name})
    return town.node(90, 0, -9).node(91, 0, 9).way(90, [90, 91], RAIL)


def places_under(town: Town, reach_m: float) -> list[tuple[float, float]] | None:
    """Where the ground is asked for along the road under the bridge, in metres of the town."""
    extract = town.extract()
    (structure,) = [s for s in find_structures(extract) if s.upper]
    asked: list[tuple[float, float]] = []

    def ground(lon: F64, lat: F64) -> F64:
        asked.extend(
            zip(((lon - LON0) * M_PER_LON).tolist(), ((lat - LAT0) * M_PER_LAT).tolist(), strict=True)
        )
        return np.zeros_like(lon)

    found = profile_under(structure, extract, ground, reach_m=reach_m)
    if found is None:
        return None
    profile, at = found
    assert profile.distance.tolist() == pytest.approx(list(range(len(asked))))
    assert len(asked) == 2 * reach_m + 1
    assert at == pytest.approx(reach_m)
    return asked


PLACES: dict[int, tuple[float, float]] = {
    1: (-90, 0), 2: (-40, 0), 3: (-10, 0), 4: (10, 0), 5: (40, 0), 6: (90, 0),
    # aside: north of 2 and 5, south-east of 5, back from 5, and a little north of east of it
    7: (-40, 60), 8: (40, 60), 9: (90, -30), 10: (0, 30), 11: (90, 20),
}  # fmt: skip


@pytest.mark.parametrize("backward", [False, True])
@pytest.mark.parametrize("parts", [{"A": [2, 3, 4, 5]}, {"A": [3, 4]}, {"A": [3, 4, 5]}, {"A": [2, 3, 4]}])
def test_the_road_is_followed_over_ends_and_past_side_streets(
    parts: dict[str, list[int]], backward: bool
) -> None:
    """In whichever pieces it is drawn, and whichever way each is drawn."""
    inner = parts["A"]
    rest = {"B": [5, 6], "C": [1, 2]}
    if 2 not in inner:
        rest |= {"D": [2, 3]}
    if 5 not in inner:
        rest |= {"E": [4, 5]}
    sides = {"F": [2, 7], "G": [5, 8], "H": [5, 9], "I": [5, 10]}
    nodes = parts | {k: refs[::-1] if backward else refs for k, refs in rest.items()} | sides
    asked = places_under(bent_town(nodes, PLACES), 60)
    assert asked is not None
    x, y = np.array(asked).T
    assert x == pytest.approx(np.arange(-60, 61) * EAST, abs=0.05)
    assert y == pytest.approx(np.zeros(121), abs=0.05)


def test_of_two_ways_on_the_straighter_is_taken() -> None:
    for order in ([9, 11], [11, 9]):
        nodes = {"A": [1, 2, 3, 4, 5], **{f"B{ref}": [5, ref] for ref in order}}
        asked = places_under(bent_town(nodes, PLACES), 60)
        assert asked is not None
        assert asked[-1][1] == pytest.approx(20 * EAST * 20 / 53.85, abs=0.3)
        assert asked[-1][0] == pytest.approx(40 + 20 * EAST * 50 / 53.85, abs=0.3)


def test_a_road_that_only_turns_back_ends() -> None:
    assert places_under(bent_town({"A": [1, 2, 3, 4, 5], "I": [5, 10]}, PLACES), 60) is None
    assert places_under(bent_town({"A": [1, 2, 3, 4, 5], "I": [5, 10]}, PLACES), 35) is not None
    square = bent_town({"A": [1, 2, 3, 4, 5], "G": [5, 8]}, PLACES)
    assert places_under(square, 60) is None  # a right angle is a turn too
    assert places_under(bent_town({"A": [2, 3, 4, 5, 6], "F": [2, 7]}, PLACES), 60) is None
    footway = bent_town({"A": [1, 2, 3, 4, 5]}, PLACES).way(50, [5, 6], {"highway": "footway"})
    assert places_under(footway, 60) is None


def test_a_ring_is_not_driven_round_for_ever() -> None:
    corners = ((-20.0, 0.0), (20.0, 0.0), (40.0, 30.0), (20.0, 60.0), (-20.0, 60.0), (-40.0, 30.0))
    ring = dict(enumerate(corners, start=1))
    town = bent_town({"A": [1, 2, 3, 4, 5, 6, 1]}, ring)
    assert places_under(town, 500) is None


@pytest.mark.parametrize(
    ("before", "behind", "found"), [(22.3, 23.3, True), (21.7, 23.3, False), (22.3, 22.7, False)]
)
def test_how_much_road_a_kept_profile_needs(before: float, behind: float, found: bool) -> None:
    """21 m to either side are kept, a step more is looked at, and one more behind."""
    town = Town().node(1, -before * EAST, 0).node(2, behind * EAST, 0).way(10, [1, 2], ROAD)
    extract = town.node(3, 0, -9).node(4, 0, 9).way(20, [3, 4], RAIL).extract()
    counts: list[int] = []

    def ground(lon: F64, lat: F64) -> F64:
        counts.append(len(lon))
        return level(lon, lat)

    profiles = road_profiles(find_structures(extract), extract, ground)
    assert profiles.structure.tolist() == ([0] if found else [])
    assert profiles.structure.dtype == np.int32
    assert counts == ([45] if found else [])


def test_a_tunnel_has_no_profile() -> None:
    """Only what stands above a road: the ground over a tunnel is not its road."""
    extract = Town().node(1, -90, 0).node(2, 90, 0).way(10, [1, 2], ROAD | {"tunnel": "yes"}).extract()
    structures = find_structures(extract)
    assert road_profiles(structures, extract, level).structure.tolist() == []
    assert profile_under(structures[0], extract, level, reach_m=20) is not None
    bar = Town().node(1, -90, 0).node(2, 0, 0, {"barrier": "height_restrictor"}).node(3, 90, 0)
    extract = bar.way(10, [1, 2, 3], ROAD).extract()
    assert profile_under(find_structures(extract)[0], extract, level, reach_m=20) is None
    elsewhere = Town().node(1, 0, 0).node(2, 9, 0).way(10, [1, 2], ROAD).extract()
    structure, _ = railway_bridge(dip_town([{}, {}, {}]))
    assert profile_under(structure, elsewhere, level, reach_m=1) is None


@pytest.mark.parametrize(("tenths", "warns"), [(299, False), (300, True), (301, True)])
@pytest.mark.parametrize("hump", [False, True])
def test_three_centimetres_are_worth_a_warning(tenths: int, warns: bool, hump: bool) -> None:
    """A coach of 8 m between the axles loses 16.125 c in a dip of c x^2, straight between metres.

    With its axles 4.25 m before and 3.75 m behind. On a hump 4 m behind the axles lose 4 * 12 c.
    """
    structure, _ = railway_bridge(dip_town([{}, {"maxheight": "4.2"}, {}]))
    c = -tenths / 10_000 / 48 if hump else tenths / 10_000 / 16.125
    profiles = RoadProfiles(np.array([1], dtype=np.int32), np.array([c * STATIONS_M**2]))
    plain, over = with_profile_warnings([replace(structure, key="other"), structure], profiles)
    assert plain == replace(structure, key="other")
    assert bool(over.warnings) is warns
    assert replace(over, warnings=()) == structure
    if warns:
        cm = -(-tenths // 100)
        assert f"a coach with a wheelbase of 8.0 m loses {cm} cm" in over.warnings[0]


@pytest.mark.parametrize("first", [[1, 7, 2], [2, 7, 1]])
@pytest.mark.parametrize("last", [[3, 8, 4], [4, 8, 3]])
def test_inclines_of_ways_with_nodes_between(first: list[int], last: list[int]) -> None:
    """Each told along its own way: down towards the bridge and up behind it, whichever way each is drawn."""
    town = (
        Town().node(1, -100, 0).node(2, -20, 0).node(3, 20, 0).node(4, 100, 0).node(7, -60, 1).node(8, 60, 1)
    )
    town.node(5, 0, -50).node(6, 0, 50).node(9, 5, 0.1).way(20, [5, 6], RAIL)
    town.way(10, first, ROAD | {"incline": "down" if first[0] == 1 else "up"})
    town.way(11, [2, 9, 3], ROAD).way(12, last, ROAD | {"incline": "up" if last[0] == 3 else "down"})
    extract = town.extract()
    (found,) = [s for s in with_sag_warnings(find_structures(extract), extract) if s.upper]
    assert [w.split(";")[0] for w in found.warnings] == [
        "way/11: the road falls towards the bridge and rises behind it"
    ]


@pytest.mark.parametrize(("at", "warns"), [(2, True), (9, True), (3, True), (1, False)])
def test_low_ground_clearance_on_any_node_of_the_road(at: int, warns: bool) -> None:
    town = (
        Town().node(1, -100, 0).node(2, -20, 0).node(9, 5, 0.1).node(3, 20, 0).node(5, 0, -50).node(6, 0, 50)
    )
    x, y = {1: (-100.0, 0.0), 2: (-20.0, 0.0), 9: (5.0, 0.1), 3: (20.0, 0.0)}[at]
    town.node(at, x, y, {"hazard": "ground_clearance"}).way(10, [1, 2], ROAD).way(11, [2, 9, 3], ROAD)
    extract = town.way(20, [5, 6], RAIL).extract()
    structures = with_sag_warnings(find_structures(extract), extract)
    assert bool(next(s for s in structures if s.upper).warnings) is warns


def test_what_is_no_railway_bridge_is_left_as_it_is() -> None:
    """Beside a railway bridge that warns: a tunnel, and a footbridge over the same road."""
    town = dip_town(
        [{"tunnel": "yes"}, {"hazard": "ground_clearance", "maxheight": "low"}, {"tunnel": "yes"}]
    )
    town.node(7, 10, -50).node(8, 10, 50).way(21, [7, 8], {"highway": "footway", "bridge": "yes"})
    extract = town.extract()
    before = find_structures(extract)
    after = with_sag_warnings(before, extract)
    assert [s.key for s in after] == [s.key for s in before]
    changed = [(b, a) for b, a in zip(before, after, strict=True) if a != b]
    ((b, a),) = changed
    assert a.upper == "way/20"
    assert a.warnings[: len(b.warnings)] == b.warnings
    assert len(a.warnings) == len(b.warnings) + 1
    # A railway bridge over a road that is not in the extract any more says nothing.
    assert with_sag_warnings(before, Town().extract()) == before


def test_rails_and_paths_that_end_where_the_road_does_are_no_road_on() -> None:
    town = dip_town([{"incline": "down"}, {}, {"incline": "up"}])
    town.node(7, -20, 60).way(31, [2, 7], {"highway": "footway", "incline": "up"})
    town.node(8, 20, 60).way(32, [3, 8], {"railway": "siding", "incline": "up"})
    town.way(33, [2], ROAD)
    extract = town.extract()
    (found,) = [s for s in with_sag_warnings(find_structures(extract), extract) if s.upper == "way/20"]
    assert len(found.warnings) == 1


def test_the_road_of_the_same_name_is_meant_at_a_junction() -> None:
    """Side lanes that tell nothing, or the reverse, change nothing; without a name there are two ways on."""
    for side in ({}, {"incline": "up"}, {"incline": "down"}):
        town = dip_town([{"incline": "down"}, {}, {"incline": "up"}])
        town.node(7, -20, 100).node(8, 20, 100)
        town.way(31, [2, 7], {"highway": "residential", "name": "Side Lane", **side})
        town.way(32, [3, 8], {"highway": "residential", "name": "Side Lane", **side})
        extract = town.extract()
        (found,) = [s for s in with_sag_warnings(find_structures(extract), extract) if s.upper]
        assert [w.split(";")[0] for w in found.warnings] == [
            "way/11: the road falls towards the bridge and rises behind it"
        ]
    unnamed = (
        Town().node(1, -100, 0).node(2, -20, 0).node(3, 20, 0).node(4, 100, 0).node(5, 0, -50).node(6, 0, 50)
    )
    for way, nodes, incline in (
        (10, [1, 2], "down"),
        (11, [2, 3], ""),
        (12, [3, 4], "up"),
        (13, [7, 2], "down"),
    ):
        unnamed.way(way, nodes, {"highway": "residential"} | ({"incline": incline} if incline else {}))
    extract = unnamed.node(7, -60, 60).way(20, [5, 6], RAIL).extract()
    (found,) = [s for s in with_sag_warnings(find_structures(extract), extract) if s.upper]
    assert found.warnings == ()


@pytest.mark.parametrize("turn", [0, 30, 90, 150, 180, 270])
def test_the_road_is_followed_whichever_way_it_runs(turn: float) -> None:
    """The same streets turned about the bridge: straight on past side streets, and the straighter of two."""
    cos, sin = float(np.cos(np.radians(turn))), float(np.sin(np.radians(turn)))

    def turned(x: float, y: float) -> tuple[float, float]:
        return x * cos - y * sin, x * sin + y * cos

    town = Town()
    for ref, (x, y) in PLACES.items():
        town.node(ref, *turned(x, y))
    for k, refs in enumerate(([2, 3, 4, 5], [5, 6], [2, 1], [2, 7], [5, 8], [5, 9], [5, 10], [11, 5])):
        town.way(10 + k, refs, {"highway": "residential"})
    town.node(90, *turned(0, -9)).node(91, *turned(0, 9)).way(90, [90, 91], RAIL)
    asked = places_under(town, 60)
    assert asked is not None
    for at, (x, y) in enumerate(asked):
        expected = turned((at - 60) * 1.0, 0)
        assert (x, y) == pytest.approx(expected, abs=0.4)

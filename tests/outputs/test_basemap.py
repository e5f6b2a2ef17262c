from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clearance.core.mapline import MapLine
from clearance.outputs.basemap import base_map
from tests.outputs import samples
from tests.towns import lonlat

points = st.tuples(st.floats(-180, 180), st.floats(-85, 85))


def unpacked(packed: list[int]) -> list[tuple[float, float]]:
    lon = lat = 0
    result = []
    for dlon, dlat in zip(packed[1::2], packed[2::2], strict=True):
        lon, lat = lon + dlon, lat + dlat
        result.append((lon / 1e5, lat / 1e5))
    return result


@given(st.lists(points, min_size=2, max_size=20))
def test_packed_points_are_within_half_a_step(line: list[tuple[float, float]]) -> None:
    packed = base_map([MapLine(points=tuple(line), highway="primary")], [line]).lines["middle"]
    (found,) = packed
    kept = unpacked(found)
    expected = [(round(lon * 1e5) / 1e5, round(lat * 1e5) / 1e5) for lon, lat in line]
    distinct = [p for n, p in enumerate(expected) if n == 0 or p != expected[n - 1]]
    assert len(kept) == len(distinct)
    for a, b in zip(kept, distinct, strict=True):
        assert a == pytest.approx(b, abs=1.01e-5)


def test_a_long_railway_is_drawn_where_some_part_of_it_is_near() -> None:
    """Its middle and both ends lie outside the box of the drive."""
    rail = tuple(lonlat(x, 500) for x in range(-9_000, 40_001, 500))
    lines = [MapLine(points=rail, is_rail=True), MapLine(points=rail, highway="primary")]
    drawn = base_map(lines, [[lonlat(0, 0), lonlat(1000, 0)]])
    assert len(drawn.lines["rail"]) == 1
    assert drawn.lines["middle"] == []


def test_every_line_of_a_small_town_is_drawn_in_its_class() -> None:
    lines = samples.town_lines()
    drawn = base_map(lines, [p.points for p in samples.care_drive().pieces])
    assert sum(len(found) for found in drawn.lines.values()) == len(lines)
    assert drawn.left_out == 0
    assert len(drawn.lines["rail"]) == sum(line.is_rail for line in lines)
    names = {drawn.names[packed[0]] for packed in drawn.lines["major"]}
    assert "Ridge Highway" in names


def test_the_nearest_and_largest_are_kept_where_not_all_fit() -> None:
    drive = [lonlat(0, 0), lonlat(2000, 0)]

    def road(y: float, highway: str) -> MapLine:
        return MapLine(points=(lonlat(900, y), lonlat(1100, y)), highway=highway, name=f"{highway} {y:.0f}")

    roads = [road(50, "residential"), road(900, "residential"), road(2000, "motorway"), road(600, "service")]
    drawn = base_map(roads, [drive], most_points=4)
    kept = {drawn.names[packed[0]] for found in drawn.lines.values() for packed in found}
    assert kept == {"residential 50", "motorway 2000"}
    assert drawn.left_out == 2


def test_roads_far_away_are_not_drawn() -> None:
    far = MapLine(points=(lonlat(50_000, 0), lonlat(50_100, 0)), highway="motorway")
    assert base_map([far], [[lonlat(0, 0)]]).lines["major"] == []


def test_a_road_beside_the_middle_of_a_long_straight_is_near() -> None:
    drive = [lonlat(0, 0), lonlat(60_000, 0)]
    beside = MapLine(points=(lonlat(30_000, 10), lonlat(30_100, 10)), highway="service", name="beside")
    apart = MapLine(points=(lonlat(100, 2500), lonlat(200, 2500)), highway="service", name="apart")
    drawn = base_map([apart, beside], [drive], most_points=2)
    assert drawn.names == ("", "beside")


def test_nothing_of_nothing() -> None:
    assert base_map([], [[lonlat(0, 0)]]).left_out == 0
    assert base_map(samples.town_lines(), []).names == ("",)
    assert base_map([MapLine(points=(lonlat(0, 0),), highway="primary")], [[lonlat(0, 0)]]).names == ("",)

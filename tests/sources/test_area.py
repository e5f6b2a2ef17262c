"""Areas: what can be meant, their outlines, their tiles."""

from __future__ import annotations

import math

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import Geod

from clearance.core.errors import UsageError
from clearance.sources.area import (
    Band,
    Box,
    NamedArea,
    area_km2,
    outline,
    parse_area,
    quarters,
    simple_outlines,
    tiles,
    widened,
)

GEOD = Geod(ellps="WGS84")


@pytest.mark.parametrize(
    "text", ["-40.1,45,-40,45.1", " -40.1, 45, -40, 45.1 ", "-40.1 45 -40 45.1", "-40.1;45;-40;45.1"]
)
def test_four_numbers_are_a_box(text: str) -> None:
    assert parse_area(text) == Box(-40.1, 45, -40, 45.1)


def test_other_texts_are_names() -> None:
    assert parse_area(" Lower Fenwick, Northshire ") == NamedArea("Lower Fenwick, Northshire")


@pytest.mark.parametrize(
    "text",
    [
        "1,2,3",
        "1,2,3,4,5",
        "3,2,1,4",
        "1,4,2,3",
        "-181,0,0,1",
        "0,-90,1,0",
        "1,1,1,2",
        "nan,0,1,1",
        "",
        ",,,",
    ],
)
def test_what_is_no_area_is_refused(text: str) -> None:
    with pytest.raises(UsageError, match=r"box|names no place"):
        parse_area(text)


@given(st.text(max_size=30))
def test_any_text_is_an_area_or_a_usage_error(text: str) -> None:
    try:
        area = parse_area(text)
    except UsageError:
        return
    assert isinstance(area, Box) or area.name == text.strip()


@pytest.mark.parametrize(
    ("points", "side_m"),
    [
        (((0.0, 0.0),), 1000),
        (((0.0, 0.0), (0.0, 0.0)), 1000),
        (((0.0, 0.0), (1.0, 0.0)), 10),
        (((0.0, 0.0), (1.0, 0.0)), 1e6),
        (((0.0, 0.0), (1.0, 89.0)), 1000),
        (((-179.0, 0.0), (179.0, 0.0)), 1000),
    ],
)
def test_a_band_that_cannot_be_meant_is_refused(
    points: tuple[tuple[float, float], ...], side_m: float
) -> None:
    with pytest.raises(UsageError, match="band"):
        Band(points=points, side_m=side_m)


@settings(max_examples=25)
@given(
    lon=st.floats(-170, 170),
    lat=st.floats(-70, 70),
    azimuth=st.floats(0, 360),
    length_m=st.floats(1_000, 300_000),
    along=st.floats(0, 1),
    side_m=st.floats(500, 20_000),
)
def test_a_band_reaches_so_far_from_the_shortest_line(
    *, lon: float, lat: float, azimuth: float, length_m: float, along: float, side_m: float
) -> None:
    end_lon, end_lat, _ = GEOD.fwd(lon, lat, azimuth, length_m)
    if abs(end_lon - lon) > 180:
        return
    shape = outline(Band(points=((lon, lat), (end_lon, end_lat)), side_m=side_m))
    on_line = GEOD.fwd(lon, lat, azimuth, length_m * along)
    for side in (90, -90):
        # forward azimuth at that point: the back azimuth turned round
        inside = GEOD.fwd(on_line[0], on_line[1], on_line[2] + 180 + side, side_m * 0.97)
        outside = GEOD.fwd(on_line[0], on_line[1], on_line[2] + 180 + side, side_m * 1.02)
        assert shape.contains(shapely.Point(inside[:2]))
        assert not shape.contains(shapely.Point(outside[:2]))


def test_area_of_one_degree_at_the_equator() -> None:
    # 110.574389 km by 111.319491 km at its edges, WGS84 geodesics; the cell is a little less
    assert area_km2([shapely.box(0, 0, 1, 1)]) == pytest.approx(110.574389 * 111.319491, rel=2e-4)


def test_widening_a_point_gives_a_disc() -> None:
    disc = widened(shapely.box(9, 47, 9.000001, 47.000001), 500)
    assert area_km2([disc]) == pytest.approx(math.pi * 0.25, rel=0.01)


@given(
    west=st.floats(-60, 59),
    south=st.floats(-60, 59),
    width=st.floats(0.01, 1),
    height=st.floats(0.01, 1),
    side=st.sampled_from([0.1, 0.25, 0.7]),
)
def test_tiles_fill_the_area_and_nothing_else(
    west: float, south: float, width: float, height: float, side: float
) -> None:
    box = shapely.box(west, south, west + width, south + height)
    parts = list(tiles([box], side))
    assert sum(part.area for part in parts) == pytest.approx(box.area)
    assert shapely.union_all(parts).symmetric_difference(box).area < 1e-9
    assert all(max(p.bounds[2] - p.bounds[0], p.bounds[3] - p.bounds[1]) < side * 1.001 for p in parts)
    cut = quarters(parts[0])
    assert sum(part.area for part in cut) == pytest.approx(parts[0].area)


def test_holes_are_filled_and_a_coastline_is_thinned_outwards() -> None:
    angle = [2 * math.pi * i / 5000 for i in range(5000)]
    coast = [(math.cos(a) * (0.3 + 0.001 * math.sin(400 * a)), math.sin(a) * 0.3) for a in angle]
    shape = shapely.Polygon(coast, [[(0, 0), (0.1, 0), (0.1, 0.1)]])
    (thin,) = simple_outlines(shape)
    assert shapely.get_num_coordinates(thin) <= 1000
    whole = shapely.union_all(list(tiles([thin], 0.25)))
    assert whole.buffer(1e-9).contains(shapely.Polygon(coast))
    assert area_km2([thin]) < 1.03 * area_km2([shapely.Polygon(coast)])


def test_a_box_prints_as_it_is_read() -> None:
    assert str(Box(-40.12345, 45, -40, 45.1)) == "-40.12345,45,-40,45.1"
    assert parse_area(str(Box(-40.12345, 45, -40, 45.1))) == Box(-40.12345, 45, -40, 45.1)

"""Points of arcs, and metres on a plane against geodesics."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import Geod

from clearance.network.geometry import arc_points, plane_scale, steps
from tests.network.moves import arcs_between, network_of
from tests.towns import Town, lonlat

GEOD = Geod(ellps="WGS84")


@given(
    lat=st.floats(-80, 80),
    d_lon=st.floats(-0.02, 0.02),
    d_lat=st.floats(-0.02, 0.02),
    lon=st.floats(-170, 170),
)
def test_plane_metres_near_a_place_are_geodesic(lat: float, lon: float, d_lat: float, d_lon: float) -> None:
    metres = steps(np.array([lon, lon + d_lon]), np.array([lat, lat + d_lat]))
    geodesic = GEOD.inv(lon, lat, lon + d_lon, lat + d_lat)[2]
    assert metres[0] == pytest.approx(geodesic, rel=2e-5, abs=1e-3)


def test_a_degree_on_the_equator() -> None:
    # WGS84: 1 degree of longitude is 111319.49 m there, and of latitude 110574.39 m (pyproj, inverse).
    east, north = plane_scale(0.0)
    assert east == pytest.approx(GEOD.inv(0, 0, 1, 0)[2], rel=1e-9)
    assert north == pytest.approx(GEOD.inv(0, -0.5, 0, 0.5)[2], rel=1e-5)


def _bent() -> Town:
    """100 m east, then 300 m north."""
    return Town().node(1, 0, 0).node(2, 100, 0).node(3, 100, 300).way(11, [1, 2, 3])


@pytest.mark.parametrize(
    ("start", "end", "expected"),
    [
        (0.0, 1.0, [(0, 0), (100, 0), (100, 300)]),
        (0.0, 0.2, [(0, 0), (80, 0)]),
        (0.125, 0.5, [(50, 0), (100, 0), (100, 100)]),
        (0.5, 0.5, [(100, 100), (100, 100)]),
        (1.0, 1.0, [(100, 300), (100, 300)]),
    ],
)
def test_a_part_of_an_arc_by_length(start: float, end: float, expected: list[tuple[float, float]]) -> None:
    network = network_of(_bent())
    (there,), (back,) = arcs_between(network, 1, 3), arcs_between(network, 3, 1)
    wanted = np.array([lonlat(x, y) for x, y in expected])
    lon, lat = arc_points(network, there, start, end)
    np.testing.assert_allclose(np.stack((lon, lat), axis=1), wanted, rtol=0, atol=2e-7)
    lon, lat = arc_points(network, back, 1 - end, 1 - start)
    np.testing.assert_allclose(np.stack((lon, lat), axis=1), wanted[::-1], rtol=0, atol=2e-7)

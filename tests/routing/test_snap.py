"""From places to roads."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from clearance.core.errors import PlaceError
from clearance.network.build import build_network
from clearance.network.geometry import arc_points
from clearance.network.network import Network
from clearance.routing.snap import SegmentIndex, Snap, snap
from tests.network.moves import arcs_between, network_of
from tests.routing.grid_towns import STEP, GridTown, grid_towns
from tests.synthetic import synthetic
from tests.towns import LAT0, LON0, M_PER_LAT, M_PER_LON, Town, lonlat


def _all(network: Network) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    return np.ones(network.arc_tail.size, np.bool_)


def _road() -> Network:
    return network_of(Town().node(1, 0, 0).node(2, 100, 0).node(3, 100, 300).way(11, [1, 2, 3]))


def test_a_place_beside_a_road_is_put_on_it_in_both_directions() -> None:
    network = _road()
    one, other = snap(network, *lonlat(120, 100), _all(network))
    (there,), (back,) = arcs_between(network, 1, 3), arcs_between(network, 3, 1)
    by_arc = {s.arc: s for s in (one, other)}
    assert set(by_arc) == {there, back}
    assert by_arc[there].fraction == pytest.approx(0.5, abs=1e-4)
    assert by_arc[back].fraction == pytest.approx(0.5, abs=1e-4)
    assert one.distance_m == pytest.approx(20, abs=0.02)
    assert (one.lon, one.lat) == pytest.approx(lonlat(100, 100), abs=1e-7)


def test_a_one_way_street_is_met_in_its_direction_alone() -> None:
    town = Town().node(1, 0, 0).node(2, 100, 0).way(11, [1, 2], {"highway": "residential", "oneway": "yes"})
    network = network_of(town)
    (only,) = snap(network, *lonlat(30, 5), _all(network))
    assert only.fraction == pytest.approx(0.3, abs=1e-4)


def test_a_corner_belongs_to_all_roads_that_meet_there() -> None:
    town = Town().node(1, 0, 0).node(2, 100, 0).node(3, 200, 0).node(4, 100, 100)
    network = network_of(town.way(11, [1, 2, 3]).way(12, [2, 4]))
    found = snap(network, *lonlat(100, 0), _all(network))
    assert len(found) == 6
    for one in found:
        tail = network.node_osm[network.arc_tail[one.arc]] == 2
        assert one.fraction == (0.0 if tail else pytest.approx(1.0, abs=1e-9))


def test_roads_that_do_not_count_are_passed_over() -> None:
    town = Town().node(1, 0, 0).node(2, 100, 0).node(3, 0, 50).node(4, 100, 50)
    network = network_of(town.way(11, [1, 2]).way(12, [3, 4]))
    usable = network.arc_way == 1
    found = snap(network, *lonlat(50, 1), usable)
    assert {int(network.ways[int(network.arc_way[s.arc])].id) for s in found} == {12}
    assert found[0].distance_m == pytest.approx(49, abs=0.1)


def test_a_closed_road_is_met_once_and_at_its_joint_from_both_ends() -> None:
    town = Town().node(1, 0, 0).node(2, 100, 0).node(3, 50, 80).way(11, [1, 2, 3, 1])
    network = network_of(town)
    found = snap(network, *lonlat(0, -5), _all(network))
    assert sorted((s.arc, round(s.fraction, 6)) for s in found) == [(0, 0), (0, 1), (1, 0), (1, 1)]
    assert len(snap(network, *lonlat(100, -1), _all(network))) == 2


@pytest.mark.parametrize(
    ("place", "telling"),
    [
        ((100, 900), "about 600 m from the nearest road"),
        ((50, 250), "more than 20 m"),
        ((-50_000, 0), "outside the area of the road file"),
        ((-50_000, 0), "about 50 km from its nearest road"),
    ],
)
def test_a_place_far_from_roads_is_refused_with_its_distance(place: tuple[int, int], telling: str) -> None:
    network = network_of(
        Town()
        .node(1, 0, 0)
        .node(2, 100, 0)
        .node(3, 100, 300)
        .way(11, [1, 2, 3])
        .node(4, 100, 1200)
        .way(12, [3, 4], {"highway": "service"})
    )
    usable = network.arc_way == 0
    limit = 20.0 if "20 m" in telling else 500.0
    with pytest.raises(PlaceError, match=telling) as refusal:
        snap(network, *lonlat(*place), usable, limit)
    lon, lat = lonlat(*place)
    assert f"{lat:.6f},{lon:.6f}" in str(refusal.value)


def test_a_network_without_usable_roads_is_told() -> None:
    network = _road()
    with pytest.raises(PlaceError, match="holds no road"):
        snap(network, *lonlat(0, 0), ~_all(network))
    empty = network_of(Town().node(1, 0, 0).node(2, 1, 1).way(11, [1, 2], {"highway": "footway"}))
    with pytest.raises(PlaceError, match="holds no road"):
        snap(empty, *lonlat(0, 0), _all(empty))


@settings(max_examples=60, deadline=None)
@given(grid_towns(), st.floats(-200, 600), st.floats(-200, 600))
def test_the_nearest_point_is_that_of_shapely(town: GridTown, x: float, y: float) -> None:
    network = build_network(town.town().extract(), ())
    found = snap(network, *lonlat(x, y), _all(network), 5000.0)
    place = shapely.Point(x, y)
    lines = [
        shapely.LineString([(n % town.width * STEP, n // town.width * STEP) for n in street.nodes])
        for street in town.streets
    ]
    assert found[0].distance_m == pytest.approx(min(line.distance(place) for line in lines), abs=0.05)
    for one in found:
        lon, lat = arc_points(network, one.arc, one.fraction, one.fraction)
        assert (lon[0], lat[0]) == pytest.approx((one.lon, one.lat), abs=2e-7)
        nearest = shapely.Point((one.lon - LON0) * M_PER_LON, (one.lat - LAT0) * M_PER_LAT)
        assert nearest.distance(place) == pytest.approx(one.distance_m, abs=0.05)


@settings(max_examples=60, deadline=None)
@given(grid_towns(), st.floats(-900, 1300), st.floats(-900, 1300), st.sampled_from((60.0, 500.0, 2000.0)))
def test_an_index_changes_nothing(town: GridTown, x: float, y: float, limit: float) -> None:
    network = build_network(town.town().extract(), ())
    usable = _all(network)
    usable[::3] = False

    def told(index: SegmentIndex | None) -> list[Snap] | str:
        try:
            return snap(network, *lonlat(x, y), usable, limit, index=index)
        except PlaceError as error:
            return str(error)

    assert told(SegmentIndex(network)) == told(None)


def test_an_index_of_a_network_without_roads_finds_none() -> None:
    empty = network_of(Town().node(1, 0, 0).node(2, 1, 1).way(11, [1, 2], {"highway": "footway"}))
    with pytest.raises(PlaceError, match="holds no road"):
        snap(empty, *lonlat(0, 0), _all(empty), index=SegmentIndex(empty))


@pytest.mark.parametrize("limit", [30.0, 400.0])
def test_the_boxes_of_neighbouring_roads_hide_none(limit: float) -> None:
    """On a network of many boxes: the distance to every usable segment, worked out one by one."""
    network = synthetic()
    assert network.block_box.shape[0] > 40
    random = np.random.default_rng(4)
    usable = random.random(network.arc_tail.size) < 0.5
    first = np.ones(network.geom_lon.size, np.bool_)
    first[network.geom_ptr[1:] - 1] = False
    segments = np.flatnonzero(first)
    pieces = np.searchsorted(network.geom_ptr, segments, side="right") - 1
    segments = segments[np.isin(pieces, network.arc_geom[usable])]
    points = np.stack((network.geom_lon * M_PER_LON, network.geom_lat * M_PER_LAT), axis=1)
    lines = shapely.linestrings(np.stack((points[segments], points[segments + 1]), axis=1))
    met = 0
    for _ in range(60):
        lon = float(random.uniform(network.geom_lon.min(), network.geom_lon.max()))
        lat = float(random.uniform(network.geom_lat.min(), network.geom_lat.max()))
        least = float(shapely.distance(lines, shapely.Point(lon * M_PER_LON, lat * M_PER_LAT)).min())
        if abs(least - limit) < 1.0:
            continue
        if least > limit:
            with pytest.raises(PlaceError, match="nearest road"):
                snap(network, lon, lat, usable, limit)
            continue
        met += 1
        found = snap(network, lon, lat, usable, limit)
        assert found[0].distance_m == pytest.approx(least, rel=2e-3, abs=0.01)
        assert found == snap(network, lon, lat, usable, limit, index=SegmentIndex(network))
    assert met > 20


def test_a_long_segment_is_near_all_along_it() -> None:
    town = Town().node(1, 0, 0).node(2, 9000, 4000).node(3, -10, 0).way(11, [3, 1, 2])
    network = network_of(town)
    index = SegmentIndex(network)
    for part in (0.01, 0.3, 0.5, 0.77, 0.99):
        x, y = 9000 * part, 4000 * part + 90
        assert snap(network, *lonlat(x, y), _all(network), index=index) == snap(
            network, *lonlat(x, y), _all(network)
        )

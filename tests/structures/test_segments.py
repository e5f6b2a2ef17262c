"""Crossings of segments, checked against shapely's exact predicates on random ways."""

from __future__ import annotations

import numpy as np
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from clearance.core.extract import Extract, Way
from clearance.structures.segments import cross, segments_of
from tests.towns import Town


def _crossing_ways(extract: Extract) -> set[tuple[int, int]]:
    ways = extract.ways
    segments = segments_of(extract, ways)
    found = cross(segments, np.ones(len(segments.way), dtype=np.bool_))
    first, second = segments.way[found.first], segments.way[found.second]
    return {
        (min(a, b), max(a, b))
        for a, b in zip(
            (ways[i].id for i in first.tolist()), (ways[i].id for i in second.tolist()), strict=True
        )
    }


def test_no_ways_no_crossings() -> None:
    empty = Town().extract()
    segments = segments_of(empty, ())
    assert len(segments.way) == 0
    assert len(cross(segments, np.empty(0, dtype=np.bool_)).first) == 0


def test_a_shared_node_is_no_crossing_and_a_node_on_top_is() -> None:
    town = Town().node(1, 0, 0).node(2, 100, 0).node(3, 50, -50).node(4, 50, 0).node(5, 50, 50)
    shared = town.way(10, [1, 4, 2]).way(11, [3, 4, 5]).extract()
    assert _crossing_ways(shared) == set()
    town = Town().node(1, 0, 0).node(2, 100, 0).node(3, 50, -50).node(4, 50, 0).node(5, 50, 50)
    apart = town.way(10, [1, 2]).way(11, [3, 4, 5]).extract()
    assert _crossing_ways(apart) == {(10, 11)}


def test_the_place_of_a_crossing_is_on_both_ways() -> None:
    town = Town().node(1, 0, 0).node(2, 100, 0).node(3, 25, -30).node(4, 25, 10)
    extract = town.way(10, [1, 2]).way(11, [3, 4]).extract()
    segments = segments_of(extract, extract.ways)
    found = cross(segments, np.ones(2, dtype=np.bool_))
    assert found.t.tolist() == [0.25] or abs(found.t[0] - 0.25) < 1e-3
    assert abs(found.u[0] - 0.75) < 1e-3


def test_running_along_the_same_line_is_no_crossing() -> None:
    town = Town().node(1, 0, 0).node(2, 100, 0).node(3, 20, 0).node(4, 80, 0)
    assert _crossing_ways(town.way(10, [1, 2]).way(11, [3, 4]).extract()) == set()


coordinate = st.integers(0, 40)


@settings(max_examples=150, deadline=None)
@given(st.lists(st.tuples(coordinate, coordinate, coordinate, coordinate), min_size=2, max_size=12))
def test_equal_to_shapely_on_random_segments(ends: list[tuple[int, int, int, int]]) -> None:
    """Reference: shapely `intersects`, with segments on one line left out, as by our definition."""
    ends = [e for e in ends if e[:2] != e[2:]]
    lon = np.array([v for e in ends for v in (e[0], e[2])], dtype=np.float64) * 1e-7
    lat = np.array([v for e in ends for v in (e[1], e[3])], dtype=np.float64) * 1e-7
    base = Town().extract()
    ways = tuple(Way(i, (2 * i, 2 * i + 1), {}) for i in range(len(ends)))
    extract = Extract(
        info=base.info, node_ids=np.arange(2 * len(ends), dtype=np.int64), lon=lon, lat=lat, ways=ways
    )
    lines = [shapely.LineString([e[:2], e[2:]]) for e in ends]
    expected = {
        (i, j)
        for i in range(len(lines))
        for j in range(i + 1, len(lines))
        if lines[i].intersects(lines[j]) and not _on_one_line(ends[i], ends[j])
    }
    assert _crossing_ways(extract) == expected


def _on_one_line(a: tuple[int, int, int, int], b: tuple[int, int, int, int]) -> bool:
    def side(x: int, y: int) -> int:
        return (a[2] - a[0]) * (y - a[1]) - (a[3] - a[1]) * (x - a[0])

    return side(b[0], b[1]) == 0 and side(b[2], b[3]) == 0

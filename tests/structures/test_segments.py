"""Crossings of segments, checked against shapely's exact predicates on random and on real ways.

Reference: shapely's `intersects` (GEOS decides orientation exactly), with pairs that share a node and
pairs on one line left out, as by our definition.
"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from clearance.core.access import is_road
from clearance.core.extract import Extract
from clearance.structures.kinds import line_kind
from clearance.structures.segments import Crossings, Segments, cross, segments_of
from tests.towns import Town

DATA = Path(__file__).resolve().parents[3] / "shared" / "data"
I64 = npt.NDArray[np.int64]
Bool = npt.NDArray[np.bool_]
Ends = tuple[int, int, int, int]


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


def _segments(ends: I64, nodes: I64 | None = None) -> Segments:
    """Segments from rows of ax, ay, bx, by in 1e-7 degrees; no two with a common node but as told."""
    count = len(ends)
    names = np.arange(2 * count).reshape(-1, 2) if nodes is None else nodes
    return Segments(
        way=np.arange(count, dtype=np.int32),
        position=np.zeros(count, dtype=np.int32),
        node_a=names[:, 0],
        node_b=names[:, 1],
        ax=ends[:, 0].astype(np.int32),
        ay=ends[:, 1].astype(np.int32),
        bx=ends[:, 2].astype(np.int32),
        by=ends[:, 3].astype(np.int32),
    )


def _pairs(found: Crossings) -> list[tuple[int, int]]:
    return list(zip(found.first.tolist(), found.second.tolist(), strict=True))


def _reference(s: Segments, chosen: Bool) -> list[tuple[int, int]]:
    ends = np.stack((s.ax, s.ay, s.bx, s.by), axis=1)
    lines = shapely.linestrings(ends.reshape(-1, 2, 2).astype(np.float64))
    first, second = shapely.STRtree(lines).query(lines, predicate="intersects")
    whole = [tuple(row) for row in ends.tolist()]
    names = [{a, b} for a, b in zip(s.node_a.tolist(), s.node_b.tolist(), strict=True)]
    return sorted(
        (i, j)
        for i, j in zip(first.tolist(), second.tolist(), strict=True)
        if i < j
        and (chosen[i] or chosen[j])
        and names[i].isdisjoint(names[j])
        and not _on_one_line(whole[i], whole[j])
        and not _on_one_line(whole[j], whole[i])
    )


def _side(line: Ends, x: int, y: int) -> int:
    """Twice the signed area of a line and a point, in Python's whole numbers."""
    ax, ay, bx, by = line
    return (bx - ax) * (y - ay) - (by - ay) * (x - ax)


def _on_one_line(a: Ends, b: Ends) -> bool:
    """Whether both ends of b are on the line through a; true too where a has no length."""
    return _side(a, b[0], b[1]) == 0 == _side(a, b[2], b[3])


def _same(s: Segments, chosen: Bool | None = None) -> list[tuple[int, int]]:
    """The pairs found, once they are known to be those of the reference, and their places to be exact."""
    picked = np.ones(len(s.way), dtype=np.bool_) if chosen is None else chosen
    found = cross(s, picked)
    pairs = _pairs(found)
    assert pairs == _reference(s, picked)
    ends: list[Ends] = list(zip(*(v.tolist() for v in (s.ax, s.ay, s.bx, s.by)), strict=True))
    for (i, j), t, u in zip(pairs, found.t.tolist(), found.u.tolist(), strict=True):
        for line, other, fraction in ((ends[j], ends[i], t), (ends[i], ends[j], u)):
            a, b = _side(line, *other[:2]), _side(line, *other[2:])
            assert fraction == pytest.approx(float(Fraction(a, a - b)), rel=1e-14, abs=1e-15)
    return pairs


def _rows(size: int) -> st.SearchStrategy[list[Ends]]:
    value = st.integers(-size, size)
    return st.lists(st.tuples(value, value, value, value), min_size=2, max_size=14)


@settings(max_examples=150, deadline=None)
@given(rows=_rows(20), picks=st.lists(st.booleans(), min_size=14, max_size=14))
def test_equal_to_shapely_on_a_small_lattice(rows: list[Ends], picks: list[bool]) -> None:
    """Touching, running along one another, no length and the same segment twice are common here."""
    _same(_segments(np.array(rows)), np.array(picks[: len(rows)]))


@settings(max_examples=100, deadline=None)
@given(parts=st.lists(st.one_of(*(_rows(10**k) for k in range(1, 9))), min_size=1, max_size=4))
def test_equal_to_shapely_whatever_the_lengths(parts: list[list[Ends]]) -> None:
    """From a few units (centimetres) to 20 degrees in one set."""
    _same(_segments(np.array([row for part in parts for row in part])))


@settings(max_examples=100, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.integers(-1_800_000_000, 1_800_000_000),
            st.integers(-900_000_000, 900_000_000),
            st.integers(-1_800_000_000, 1_800_000_000),
            st.integers(-900_000_000, 900_000_000),
        ),
        min_size=2,
        max_size=10,
    )
)
def test_equal_to_shapely_around_the_earth(rows: list[Ends]) -> None:
    """Areas here are beyond 64 bits; the reference of each place is in Python's whole numbers."""
    _same(_segments(np.array(rows)))


@pytest.mark.parametrize("scale", [1, 100])
def test_a_hair_beside_a_long_segment_is_no_crossing(scale: int) -> None:
    """Points as near as whole numbers allow to a line of 3 by 1 degrees, and of 300 by 100 degrees.

    The area is 1 where products are 10 ** 18: more than doubles hold apart.
    """
    high = 10_000_000 * scale + 1
    wide = 3 * high + 1
    x = -pow(high, -1, wide) % wide
    y = (1 + high * x) // wide
    west, south = -wide // 2, -high // 2
    line = (west, south, west + wide, south + high)
    above, below = (west + x, south + y), (west + wide - x, south + high - y)
    assert (_side(line, *above), _side(line, *below)) == (1, -1)
    for (px, py), up in ((above, 1), (below, -1)):
        assert _same(_segments(np.array([line, (px, py, px, py + 9 * up)]))) == []
        assert _same(_segments(np.array([line, (px, py, px, py - 9 * up)]))) == [(0, 1)]


def test_around_the_earth_and_across_it() -> None:
    east, north = 1_800_000_000, 900_000_000
    corners = [(-east, -north, east, north), (-east, north, east, -north), (-7, 1, 7, 1), (1, 5, 1, 9)]
    found = cross(_segments(np.array(corners)), np.ones(4, dtype=np.bool_))
    assert _pairs(found) == [(0, 1), (0, 2), (1, 2)]
    assert found.t[0] == found.u[0] == 0.5


def test_places_off_the_earth_are_refused() -> None:
    for far in ([(0, 0, 1_800_000_001, 5)], [(0, -900_000_001, 3, 5)]):
        with pytest.raises(ValueError, match="180 degrees"):
            cross(_segments(np.array(far)), np.ones(1, dtype=np.bool_))


def test_only_pairs_with_a_chosen_segment_count() -> None:
    s = _segments(np.array([(0, 5, 9, 5), (2, 0, 2, 9), (4, 0, 4, 9), (0, 7, 9, 7)]))
    for chosen, expected in (
        ([True, False, False, False], [(0, 1), (0, 2)]),
        ([False, True, False, False], [(0, 1), (1, 3)]),
        ([False, False, False, False], []),
    ):
        assert _same(s, np.array(chosen)) == expected


def test_the_same_segments_twice_under_other_names_do_not_meet_themselves() -> None:
    rows = [(0, 0, 10, 10), (0, 10, 10, 0)]
    assert _same(_segments(np.array(rows * 2))) == [(0, 1), (0, 3), (1, 2), (2, 3)]


def test_segments_without_length_alone() -> None:
    assert _same(_segments(np.array([(3, 3, 3, 3)] * 5))) == []


@pytest.mark.parametrize("spread", [1_000, 100_000])
def test_equal_to_shapely_on_many_of_very_different_length(spread: int) -> None:
    """Crowded and sparse; a few segments a thousand times as long as the others run through them all."""
    draw = np.random.default_rng(20)
    short = draw.integers(0, spread, (4_000, 2))
    short = np.concatenate((short, short + draw.integers(-30, 31, short.shape)), axis=1)
    long = draw.integers(-20 * spread, 20 * spread, (60, 4))
    nodes = draw.integers(0, 4_000, (4_060, 2))
    assert len(_same(_segments(np.concatenate((short, long)), nodes), draw.random(4_060) < 0.6)) > 100


@pytest.mark.parametrize("name", ["liechtenstein.osm.pbf", "leeds.osm", "bangor-maine.osm.pbf"])
def test_equal_to_shapely_on_real_extracts(name: str) -> None:
    """Data © OpenStreetMap contributors, ODbL 1.0."""
    if not (DATA / name).exists():
        pytest.skip("../shared/data is not here")
    from clearance.sources.osm_file import read_osm

    extract = read_osm(DATA / name)
    ways = [w for w in extract.ways if is_road(w.tags) or line_kind(w.tags) is not None]
    segments = segments_of(extract, ways)
    roads = np.array([is_road(w.tags) for w in ways])[segments.way]
    assert len(_same(segments, roads)) >= 10

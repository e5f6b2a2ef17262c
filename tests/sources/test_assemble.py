"""From plain elements to an extract: order, repetition, edges, buildings."""

from __future__ import annotations

import random
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from clearance.core.extract import Extract, ExtractInfo, Member, Relation, Way
from clearance.sources.assemble import Elements, assemble, boxes_met, merged, select

INFO = ExtractInfo(source="invented", data_date="2026-01-01T00:00:00Z")
ROAD = {"highway": "residential"}
HOUSE = {"building": "house"}


def elements(
    nodes: dict[int, tuple[int, int]], ways: list[Way], relations: list[Relation] | None = None
) -> Elements:
    """Nodes as whole 1e-7 degrees."""
    return Elements(
        node_ids=np.array(list(nodes), dtype=np.int64),
        x=np.array([x for x, _ in nodes.values()], dtype=np.int32),
        y=np.array([y for _, y in nodes.values()], dtype=np.int32),
        ways=ways,
        relations=relations or [],
    )


def ways_of(*args: object) -> list[int]:
    return [way.id for way in assemble(elements(*args), INFO).ways]  # type: ignore[arg-type]


def square(first: int, x: int, y: int, side: int = 100) -> dict[int, tuple[int, int]]:
    return {
        first: (x, y),
        first + 1: (x + side, y),
        first + 2: (x + side, y + side),
        first + 3: (x, y + side),
    }


def ring(ref: int, first: int, tags: dict[str, str]) -> Way:
    return Way(ref, (first, first + 1, first + 2, first + 3, first), tags)


def test_nothing_gives_nothing() -> None:
    extract = assemble(elements({}, []), INFO)
    assert (len(extract.node_ids), extract.ways, extract.relations) == (0, (), ())
    assert merged([]).ways == []


def test_everything_is_sorted_and_only_used_nodes_stay() -> None:
    nodes = {9: (90, 0), 3: (30, 5), 7: (70, 0), 1: (-10, 0)}
    extract = assemble(elements(nodes, [Way(8, (9, 3), ROAD), Way(2, (3, 1), ROAD)]), INFO)
    assert extract.node_ids.tolist() == [1, 3, 9]
    assert extract.lon.tolist() == [-0.000001, 0.000003, 0.000009]
    assert extract.lat.tolist() == [0, 0.0000005, 0]
    assert [way.id for way in extract.ways] == [2, 8]
    assert extract.info == INFO


def test_what_repeats_counts_as_it_stands_last() -> None:
    twice = merged(
        [
            elements({1: (0, 0), 2: (5, 0)}, [Way(1, (1, 2), ROAD)]),
            elements({2: (7, 0), 3: (9, 0)}, [Way(1, (1, 3), ROAD)]),
        ]
    )
    extract = assemble(twice, INFO)
    assert extract.ways == (Way(1, (1, 3), ROAD),)
    assert extract.lon.tolist() == [0, 0.0000009]


@pytest.mark.parametrize(
    "place", [(1_800_000_001, 0), (0, 900_000_001), (2**31 - 1, 2**31 - 1), (-(2**31), 0)]
)
def test_a_node_beyond_the_globe_has_no_place(place: tuple[int, int]) -> None:
    extract = assemble(elements({1: (0, 0), 2: (5, 0), 3: place}, [Way(1, (1, 2, 3), ROAD)]), INFO)
    assert extract.ways[0].nodes == (1, 2)


@pytest.mark.parametrize(
    ("refs", "kept"),
    [
        ((1, 2, 99, 3), (1, 2)),
        ((99, 1, 2, 3), (1, 2, 3)),
        ((1, 99, 2, 3, 98, 4), (2, 3)),
        ((1, 2, 99, 3, 4), (1, 2)),
        ((1, 2, 99, 3, 4, 1), (3, 4, 1)),
    ],
)
def test_a_way_cut_by_the_edge_keeps_its_longest_run(refs: tuple[int, ...], kept: tuple[int, ...]) -> None:
    nodes = {1: (0, 0), 2: (5, 0), 3: (9, 0), 4: (20, 0)}
    extract = assemble(elements(nodes, [Way(7, refs, ROAD), Way(8, (1, 2, 3, 4), ROAD)]), INFO)
    assert extract.ways[0].nodes == kept
    (warning,) = extract.info.warnings
    assert "way/7" in warning
    assert "way/8" not in warning


@pytest.mark.parametrize("refs", [(1, 99, 98), (99, 98), (1,), ()])
def test_a_way_without_two_placed_nodes_is_left_out_and_named(refs: tuple[int, ...]) -> None:
    extract = assemble(elements({1: (0, 0)}, [Way(7, refs, ROAD)]), INFO)
    assert extract.ways == ()
    assert "way/7" in extract.info.warnings[0]


@pytest.mark.parametrize(
    ("road", "kept"),
    [
        ([(-50, 50), (150, 50)], True),  # straight through
        ([(40, 40), (60, 60)], True),  # wholly inside
        ([(100, 300), (100, 100)], True),  # touches a corner
        ([(-50, 101), (150, 101)], False),  # passes by
        ([(-200, 150), (150, 500)], False),  # its own box holds the house, the road does not meet it
        ([(70, -20), (110, 20)], True),  # cuts a corner of the box
    ],
)
@pytest.mark.parametrize("as_relation", [False, True])
def test_a_house_stays_only_where_a_road_meets_its_box(
    road: list[tuple[int, int]],
    kept: bool,
    as_relation: bool,
) -> None:
    nodes = square(1, 0, 0) | {11: road[0], 12: road[1]}
    ways = [ring(20, 1, {} if as_relation else HOUSE), Way(30, (11, 12), {"highway": "path"})]
    relations = (
        [Relation(5, (Member("w", 20, "outer"),), {"type": "multipolygon"} | HOUSE)] if as_relation else []
    )
    extract = assemble(elements(nodes, ways, relations), INFO)
    assert [way.id for way in extract.ways] == ([20, 30] if kept else [30])
    assert [r.id for r in extract.relations] == ([5] if as_relation and kept else [])
    assert (1 in extract.node_ids) is kept


def test_a_named_house_and_a_facility_stay_anywhere() -> None:
    nodes = square(1, 0, 0) | square(5, 500, 0) | square(9, 900, 0)
    ways = [ring(1, 1, HOUSE | {"name": "Hall"}), ring(2, 5, HOUSE | {"amenity": "fuel"}), ring(3, 9, HOUSE)]
    assert ways_of(nodes, ways) == [1, 2]


def test_the_box_of_a_multipolygon_is_round_all_its_rings() -> None:
    nodes = square(1, 0, 0) | square(5, 500, 0) | {11: (300, -50), 12: (300, 150)}
    ways = [ring(1, 1, {}), ring(2, 5, {}), Way(3, (11, 12), ROAD)]
    both = Relation(5, (Member("w", 1, "outer"), Member("w", 2, "outer")), {"type": "multipolygon"} | HOUSE)
    assert ways_of(nodes, ways, [both]) == [1, 2, 3]


def test_members_that_are_not_there_do_no_harm() -> None:
    far = Relation(
        5,
        (Member("w", 99, "outer"), Member("n", 1, ""), Member("r", 5, "")),
        {"type": "multipolygon"} | HOUSE,
    )
    assert ways_of({1: (0, 0), 2: (9, 0)}, [Way(3, (1, 2), ROAD)], [far]) == [3]


def _same(one: Extract, other: Extract) -> bool:
    return (
        one.node_ids.tolist() == other.node_ids.tolist()
        and one.lon.tolist() == other.lon.tolist()
        and one.lat.tolist() == other.lat.tolist()
        and replace(one, node_ids=other.node_ids, lon=other.lon, lat=other.lat) == other
    )


SPOT = st.tuples(st.integers(0, 60), st.integers(0, 60))
TAGS = st.sampled_from([ROAD, HOUSE, {}, {"railway": "rail"}, HOUSE | {"name": "Hall"}])
WAYS = st.lists(st.tuples(TAGS, st.lists(st.integers(1, 14), max_size=5)), max_size=8)


@given(
    spots=st.dictionaries(st.integers(1, 12), SPOT, max_size=12),
    ways=WAYS,
    rings=st.lists(st.integers(0, 9), max_size=3),
    seed=st.integers(0, 99),
)
def test_order_and_selecting_twice_change_nothing(
    spots: dict[int, tuple[int, int]],
    ways: list[tuple[dict[str, str], list[int]]],
    rings: list[int],
    seed: int,
) -> None:
    made = [Way(i, tuple(nodes), tags) for i, (tags, nodes) in enumerate(ways)]
    relation = Relation(1, tuple(Member("w", r, "outer") for r in rings), {"type": "multipolygon"} | HOUSE)
    plain = elements(spots, made, [relation])
    expected = assemble(plain, INFO)
    mixer = random.Random(seed)
    mixed = dict(mixer.sample(sorted(spots.items()), len(spots)))
    assert _same(assemble(elements(mixed, mixer.sample(made, len(made)), [relation]), INFO), expected)
    assert _same(assemble(select(plain), INFO), expected)
    assert _same(assemble(merged([plain, plain]), INFO), expected)
    for way in expected.ways:
        assert len(way.nodes) > 1
        assert set(way.nodes) <= set(expected.node_ids.tolist())


@pytest.mark.parametrize("part", [1, 3, 1000])
def test_boxes_that_a_road_meets(monkeypatch: pytest.MonkeyPatch, part: int) -> None:
    """Against the plain rule for a level or upright road: the box and the road overlap in both directions."""
    monkeypatch.setattr("clearance.sources.assemble._PART", part)
    draw = np.random.default_rng(4)
    low = draw.integers(0, 1000, (60, 2))
    boxes = np.concatenate((low, low + draw.integers(0, 80, low.shape)), axis=1).astype(np.int32)
    begin = draw.integers(0, 1000, (25, 2))
    end = begin + np.where(draw.random((25, 1)) < 0.5, [[200, 0]], [[0, 200]])
    road = np.arange(25) % 5 > 0
    meets = (boxes[:, None, :2] <= end[None, road]) & (boxes[:, None, 2:] >= begin[None, road])
    expected = np.logical_and(meets[:, :, 0], meets[:, :, 1]).any(axis=1)
    assert 5 < expected.sum() < 55
    pieces = np.stack((begin, end), axis=1).astype(np.int32)
    assert np.array_equal(boxes_met(boxes, pieces[road]), expected)

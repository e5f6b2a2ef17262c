"""Parts that hang together and the zones beside them."""

from __future__ import annotations

import networkx as nx
import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from clearance.network.areas import components, find_areas
from clearance.network.network import ACCESS_CLOSED as CLOSED
from clearance.network.network import ACCESS_ENDS as ENDS
from clearance.network.network import ACCESS_OPEN as OPEN

pairs = st.lists(st.tuples(st.integers(0, 19), st.integers(0, 19)), max_size=40)


@given(pairs)
def test_components_equal_those_of_networkx(edges: list[tuple[int, int]]) -> None:
    graph: nx.Graph[int] = nx.Graph()
    graph.add_nodes_from(range(20))
    graph.add_edges_from(edges)
    expected = {min(part): part for part in nx.connected_components(graph)}
    label = components(
        20, np.array([a for a, _ in edges], dtype=np.int32), np.array([b for _, b in edges], dtype=np.int32)
    )
    assert {root: set(np.flatnonzero(label == root).tolist()) for root in set(label.tolist())} == expected


def _areas(
    arcs: list[tuple[int, int, int]], nodes: list[int]
) -> tuple[list[int], list[int], set[tuple[int, int]]]:
    areas = find_areas(
        np.array([a for a, _, _ in arcs], dtype=np.int32),
        np.array([b for _, b, _ in arcs], dtype=np.int32),
        np.array([c for _, _, c in arcs], dtype=np.uint8),
        np.array(nodes, dtype=np.uint8),
    )
    return areas.arc.tolist(), areas.node.tolist(), {(int(a), int(b)) for a, b in areas.links}


def test_an_open_network_is_one_area() -> None:
    assert _areas([(0, 1, OPEN), (1, 2, OPEN)], [OPEN] * 3) == ([0, 0], [-1] * 3, set())


def test_a_zone_between_two_parts_touches_both_and_the_larger_part_comes_first() -> None:
    arcs = [(0, 1, OPEN), (1, 2, ENDS), (2, 3, ENDS), (3, 4, OPEN), (4, 5, OPEN)]
    assert _areas(arcs, [OPEN] * 6) == ([1, 2, 2, 0, 0], [-1] * 6, {(2, 0), (2, 1)})


def test_a_gate_parts_what_lies_on_its_sides_and_is_a_zone_of_its_own() -> None:
    arcs = [(0, 1, OPEN), (1, 2, OPEN), (2, 3, OPEN)]
    assert _areas(arcs, [OPEN, ENDS, OPEN, OPEN]) == ([1, 0, 0], [-1, 2, -1, -1], {(2, 0), (2, 1)})


def test_a_gate_joins_the_ends_only_roads_at_its_sides() -> None:
    arcs = [(0, 1, OPEN), (1, 2, ENDS), (2, 3, ENDS)]
    assert _areas(arcs, [OPEN, OPEN, ENDS, OPEN]) == ([0, 1, 1], [-1, -1, 1, -1], {(1, 0)})


def test_closed_nodes_part_everything_and_belong_to_nothing() -> None:
    arcs = [(0, 1, ENDS), (1, 2, ENDS), (2, 3, CLOSED)]
    assert _areas(arcs, [OPEN, CLOSED, OPEN, OPEN]) == ([0, 1, -1], [-1] * 4, set())


def test_nothing_at_all() -> None:
    assert _areas([], []) == ([], [], set())

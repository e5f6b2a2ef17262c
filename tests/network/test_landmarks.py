"""Landmark times against scipy, and what bounds they give."""

from __future__ import annotations

import networkx as nx
import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components, dijkstra

from clearance.network.landmark_kernels import strong_parts
from clearance.network.landmarks import FEWEST_NODES, LONGEST_MS, NO_WAY, landmark_times
from tests.network.moves import network_of
from tests.towns import Town

Ends = npt.NDArray[np.int32]
Seconds = npt.NDArray[np.float64]


def _sorted(arcs: dict[tuple[int, int], float]) -> tuple[Ends, Ends, Seconds]:
    keys = sorted(arcs)
    return (
        np.array([a for a, _ in keys], dtype=np.int32),
        np.array([b for _, b in keys], dtype=np.int32),
        np.array([arcs[key] for key in keys], dtype=np.float64),
    )


def _all_pairs(arcs: dict[tuple[int, int], float], nodes: int) -> Seconds:
    # networkx, as scipy takes an arc that takes no time for none.
    graph: nx.DiGraph[int] = nx.DiGraph()
    graph.add_nodes_from(range(nodes))
    graph.add_weighted_edges_from((a, b, w) for (a, b), w in arcs.items())
    found = np.full((nodes, nodes), np.inf)
    for source, reached in nx.all_pairs_dijkstra_path_length(graph):
        for target, seconds in reached.items():
            found[source, target] = seconds
    return found


graphs = st.integers(1, 9).flatmap(
    lambda n: st.tuples(
        st.just(n),
        st.dictionaries(
            st.tuples(st.integers(0, n - 1), st.integers(0, n - 1)),
            st.one_of(st.just(0.0), st.just(0.001), st.floats(0, 900)),
            min_size=1,
            max_size=30,
        ),
    )
)


@settings(deadline=None)
@given(graphs, st.integers(1, 4))
def test_no_bound_is_higher_than_what_it_takes(
    drawn: tuple[int, dict[tuple[int, int], float]], landmarks: int
) -> None:
    nodes, arcs = drawn
    times = landmark_times(*_sorted(arcs), nodes, landmarks=landmarks, fewest=0).astype(np.int64)
    assert times.shape == (nodes, 2 * landmarks)
    seconds = _all_pairs(arcs, nodes)
    there, back = times[:, :landmarks], times[:, landmarks:]
    for v in range(nodes):
        for t in range(nodes):
            bound = int(max((there[t] - there[v]).max(), (back[v] - back[t]).max()))
            if bound > LONGEST_MS:
                assert seconds[v, t] == np.inf
            else:
                assert bound / 1000 <= seconds[v, t]


@settings(deadline=None)
@given(graphs)
def test_bounds_keep_to_the_arcs(drawn: tuple[int, dict[tuple[int, int], float]]) -> None:
    """No time differs over an arc by more than the arc takes, so that a search never turns back."""
    nodes, arcs = drawn
    times = landmark_times(*_sorted(arcs), nodes, landmarks=3, fewest=0).astype(np.int64)
    there, back = times[:, :3], times[:, 3:]
    for (a, b), seconds in arcs.items():
        assert ((there[b] - there[a]) <= seconds * 1000).all() or (there[a] == NO_WAY).any()
        assert ((back[a] - back[b]) <= seconds * 1000).all() or (back[b] == NO_WAY).any()


@settings(deadline=None)
@given(graphs)
def test_strong_parts_equal_scipy(drawn: tuple[int, dict[tuple[int, int], float]]) -> None:
    nodes, arcs = drawn
    tail, head, _ = _sorted(arcs)
    pointers = np.searchsorted(tail, np.arange(nodes + 1)).astype(np.int64)
    found = strong_parts(pointers, head)
    matrix = coo_array((np.ones(tail.size), (tail, head)), shape=(nodes, nodes)).tocsr()
    _, expected = connected_components(matrix, directed=True, connection="strong")
    assert all(
        (found[a] == found[b]) == (expected[a] == expected[b]) for a in range(nodes) for b in range(nodes)
    )


def _random(nodes: int, seed: int) -> tuple[Ends, Ends, Seconds]:
    random = np.random.default_rng(seed)
    pairs = np.unique(random.integers(0, nodes, (3 * nodes, 2)), axis=0)
    return pairs[:, 0].astype(np.int32), pairs[:, 1].astype(np.int32), random.uniform(0.5, 90, len(pairs))


def test_the_times_are_those_of_scipy() -> None:
    nodes = 400
    tail, head, seconds = _random(nodes, 3)
    times = landmark_times(tail, head, seconds, nodes, landmarks=4, fewest=0)
    matrix = coo_array((seconds, (tail, head)), shape=(nodes, nodes)).tocsr()
    for i in range(4):
        # One in each part: most of the nodes hang together, a few that no arc touches are by themselves.
        marks = np.flatnonzero((times[:, i] == 0) & (times[:, 4 + i] == 0))
        for column, graph in ((i, matrix), (4 + i, matrix.T.tocsr())):
            exact = dijkstra(graph, indices=marks, min_only=True)
            told = np.where(times[:, column] == NO_WAY, np.inf, times[:, column] / 1000)
            # Every arc is rounded down by less than a millisecond, and no way has more arcs than nodes.
            assert (told <= exact).all()
            assert (exact[np.isfinite(exact)] - told[np.isfinite(exact)] < 0.001 * nodes).all()


def test_the_same_arcs_give_the_same_times() -> None:
    arcs = _random(300, 5)
    one, other = (landmark_times(*arcs, 300, fewest=0) for _ in range(2))
    assert np.array_equal(one, other)


def test_each_part_has_landmarks_of_its_own_where_most_of_it_can_be_come_to_and_left() -> None:
    # A ring of 0, 1, 2 with a way in (3) and a way out (4); a ring of 5, 6; and 7 alone.
    ring = {(0, 1): 5.0, (1, 2): 5.0, (2, 0): 5.0, (3, 0): 100.0, (2, 4): 100.0, (5, 6): 7.0, (6, 5): 7.0}
    times = landmark_times(*_sorted(ring), 8, landmarks=2, fewest=0)
    marks = {
        int(node) for i in (0, 1) for node in np.flatnonzero((times[:, i] == 0) & (times[:, 2 + i] == 0))
    }
    assert marks - {7} <= {0, 1, 2, 5, 6}
    assert marks & {0, 1, 2}
    assert marks & {5, 6}
    assert (times[4, :2] < NO_WAY).all()
    assert (times[4, 2:] == NO_WAY).all()
    assert (times[3, :2] == NO_WAY).all()
    assert (times[3, 2:] < NO_WAY).all()
    assert (times[[5, 6]] < NO_WAY).all()


def test_small_networks_and_endless_ones_have_none() -> None:
    tail, head = np.array([0, 1], np.int32), np.array([1, 0], np.int32)
    assert landmark_times(tail, head, np.array([1.0, 2.0]), 2).shape == (2, 0)
    assert landmark_times(tail, head, np.array([1.0, 2.0]), 2, fewest=2).shape == (2, 16)
    # Nine days and more: a difference of two times could be taken for "no way".
    assert landmark_times(tail, head, np.array([1.0, 1.1e6]), 2, fewest=2).shape == (2, 0)
    nothing = np.zeros(0, np.int32)
    assert landmark_times(nothing, nothing, np.zeros(0), FEWEST_NODES).shape == (FEWEST_NODES, 0)


@pytest.mark.parametrize("length", [1, 60])
def test_a_town_is_too_small_for_landmarks(length: int) -> None:
    town = Town()
    for node in range(length + 1):
        town.node(node + 1, 10 * node, 0)
    network = network_of(town.way(11, list(range(1, length + 2))))
    assert network.landmark_ms.shape == (network.node_osm.size, 0)

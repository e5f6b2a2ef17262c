"""The searches against a textbook figure, scipy and networkx."""

from __future__ import annotations

from collections.abc import Iterable

import networkx as nx
import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import coo_array
from scipy.sparse.csgraph import breadth_first_order, dijkstra, minimum_spanning_tree

from clearance.network.network import NO_LIMIT
from clearance.routing.kernels import UNREACHED, shortest, widest

# Cormen, Leiserson, Rivest, Stein, Introduction to Algorithms, third edition, figure 24.6: the run of
# Dijkstra's algorithm from s. Edges from memory; the distances follow from them.
CLRS_EDGES = (
    *(("s", "t", 10), ("s", "y", 5), ("t", "x", 1), ("t", "y", 2), ("y", "t", 3)),
    *(("y", "x", 9), ("y", "z", 2), ("x", "z", 4), ("z", "x", 6), ("z", "s", 7)),
)
CLRS_DISTANCES = {"s": 0, "y": 5, "z": 7, "t": 8, "x": 9}
#: Widest paths from s on the same edges, worked by hand: to x the best is s-y-x (5), to z s-t-x-z would be 1,
#: s-y-x-z is 4.
CLRS_WIDTHS = {"t": 10, "y": 5, "x": 5, "z": 4}


class Graph:
    """A plain graph as states and turns: states stand for vertices, costs lie on the turns."""

    def __init__(self, edges: Iterable[tuple[int, int, float]], count: int) -> None:
        edges = sorted(edges)
        self.count = count
        self.origin = np.array([a for a, _, _ in edges], dtype=np.int32)
        self.to = np.array([b for _, b, _ in edges], dtype=np.int32)
        self.weight = np.array([w for _, _, w in edges], dtype=np.float32)
        self.ptr = np.searchsorted(self.origin, np.arange(count + 1)).astype(np.int64)

    def distances(
        self, source: int, targets: Iterable[int] = ()
    ) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.int32], int]:
        wanted = np.array(list(targets), dtype=np.int32)
        return shortest(
            self.ptr,
            self.to,
            cost=np.zeros(self.count),
            turn_extra=self.weight,
            sources=np.array([source], dtype=np.int32),
            source_labels=np.zeros(1),
            targets=wanted,
            target_extra=np.zeros(wanted.size),
        )

    def widths(self, source: int) -> npt.NDArray[np.int32]:
        labels, _ = widest(
            self.ptr,
            self.to,
            width=np.full(self.count, NO_LIMIT, np.int32),
            turn_width=self.weight.astype(np.int32),
            sources=np.array([source], dtype=np.int32),
            source_labels=np.array([NO_LIMIT], dtype=np.int32),
        )
        return labels


def _lettered(edges: Iterable[tuple[str, str, int]]) -> tuple[Graph, dict[str, int]]:
    edges = list(edges)
    index = {letter: i for i, letter in enumerate(sorted({x for a, b, _ in edges for x in (a, b)}))}
    return Graph([(index[a], index[b], w) for a, b, w in edges], len(index)), index


def test_the_textbook_figure_of_dijkstras_algorithm() -> None:
    graph, index = _lettered(CLRS_EDGES)
    labels, before, found = graph.distances(index["s"])
    assert {letter: labels[i] for letter, i in index.items()} == CLRS_DISTANCES
    assert {letter: before[index[letter]] for letter in "tyxz"} == {
        "t": index["y"],
        "y": index["s"],
        "x": index["t"],
        "z": index["y"],
    }
    assert before[index["s"]] == -1
    assert found == -1


def test_widest_paths_on_the_same_figure() -> None:
    graph, index = _lettered(CLRS_EDGES)
    widths = graph.widths(index["s"])
    assert {letter: widths[index[letter]] for letter in CLRS_WIDTHS} == CLRS_WIDTHS


def test_widest_path_worked_example() -> None:
    # A worked example of widest paths: of two ways from c to e, the one over d is wider than the direct one.
    # Edges from memory; worked again by hand here.
    both = [("a", "b", 10), ("b", "c", 10), ("a", "c", 5), ("c", "d", 20), ("c", "e", 11), ("d", "e", 15)]
    graph, index = _lettered(both + [(b, a, w) for a, b, w in both])
    assert graph.widths(index["a"])[index["e"]] == 10
    assert graph.widths(index["c"])[index["e"]] == 15


weights = st.integers(0, 40)
random_graphs = st.integers(2, 9).flatmap(
    lambda n: st.tuples(
        st.just(n),
        st.dictionaries(st.tuples(st.integers(0, n - 1), st.integers(0, n - 1)), weights, max_size=30),
    )
)


@settings(deadline=None)
@given(random_graphs)
def test_shortest_equals_scipy(drawn: tuple[int, dict[tuple[int, int], int]]) -> None:
    count, edges = drawn
    graph = Graph([(a, b, w + 1.0) for (a, b), w in edges.items()], count)
    matrix = coo_array((graph.weight.astype(float), (graph.origin, graph.to)), shape=(count, count)).tocsr()
    labels, _, _ = graph.distances(0)
    np.testing.assert_array_equal(labels, dijkstra(matrix, indices=0))
    reached = [t for t in range(count) if labels[t] < np.inf]
    for target in range(count):
        early, _, found = graph.distances(0, [target])
        assert (found == 0) == (target in reached)
        if found == 0:
            assert early[target] == labels[target]
    _, _, best = graph.distances(0, range(1, count))
    nearest = min(labels[1:])
    assert nearest == (np.inf if best < 0 else labels[1 + best])


@settings(deadline=None)
@given(random_graphs)
def test_widest_equals_the_best_of_all_simple_paths(drawn: tuple[int, dict[tuple[int, int], int]]) -> None:
    count, edges = drawn
    graph: nx.DiGraph[int] = nx.DiGraph()
    graph.add_nodes_from(range(count))
    graph.add_weighted_edges_from((a, b, w) for (a, b), w in edges.items())
    widths = Graph([(a, b, w) for (a, b), w in edges.items()], count).widths(0)
    for target in range(1, count):
        # The widest path is the one that survives the most removals of narrow edges.
        best = UNREACHED
        for width in sorted(set(edges.values())):
            kept = [(a, b) for (a, b), w in edges.items() if w >= width]
            wide: nx.DiGraph[int] = nx.DiGraph(kept)
            if 0 in wide and target in wide and nx.has_path(wide, 0, target):
                best = width
        assert widths[target] == best


@pytest.mark.parametrize("seed", range(5))
def test_widest_equals_the_narrowest_of_the_spanning_tree_of_scipy(seed: int) -> None:
    """Where all edges go both ways, the widest path runs within a maximum spanning tree.

    Hu, The maximum capacity route problem, Operations Research 9(6), 1961 (from memory). On graphs of 1,000
    vertices, some of them apart.
    """
    chance = np.random.default_rng(seed)
    count = 1000
    one, other = chance.integers(0, count, (2, 1300))
    pairs = {(min(a, b), max(a, b)) for a, b in zip(one.tolist(), other.tolist(), strict=True) if a != b}
    widths = {
        pair: int(w) for pair, w in zip(sorted(pairs), chance.integers(1, 200, len(pairs)), strict=True)
    }
    a, b = np.array(list(widths)).T
    # The least of the negated weights is the greatest of the weights.
    tree = minimum_spanning_tree(coo_array((-np.array(list(widths.values())), (a, b)), shape=(count, count)))
    source = int(np.bincount(a).argmax())
    order, before = breadth_first_order(tree, source, directed=False)
    narrow = np.full(count, UNREACHED)
    narrow[source] = NO_LIMIT
    for vertex in order[1:].tolist():
        edge = (min(vertex, int(before[vertex])), max(vertex, int(before[vertex])))
        narrow[vertex] = min(narrow[before[vertex]], widths[edge])
    both = [(*pair, w) for pair, w in widths.items()]
    found = Graph(both + [(b, a, w) for a, b, w in both], count).widths(source)
    assert 100 < order.size < count
    np.testing.assert_array_equal(found, narrow)


def test_arc_costs_count_when_an_arc_is_left_and_infinite_ones_close_it() -> None:
    def run(cost: list[float], extra: list[float]) -> list[float]:
        labels, _, _ = shortest(
            np.array([0, 1, 2, 2], dtype=np.int64),
            np.array([1, 2], dtype=np.int32),
            cost=np.array(cost),
            turn_extra=np.array(extra, dtype=np.float32),
            sources=np.array([0], dtype=np.int32),
            source_labels=np.array([3.0]),
            targets=np.zeros(0, np.int32),
            target_extra=np.zeros(0),
        )
        return [float(label) for label in labels]

    assert run([10.0, 20.0, 30.0], [0.5, 0.0]) == [3.0, 13.5, 33.5]
    assert run([10.0, np.inf, 30.0], [0.5, 0.0]) == [3.0, 13.5, np.inf]
    assert run([10.0, 20.0, 30.0], [0.5, np.inf]) == [3.0, 13.5, np.inf]


def test_the_best_target_counts_what_it_adds() -> None:
    graph = Graph([(0, 1, 5.0), (0, 2, 7.0)], 3)
    for extra, expected in (([0.0, 0.0], 0), ([3.0, 0.0], 1), ([2.0, 0.0], 0)):
        _, _, found = shortest(
            graph.ptr,
            graph.to,
            cost=np.zeros(3),
            turn_extra=graph.weight,
            sources=np.array([0], dtype=np.int32),
            source_labels=np.zeros(1),
            targets=np.array([1, 2], dtype=np.int32),
            target_extra=np.array(extra),
        )
        assert found == expected


def test_several_sources_and_a_repeated_one_take_the_least_label() -> None:
    graph = Graph([(0, 2, 5.0), (1, 2, 1.0)], 3)
    labels, before, _ = shortest(
        graph.ptr,
        graph.to,
        cost=np.zeros(3),
        turn_extra=graph.weight,
        sources=np.array([0, 1, 0], dtype=np.int32),
        source_labels=np.array([9.0, 7.0, 2.0]),
        targets=np.zeros(0, np.int32),
        target_extra=np.zeros(0),
    )
    assert labels.tolist() == [2.0, 7.0, 7.0]
    assert before.tolist() == [-1, -1, 0]


@pytest.mark.parametrize("writeable", [True, False])
def test_read_only_arrays_are_taken_as_well(writeable: bool) -> None:
    graph = Graph([(0, 1, 5.0)], 2)
    for array in (graph.ptr, graph.to, graph.weight):
        array.flags.writeable = writeable
    assert graph.distances(0)[0].tolist() == [0.0, 5.0]

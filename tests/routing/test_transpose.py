"""Turns read backwards: against scipy, and the widest ways homeward on them against networkx."""

from __future__ import annotations

import networkx as nx
import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import csr_array

from clearance.network.network import NO_LIMIT
from clearance.routing.kernels import UNREACHED, widest
from clearance.routing.transpose import transposed
from tests.routing.test_kernels import CLRS_EDGES, Graph

Edges = dict[tuple[int, int], int]

#: The greatest width from each vertex of the figure to s, worked by hand: all ways to s end with z-s (7), and
#: to z lead y-z (2) and x-z (4); from t the best is t-x-z (1) or t-y-x-z (2).
CLRS_WIDTHS_HOME = {"z": 7, "x": 4, "y": 4, "t": 2}

graphs = st.integers(2, 9).flatmap(
    lambda n: st.tuples(
        st.just(n),
        st.dictionaries(
            st.tuples(st.integers(0, n - 1), st.integers(0, n - 1)), st.integers(0, 40), max_size=30
        ),
    )
)


def widths_home(graph: Graph, home: int) -> list[int]:
    ptr, came, own = transposed(graph.ptr, graph.to)
    labels, _ = widest(
        ptr,
        came,
        width=np.full(graph.count, NO_LIMIT, np.int32),
        turn_width=graph.weight.astype(np.int32)[own],
        sources=np.array([home], dtype=np.int32),
        source_labels=np.array([NO_LIMIT], dtype=np.int32),
    )
    return [int(label) for label in labels]


def test_widest_ways_home_on_the_textbook_figure() -> None:
    index = {letter: i for i, letter in enumerate("stxyz")}
    graph = Graph([(index[a], index[b], w) for a, b, w in CLRS_EDGES], 5)
    widths = widths_home(graph, index["s"])
    assert {letter: widths[index[letter]] for letter in CLRS_WIDTHS_HOME} == CLRS_WIDTHS_HOME


@settings(deadline=None)
@given(graphs)
def test_transposed_is_the_transpose_of_scipy(drawn: tuple[int, Edges]) -> None:
    count, edges = drawn
    graph = Graph([(a, b, w) for (a, b), w in edges.items()], count)
    ptr, came, own = transposed(graph.ptr, graph.to)
    ours = csr_array((own + 1, came, ptr), shape=(count, count))
    theirs = csr_array((np.arange(1, graph.to.size + 1), graph.to, graph.ptr), shape=(count, count))
    assert (ours != theirs.transpose().tocsr()).nnz == 0
    for state in range(count):
        assert sorted(own[ptr[state] : ptr[state + 1]]) == own[ptr[state] : ptr[state + 1]].tolist()


@settings(deadline=None)
@given(graphs)
def test_widths_home_are_the_best_of_all_paths_of_networkx(drawn: tuple[int, Edges]) -> None:
    """The width from a vertex is the greatest threshold at which home can still be come to."""
    count, edges = drawn
    graph = Graph([(a, b, w) for (a, b), w in edges.items()], count)
    found = widths_home(graph, 0)
    for vertex in range(1, count):
        best = UNREACHED
        for level in sorted(set(edges.values())):
            kept: nx.DiGraph[int] = nx.DiGraph()
            kept.add_nodes_from(range(count))
            kept.add_edges_from(edge for edge, width in edges.items() if width >= level)
            if nx.has_path(kept, vertex, 0):
                best = level
        assert found[vertex] == best

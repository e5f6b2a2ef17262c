"""Arcs by the node that they lead into."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from clearance.network.into import arcs_into

heads_of = st.integers(1, 9).flatmap(
    lambda n: st.tuples(st.just(n), st.lists(st.integers(0, n - 1), max_size=20))
)


@given(heads_of)
def test_each_arc_stands_once_with_its_head(drawn: tuple[int, list[int]]) -> None:
    nodes, heads = drawn
    pointers, arcs = arcs_into(np.array(heads, np.int32), nodes)
    assert sorted(arcs.tolist()) == list(range(len(heads)))
    assert pointers.size == nodes + 1
    for node in range(nodes):
        mine = arcs[pointers[node] : pointers[node + 1]].tolist()
        assert mine == [arc for arc, head in enumerate(heads) if head == node]

"""Parts of the network that hang together, and the ends-only zones beside them.

A road for residents or customers may be driven at either end of a drive and never through. So it must
be known which such roads make up one zone, and which open parts a zone touches: a place on an open
road behind a gate belongs to a part of its own, and the gate is the zone that leads to it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from clearance.network.network import ACCESS_CLOSED, ACCESS_ENDS, ACCESS_OPEN

if TYPE_CHECKING:
    import numpy.typing as npt

    from clearance.network.network import I8, I32

__all__ = ["Areas", "components", "find_areas"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Areas:
    """Open parts and ends-only zones, in one row of numbers.

    `arc` (a,) and `node` (n,): the area of each; -1 for closed ones, and for open nodes. 0 is the open
    part with the most arcs. `links` (m, 2): a zone, and an open part that it touches, sorted.
    """

    arc: I32
    node: I32
    links: I32


def components(
    count: int, one: npt.NDArray[np.integer], other: npt.NDArray[np.integer]
) -> npt.NDArray[np.int64]:
    """The connected components of an undirected graph: for each vertex the least vertex of its own.

    `one` and `other` are the ends of each edge. Every round joins roots and then flattens the trees, so
    that the number of roots at least halves; no more than about log2(count) rounds.

    >>> components(4, np.array([0, 3]), np.array([1, 1])).tolist()
    [0, 0, 2, 0]
    """
    label = np.arange(count, dtype=np.int64)
    one, other = np.asarray(one, np.int64), np.asarray(other, np.int64)
    while one.size:
        a, b = label[one], label[other]
        apart = a != b
        one, other, a, b = one[apart], other[apart], a[apart], b[apart]
        np.minimum.at(label, np.maximum(a, b), np.minimum(a, b))
        while True:
            shorter = label[label]
            if np.array_equal(shorter, label):
                break
            label = shorter
    return label


def find_areas(tail: I32, head: I32, arc_access: I8, node_access: I8) -> Areas:
    """The areas of one vehicle, from the access of arcs (a,) and of nodes (n,), both ACCESS_*.

    Directions do not matter here: what cannot be left again is for the search to find.
    """
    nodes, arcs = node_access.size, tail.size
    # Vertices: nodes, then arcs. An arc joins its ends where both are of its own class; through a gate two
    # open roads are not joined.
    arc_vertex = nodes + np.arange(arcs)
    ends_a = np.concatenate((tail, head)).astype(np.int64)
    ends_b = np.concatenate((arc_vertex, arc_vertex))
    of_arc = np.concatenate((arc_access, arc_access))
    of_node = node_access[ends_a]
    open_joint = (of_arc == ACCESS_OPEN) & (of_node == ACCESS_OPEN)
    open_label = components(nodes + arcs, ends_a[open_joint], ends_b[open_joint])
    # Zones join at gates and at open nodes alike: what is not closed.
    zone_joint = (of_arc == ACCESS_ENDS) & (of_node != ACCESS_CLOSED)
    zone_label = components(nodes + arcs, ends_a[zone_joint], ends_b[zone_joint])

    is_open, is_ends = arc_access == ACCESS_OPEN, arc_access == ACCESS_ENDS
    gates = np.flatnonzero(node_access == ACCESS_ENDS)
    parts, sizes = np.unique(open_label[nodes:][is_open], return_counts=True)
    parts = parts[np.lexsort((parts, -sizes))]
    zones = np.unique(np.concatenate((zone_label[nodes:][is_ends], zone_label[gates])))
    number = np.full(nodes + arcs, -1, np.int32)
    zone_number = np.full(nodes + arcs, -1, np.int32)
    number[parts] = np.arange(parts.size)
    zone_number[zones] = parts.size + np.arange(zones.size)

    arc_area = np.full(arcs, -1, np.int32)
    arc_area[is_open] = number[open_label[nodes:][is_open]]
    arc_area[is_ends] = zone_number[zone_label[nodes:][is_ends]]
    node_area = np.full(nodes, -1, np.int32)
    node_area[gates] = zone_number[zone_label[gates]]

    # A zone touches a part where an open arc ends at one of its gates or at a node of its arcs.
    zone_at_node = np.full(nodes, -1, np.int32)
    zone_at_node[ends_a[zone_joint]] = zone_number[zone_label[ends_b[zone_joint]]]
    zone_at_node[gates] = node_area[gates]
    touching = (of_arc == ACCESS_OPEN) & (of_node != ACCESS_CLOSED) & (zone_at_node[ends_a] >= 0)
    links = np.unique(
        np.stack((zone_at_node[ends_a[touching]], arc_area[ends_b[touching] - nodes]), axis=1), axis=0
    )
    return Areas(arc=arc_area, node=node_area, links=links.astype(np.int32).reshape(-1, 2))

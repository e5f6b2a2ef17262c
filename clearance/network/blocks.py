"""Where the roads of a network lie, roughly: a box around those that leave each few neighbouring nodes.

Nodes are in the order of a curve that keeps neighbours together, so that nodes that follow one another have
their roads close by. Whoever looks for the roads near a place passes over most boxes, and over all that is in
them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from clearance.network.network import F64, I32, I64

__all__ = ["NODES_A_BLOCK", "block_boxes"]

NODES_A_BLOCK = 64


def block_boxes(tail: I32, arc_geom: I32, *, geom_ptr: I64, lon: F64, lat: F64, nodes: int) -> F64:
    """West, south, east and north of the points of all arcs that leave a block of nodes, (b, 4), degrees.

    Block b is the nodes from b * `NODES_A_BLOCK` on. Arcs (a,) leave `tail` and have the points of piece
    `arc_geom`, see `Network`. A block that no arc leaves has a box that no place is in: infinities, the wrong
    way round.
    """
    blocks = -(-nodes // NODES_A_BLOCK)
    boxes = np.empty((blocks, 4))
    block = tail // NODES_A_BLOCK
    begins = geom_ptr[:-1]
    for column, (values, least) in enumerate(((lon, True), (lat, True), (lon, False), (lat, False))):
        edge = np.minimum if least else np.maximum
        boxes[:, column] = np.inf if least else -np.inf
        if begins.size:
            # Every piece has points.
            edge.at(boxes[:, column], block, edge.reduceat(values, begins)[arc_geom])
    return boxes

"""The arcs that lead into each node, for looking backwards from a place."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from clearance.network.network import I32

__all__ = ["arcs_into"]


def arcs_into(head: I32, nodes: int) -> tuple[I32, I32]:
    """Where the arcs into each node begin (n + 1,), and all arcs by the node they lead into (a,)."""
    pointers = np.zeros(nodes + 1, np.int32)
    np.cumsum(np.bincount(head, minlength=nodes), out=pointers[1:])
    return pointers, np.argsort(head, kind="stable").astype(np.int32)

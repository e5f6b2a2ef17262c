"""The loops behind `network.landmarks`, compiled once and kept on disk by numba."""

from __future__ import annotations

import numpy as np
from numba import njit

__all__ = ["farthest", "strong_parts", "times_from"]

_NO_WAY = 2**31 - 1


@njit(cache=True, nogil=True)
def times_from(pointers, to, ms, sources):  # type: ignore[no-untyped-def]
    """Times (n,) in milliseconds from the nearest of `sources` to each node (Dijkstra).

    Arcs out of node v are pointers[v] : pointers[v + 1] of `to` and `ms`. int32, 2**31 - 1 where no way leads
    and where it takes as long as that.
    """
    nodes = pointers.size - 1
    best = np.full(nodes, _NO_WAY, np.int32)
    # An entry is time * 2**32 + node: one comparison, and of equal times the lowest node first.
    heap = np.empty(to.size + sources.size + 1, np.int64)
    size = 0
    for source in sources:
        best[source] = 0
        heap[size] = source
        size += 1
    # All keys are equal but for the node, and sources are sorted: that is a heap already.
    while size > 0:
        first = heap[0]
        size -= 1
        moved = heap[size]
        hole = 0
        while True:
            child = 4 * hole + 1
            if child >= size:
                break
            least = child
            for other in range(child + 1, min(child + 4, size)):
                if heap[other] < heap[least]:
                    least = other
            if moved <= heap[least]:
                break
            heap[hole] = heap[least]
            hole = least
        heap[hole] = moved
        time = first >> 32
        node = first & 0xFFFFFFFF
        if time > best[node]:
            continue
        for arc in range(pointers[node], pointers[node + 1]):
            reached = time + ms[arc]
            head = to[arc]
            if reached < best[head]:
                best[head] = reached
                entry = (reached << 32) | head
                hole = size
                size += 1
                while hole > 0:
                    parent = (hole - 1) >> 2
                    if heap[parent] <= entry:
                        break
                    heap[hole] = heap[parent]
                    hole = parent
                heap[hole] = entry
    return best


@njit(cache=True)
def strong_parts(pointers, to):  # type: ignore[no-untyped-def]
    """The strongly connected part of each node (n,), numbered as they are closed.

    Tarjan, Depth-first search and linear graph algorithms, 1972; with a stack of its own.
    """
    nodes = pointers.size - 1
    part = np.full(nodes, -1, np.int32)
    number = np.full(nodes, -1, np.int32)  # in the order of discovery
    low = np.zeros(nodes, np.int32)
    at = np.zeros(nodes, np.int64)  # the next arc to look at
    path = np.empty(nodes, np.int32)
    waiting = np.empty(nodes, np.int32)
    seen = parts = held = 0
    for root in range(nodes):
        if number[root] >= 0:
            continue
        depth = 0
        path[0] = root
        while depth >= 0:
            node = path[depth]
            if number[node] < 0:
                number[node] = low[node] = seen
                seen += 1
                at[node] = pointers[node]
                waiting[held] = node
                held += 1
            if at[node] < pointers[node + 1]:
                head = to[at[node]]
                at[node] += 1
                if number[head] < 0:
                    depth += 1
                    path[depth] = head
                elif part[head] < 0:
                    low[node] = min(low[node], number[head])
                continue
            if low[node] == number[node]:
                while True:
                    held -= 1
                    part[waiting[held]] = parts
                    if waiting[held] == node:
                        break
                parts += 1
            depth -= 1
            if depth >= 0:
                low[path[depth]] = min(low[path[depth]], low[node])
    return part


@njit(cache=True)
def farthest(near, part, core):  # type: ignore[no-untyped-def]
    """In each part the node of its core with the greatest `near`, the first of equals; sorted nodes.

    `part` (n,) names the part of a node by one of its nodes, as `network.areas.components` does.
    """
    nodes = near.size
    best = np.full(nodes, -1, np.int32)
    for node in range(nodes):
        if core[node] and (best[part[node]] < 0 or near[node] > near[best[part[node]]]):
            best[part[node]] = node
    return np.sort(best[best >= 0])

"""Driving times to and from a few landmarks: how far every node at least is from every other.

For nodes v and t and a landmark L the triangle inequality gives d(v, t) >= d(L, t) - d(L, v) and
d(v, t) >= d(v, L) - d(t, L) (Goldberg and Harrelson, Computing the shortest path: A* search meets graph
theory, 2005). The times are those of a plain car that may drive everywhere: whatever closes arcs, forbids
turns, slows a coach or charges a structure only adds to them. So they hold for every coach, policy and hour.

Times are whole milliseconds, each arc rounded down, so that sums of them are exact and never too high.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

import numpy as np

from clearance.network.areas import components
from clearance.network.into import arcs_into

if TYPE_CHECKING:
    import numpy.typing as npt

    from clearance.network.network import F64, I32, I64

__all__ = ["FEWEST_NODES", "LANDMARKS", "LONGEST_MS", "NO_WAY", "landmark_times"]

#: Smaller networks get no landmarks: a search without them takes about a millisecond there.
FEWEST_NODES = 20_000
#: With eight, the times of a node fill one line of 64 bytes of a processor's cache.
LANDMARKS = 8
#: The time where no way leads.
NO_WAY = np.int32(2**31 - 1)
#: No time may be longer than this, nine days, so that a difference with `NO_WAY` stands out.
LONGEST_MS = 800_000_000
#: Taken off each arc, in milliseconds: more than a product of a time and 1000 can be rounded up by.
_ROUNDING_MS = 1e-6


def landmark_times(
    tail: I32, head: I32, seconds: F64, nodes: int, *, landmarks: int = LANDMARKS, fewest: int = FEWEST_NODES
) -> I32:
    """Times between `landmarks` landmarks and every node, in milliseconds, (nodes, 2 * landmarks).

    Column i is from landmark i to the node, column `landmarks` + i from the node to it; `NO_WAY` where no
    way leads. Arcs (a,) lead from `tail` (sorted) to `head` in `seconds`. Where the network is in parts that
    nothing joins, each part has landmarks of its own: between two parts every bound holds, as no way leads
    from one to the other. A landmark lies where most of its part can come to and leave again, as far as may
    be from those before it. The same arcs give the same times.

    There are no columns for a network of fewer than `fewest` nodes, of no arcs, and for one that takes more
    than nine days to drive through.
    """
    none = np.zeros((nodes, 0), np.int32)
    if not tail.size or nodes < fewest:
        return none
    # Compiled code, loaded where it is needed alone.
    from clearance.network.landmark_kernels import farthest, strong_parts

    ms = np.maximum(np.floor(seconds * 1000 - _ROUNDING_MS), 0).astype(np.int64)
    out = (
        np.searchsorted(tail, np.arange(nodes + 1, dtype=tail.dtype)),
        np.ascontiguousarray(head, np.int32),
        ms,
    )
    pointers, order = arcs_into(head, nodes)
    into = (pointers.astype(np.int64), np.ascontiguousarray(tail[order], np.int32), ms[order])

    part = components(nodes, tail, head)
    core = _cores(part, strong_parts(out[0], out[1]))
    times = np.empty((nodes, 2 * landmarks), np.int32)
    near = np.full(nodes, 2**62, np.int64)
    with ThreadPoolExecutor(2) as threads:
        # The first landmarks are as far as may be from anywhere, here the first node of each part's core.
        chosen = farthest(near, part, core)
        near[:] = _both(threads, out, into, chosen)[0]
        chosen = farthest(near, part, core)
        near[:] = 2**62
        for i in range(landmarks):
            there_and_back, there, back = _both(threads, out, into, chosen)
            if max(_highest(there), _highest(back)) > LONGEST_MS:
                return none
            times[:, i] = there
            times[:, landmarks + i] = back
            np.minimum(near, there_and_back, out=near)
            chosen = farthest(near, part, core)
    return times


def _cores(part: I64, strong: I32) -> npt.NDArray[np.bool_]:
    """The nodes of the largest strongly connected part within each part."""
    size = np.bincount(strong)[strong]
    # Of parts as large, the one with the lowest number.
    order = np.lexsort((strong, -size, part))
    first = np.ones(order.size, np.bool_)
    first[1:] = part[order][1:] != part[order][:-1]
    best = np.zeros(part.size, np.int32)
    best[part[order][first]] = strong[order][first]
    core: npt.NDArray[np.bool_] = best[part] == strong
    return core


def _both(
    threads: ThreadPoolExecutor, out: tuple[I64, I32, I64], into: tuple[I64, I32, I64], chosen: I32
) -> tuple[I64, I32, I32]:
    """There and back, from the nearest of `chosen` to each node, and from each node to the nearest."""
    from clearance.network.landmark_kernels import times_from

    ahead = threads.submit(times_from, *out, chosen)
    back = times_from(*into, chosen)
    there = ahead.result()
    sums = there.astype(np.int64) + back
    return sums, there, back


def _highest(times: I32) -> int:
    return int(np.max(times, where=times < NO_WAY, initial=0))

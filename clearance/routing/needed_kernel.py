"""The compiled loop of `routing.needed`."""

from __future__ import annotations

import numpy as np
from numba import njit, types

from clearance.routing.heap import given, result

__all__ = ["swept"]


@njit(
    result(types.boolean[::1], types.int64)(
        given(types.int64),
        given(types.int32),
        given(types.float64),
        given(types.float32),
        given(types.int32),
        given(types.int32),
    ),
    cache=True,
)
def swept(turn_ptr, turn_to, cost, turn_extra, route, targets):  # type: ignore[no-untyped-def]  # noqa: PLR0917, numba's signatures are positional
    """Which states of a route every way passes, and the number of states looked at.

    The states of the route are left one after the other, each for whatever can be reached without coming back
    to the route. The farthest place on it that was come to so, from all states before, lies beyond each state
    that can be driven round. Nothing is looked at twice.
    """
    beyond = route.size
    place = np.full(turn_ptr.size - 1, -1, np.int32)
    for i in range(route.size):
        place[route[i]] = i
    for target in targets:
        place[target] = beyond
    seen = np.zeros(turn_ptr.size - 1, np.bool_)
    stack = np.empty(turn_ptr.size, np.int32)
    found = np.zeros(route.size, np.bool_)
    farthest = 0
    count = 0
    for i in range(route.size):
        if farthest == beyond:
            break
        found[i] = i > 0 and farthest <= i
        stack[0] = route[i]
        size = 1
        while size:
            size -= 1
            state = stack[size]
            count += 1
            for turn in range(turn_ptr[state], turn_ptr[state + 1]):
                if turn_extra[turn] == np.inf:
                    continue
                to = turn_to[turn]
                if place[to] >= 0:
                    farthest = max(farthest, place[to])
                elif not seen[to]:
                    seen[to] = True
                    # A closed state is come to, as one in which a way might end, and not left.
                    if cost[to] < np.inf:
                        stack[size] = to
                        size += 1
    return found, count

"""The compiled loop of `routing.guided`."""

from __future__ import annotations

import numpy as np
from numba import njit, types

from clearance.routing.heap import drop, given, push, result

__all__ = ["search"]

#: A bound higher than this, in milliseconds, says that no way leads: one of the two times is `NO_WAY`, and
#: neither times nor extras add up to so much (see `network.landmarks` and `routing.guided`).
_HIGHEST_MS = 1_300_000_000
_GIVEN_TIMES = types.Array(types.int32, 2, "C", readonly=True)


@njit
def _bound(times, node, low, high):  # type: ignore[no-untyped-def]
    """The greatest bound of all landmarks in seconds, less a millisecond so that rounding cannot lift it."""
    row = times[node]
    marks = low.size
    best = 1
    for i in range(marks):
        best = max(best, low[i] - row[i], row[marks + i] - high[i])
    return np.inf if best > _HIGHEST_MS else (best - 1) * 0.001


@njit(
    result(types.int64, types.float64, types.int64)(
        given(types.int64),
        given(types.int32),
        given(types.float64),
        given(types.float32),
        given(types.int32),
        given(types.int32),
        given(types.int32),
        _GIVEN_TIMES,
        given(types.int32),
        given(types.int32),
        given(types.int32),
        given(types.float64),
        given(types.int32),
        given(types.float64),
        types.float64[:, ::1],
        types.float64,
    ),
    cache=True,
)
def search(  # type: ignore[no-untyped-def]  # noqa: PLR0917, numba's signatures are positional
    turn_ptr,
    turn_to,
    cost,
    turn_extra,
    state_arc,
    arc_tail,
    arc_head,
    times,
    low,
    high,
    sources,
    source_labels,
    targets,
    target_extra,
    seen,
    base,
):
    """The index into `targets` of the best or -1, its label with its extra, and the states settled.

    `seen` (s, 2), zeros at first, has the label of each state, and beside it the state before + 2, or 1 at
    a source, and `base` added; that one negative while the state does not wait in the heap, zero where it was
    never come to. A state with `base` or less there was come to by an earlier search and is passed by.
    """
    arcs = arc_head.size
    keys = np.empty(1024 + sources.size, np.float64)
    states = np.empty(keys.size, np.int32)
    size = 0
    for i in range(sources.size):
        state = sources[i]
        label = source_labels[i]
        mark = abs(seen[state, 1])
        if label < np.inf and (mark == 0 or (mark > base and label < seen[state, 0])):
            key = label + _bound(times, arc_tail[state_arc[state]], low, high)
            if key < np.inf:
                seen[state, 0] = label
                seen[state, 1] = base + 1
                size = push(keys, states, size, key, state)
    first_target = targets.min() if targets.size else 0
    last_target = targets.max() if targets.size else -1
    best = np.inf
    found = -1
    settled = 0
    while size > 0 and keys[0] < best:
        state = states[0]
        size = drop(keys, states, size)
        if seen[state, 1] < 0:
            continue  # a better label has brought it here before
        seen[state, 1] = -seen[state, 1]
        settled += 1
        label = seen[state, 0]
        if first_target <= state <= last_target:
            for i in range(targets.size):
                if targets[i] == state and label + target_extra[i] < best:
                    best = label + target_extra[i]
                    found = i
        ahead = label + cost[state]
        if ahead == np.inf:
            continue
        bound = _bound(times, arc_head[state if state < arcs else state_arc[state]], low, high)
        if bound == np.inf:
            continue
        while size + turn_ptr[state + 1] - turn_ptr[state] > keys.size:
            keys = np.concatenate((keys, np.empty(keys.size, np.float64)))
            states = np.concatenate((states, np.empty(states.size, np.int32)))
        for turn in range(turn_ptr[state], turn_ptr[state + 1]):
            reached = ahead + turn_extra[turn]
            to = turn_to[turn]
            if reached == np.inf:
                continue
            mark = abs(seen[to, 1])
            if mark == 0 or (mark > base and reached < seen[to, 0]):
                seen[to, 0] = reached
                seen[to, 1] = base + 2 + state
                size = push(keys, states, size, reached + bound, to)
    return found, best, settled

"""The compiled loop of `routing.pocket`."""

from __future__ import annotations

import numpy as np
from numba import njit, types

from clearance.routing.heap import given

__all__ = ["looked_at"]


@njit
def _known(table, state):  # type: ignore[no-untyped-def]
    """Put a state into a table of marks; whether it was there. The table is never full."""
    mask = table.size - 1
    at = (state * 0x9E3779B1) & mask
    while table[at] >= 0:
        if table[at] == state:
            return True
        at = (at + 1) & mask
    table[at] = state
    return False


@njit(
    types.int64(
        given(types.int64),
        given(types.int32),
        given(types.float64),
        given(types.float32),
        given(types.int32),
        given(types.int32),
        given(types.int32),
        given(types.int32),
        given(types.int32),
        given(types.int32),
        given(types.int32),
        given(types.int32),
        types.int64,
    ),
    cache=True,
)
def looked_at(  # type: ignore[no-untyped-def]  # noqa: PLR0917, numba's signatures are positional
    turn_ptr,
    turn_to,
    cost,
    turn_extra,
    state_arc,
    arc_tail,
    into_ptr,
    into_arc,
    copied_arc,
    copied_state,
    sources,
    targets,
    most,
):
    """The number of states that lead to a target; negative where a source is among them or there are more.

    `copied_arc` are the arcs of the states beyond the arcs, sorted, and `copied_state` those states.
    """
    size = 16
    while size < 4 * (most + targets.size):
        size *= 2
    table = np.full(size, -1, np.int64)
    states = np.empty(most + targets.size, np.int32)
    count = 0
    for target in targets:
        if not _known(table, target):
            states[count] = target
            count += 1
    done = 0
    while done < count:
        state = states[done]
        done += 1
        for source in sources:
            if source == state:
                return -done
        node = arc_tail[state_arc[state]]
        # A damaged file must not make it read beyond the arrays.
        if not 0 <= into_ptr[node] <= into_ptr[node + 1] <= into_arc.size:
            return -done
        for i in range(into_ptr[node], into_ptr[node + 1]):
            arc = into_arc[i]
            if not 0 <= arc < arc_tail.size:
                return -done
            copy = np.searchsorted(copied_arc, arc)
            before = arc
            while True:
                if cost[before] < np.inf:
                    for turn in range(turn_ptr[before], turn_ptr[before + 1]):
                        if turn_to[turn] == state and turn_extra[turn] < np.inf:
                            if not _known(table, before):
                                if count >= most:
                                    return -done
                                states[count] = before
                                count += 1
                            break
                if copy >= copied_arc.size or copied_arc[copy] != arc:
                    break
                before = copied_state[copy]
                copy += 1
    return done

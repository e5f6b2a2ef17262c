"""The turns of a network sorted by the state they lead into, compiled."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numba import njit, types

from clearance.routing.heap import given, result

if TYPE_CHECKING:
    import numpy.typing as npt

__all__ = ["transposed"]


@njit(
    result(types.int64[::1], types.int32[::1], types.int64[::1])(given(types.int64), given(types.int32)),
    cache=True,
)
def _transposed(turn_ptr, turn_to):  # type: ignore[no-untyped-def]
    count = turn_ptr.size - 1
    ptr = np.zeros(count + 1, np.int64)
    for turn in range(turn_to.size):
        ptr[turn_to[turn] + 1] += 1
    for state in range(count):
        ptr[state + 1] += ptr[state]
    free = ptr[:-1].copy()
    from_state = np.empty(turn_to.size, np.int32)
    own = np.empty(turn_to.size, np.int64)
    for state in range(count):
        for turn in range(turn_ptr[state], turn_ptr[state + 1]):
            at = free[turn_to[turn]]
            free[turn_to[turn]] = at + 1
            from_state[at] = state
            own[at] = turn
    return ptr, from_state, own


def transposed(
    turn_ptr: npt.NDArray[np.int64], turn_to: npt.NDArray[np.int32]
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int32], npt.NDArray[np.int64]]:
    """The turns by the state they lead into: where those of each state begin (s + 1,), the state each
    comes from (t,), and its own index (t,), ascending within a state.

    Two passes over the turns, in place of a sort that takes ten times as long.
    """
    ptr, from_state, own = _transposed(turn_ptr, turn_to)
    return ptr, from_state, own

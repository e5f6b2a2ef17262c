"""The search for every trade-off between time and a count, compiled once and kept on disk by numba.

Labels lie at the START of a state's arc, as in `kernels`. They are settled by count, then by time with what
is at least still to come, then in the order of their making, so that every run has the same answer.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numba import njit, types

from clearance.routing.heap import drop, given, push, result

if TYPE_CHECKING:
    import numpy.typing as npt

    F64 = npt.NDArray[np.float64]
    I32 = npt.NDArray[np.int32]
    I64 = npt.NDArray[np.int64]

__all__ = ["ENGINE", "pareto"]

#: What ran, for those who ask.
ENGINE = "exact labels by count, then time, bounded by a search backwards, 4-ary heap"


# Helpers become part of the search, which is loaded ready-made.
@njit
def _longer(array, filling):  # type: ignore[no-untyped-def]
    """The array twice as long, the new half filled."""
    longer = np.full(2 * array.size, filling, array.dtype)
    longer[: array.size] = array
    return longer


@njit(
    result(types.int32[::1], types.int32[::1], types.int32[::1], types.int32[::1], types.float64[::1])(
        given(types.int64),
        given(types.int32),
        given(types.int32),
        given(types.float64),
        given(types.float64),
        given(types.int32),
        given(types.float64),
        given(types.int32),
        given(types.int32),
        given(types.int32),
        given(types.float64),
        types.float64,
    ),
    cache=True,
)
def _pareto(  # type: ignore[no-untyped-def]  # noqa: PLR0915, PLR0917, one search, and numba's signatures are positional
    turn_ptr,
    turn_to,
    turn_count,
    cost,
    to_go,
    sources,
    source_times,
    source_counts,
    last_state,
    last_count,
    last_time,
    least_gain,
):
    states = turn_ptr.size - 1
    best = np.full(states, np.inf)  # the least time settled so far, with as few or fewer
    queued_time = np.full(states, np.inf)
    queued_count = np.full(states, 2**31 - 1, np.int32)
    is_last = np.zeros(states, np.bool_)
    for i in range(last_state.size):
        is_last[last_state[i]] = True

    room = max(1024, sources.size)
    # A label of the end carries -1 - (its number among the last) in place of a state.
    label_state = np.empty(room, np.int32)
    label_before = np.empty(room, np.int32)
    label_time = np.empty(room, np.float64)
    label_key = np.empty(room, np.float64)
    labels = 0
    # Labels wait in a list for each count, begun by `waiting` and threaded through `label_next`, until it is
    # their turn to go on the heap.
    label_next = np.empty(room, np.int32)
    waiting = np.full(64, -1, np.int32)
    heap_key = np.empty(room, np.float64)
    heap_label = np.empty(room, np.int32)
    for i in range(sources.size):
        label_state[labels] = sources[i]
        label_before[labels] = -1 - i
        label_time[labels] = source_times[i]
        label_key[labels] = source_times[i] + to_go[sources[i]]
        while source_counts[i] >= waiting.size:
            waiting = _longer(waiting, -1)
        label_next[labels] = waiting[source_counts[i]]
        waiting[source_counts[i]] = labels
        labels += 1

    best_end = np.inf
    found = 0
    found_label = np.empty(16, np.int32)
    found_count = np.empty(16, np.int32)
    found_time = np.empty(16, np.float64)
    count = -1
    while count + 1 < waiting.size:
        count += 1
        size = 0
        label = waiting[count]
        while label >= 0:
            if label_key[label] < best_end - least_gain:
                size = push(heap_key, heap_label, size, label_key[label], label)
            label = label_next[label]
        while size > 0:
            key, label = heap_key[0], heap_label[0]
            size = drop(heap_key, heap_label, size)
            if key >= best_end - least_gain:
                break
            state = label_state[label]
            if state < 0:
                best_end = key
                if found == found_label.size:
                    found_label = _longer(found_label, 0)
                    found_count = _longer(found_count, 0)
                    found_time = _longer(found_time, 0.0)
                found_label[found] = label
                found_count[found] = count
                found_time[found] = key
                found += 1
                break
            time = label_time[label]
            if time >= best[state]:
                continue
            best[state] = time
            ahead = time + cost[state]
            # Room for every turn and every end at once.
            while label_state.size < labels + turn_ptr[state + 1] - turn_ptr[state] + last_state.size:
                label_state = _longer(label_state, 0)
                label_before = _longer(label_before, 0)
                label_time = _longer(label_time, 0.0)
                label_key = _longer(label_key, 0.0)
                label_next = _longer(label_next, 0)
                heap_key = _longer(heap_key, 0.0)
                heap_label = _longer(heap_label, 0)
            begin, stop = turn_ptr[state], turn_ptr[state + 1]
            for way in range(stop - begin + (last_state.size if is_last[state] else 0)):
                if way < stop - begin:
                    turn = begin + way
                    to = turn_to[turn]
                    passed = count + turn_count[turn]
                    key = ahead + to_go[to]
                    if turn_count[turn] < 0 or ahead >= best[to] or not key < best_end - least_gain:
                        continue
                    if queued_count[to] <= passed and queued_time[to] <= ahead:
                        continue
                    queued_count[to] = passed
                    queued_time[to] = ahead
                else:
                    i = way - (stop - begin)
                    to = -1 - i
                    passed = count + last_count[i]
                    key = ahead + last_time[i]
                    if last_state[i] != state or not key < best_end - least_gain:
                        continue
                label_state[labels] = to
                label_before[labels] = label
                label_time[labels] = ahead
                label_key[labels] = key
                if passed == count:
                    size = push(heap_key, heap_label, size, key, labels)
                else:
                    while passed >= waiting.size:
                        waiting = _longer(waiting, -1)
                    label_next[labels] = waiting[passed]
                    waiting[passed] = labels
                labels += 1
    return (
        label_state[:labels],
        label_before[:labels],
        found_label[:found],
        found_count[:found],
        found_time[:found],
    )


def pareto(
    turn_ptr: I64,
    turn_to: I32,
    *,
    turn_count: I32,
    cost: F64,
    to_go: F64,
    sources: I32,
    source_times: F64,
    source_counts: I32,
    last_state: I32,
    last_count: I32,
    last_time: F64,
    least_gain: float,
) -> tuple[I32, I32, I32, I32, F64]:
    """Every way from the sources to an end that no other beats on both count and time.

    `turn_ptr` (s + 1,) and `turn_to` (t,) are the turns of `Network`; `turn_count` (t,) is what a turn adds
    to the count, negative where it is closed; `cost` (s,) the seconds of the whole arc of a state, infinite
    where closed. `to_go` (s,) is a lower bound of the seconds from the START of each arc to an end,
    consistent (to_go(s) <= cost(s) + to_go(next)), infinite where no way leads there. Ways begin at `sources`
    with their times and counts; from the END of the arc of `last_state` an end is reached by `last_time` more
    seconds and `last_count` more of the count, in as many ways as are listed. A way counts as quicker than
    one with a smaller count only from `least_gain` seconds on.

    Returns the state of each label, -1 - i for the end number i of the last ones, and the label before each,
    -1 - i for the source number i; then by rising count the label, the count and the seconds of each way.
    """
    return _pareto(  # type: ignore[no-any-return]
        turn_ptr,
        turn_to,
        turn_count,
        cost,
        to_go,
        sources,
        source_times,
        source_counts,
        last_state,
        last_count,
        last_time,
        least_gain,
    )

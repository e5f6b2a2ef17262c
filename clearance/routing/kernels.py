"""Searches on the graph of states, compiled once and kept on disk by numba.

Both searches put the label of a state at the START of its arc: what it took to get there, without the
arc itself. A drive may begin and end within an arc, so what bears on a part of an arc is the caller's
to add: at the start in the first labels, at the end in what each target adds.

Exact, and the same answer on every run: equal keys leave the heap in the order of their states, and
only a better label replaces another.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numba import njit, types

from clearance.routing.heap import drop, given, push, result
from clearance.routing.ran import is_recorded, searched, stage

if TYPE_CHECKING:
    import numpy.typing as npt

    F64 = npt.NDArray[np.float64]
    F32 = npt.NDArray[np.float32]
    I32 = npt.NDArray[np.int32]
    I64 = npt.NDArray[np.int64]

__all__ = ["ENGINE", "UNREACHED", "WIDEST_ENGINE", "shortest", "widest"]

#: What ran, for those who ask.
ENGINE = "turn-aware Dijkstra to the target, 4-ary heap"
WIDEST_ENGINE = "turn-aware widest paths, level by level"

#: The width of a state that no way at all leads to.
UNREACHED = -1


@njit(
    result(types.float64[::1], types.int32[::1], types.int64)(
        given(types.int64),
        given(types.int32),
        given(types.float64),
        given(types.float32),
        given(types.int32),
        given(types.float64),
        given(types.int32),
        given(types.float64),
    ),
    cache=True,
)
def _shortest(  # type: ignore[no-untyped-def]  # noqa: PLR0917, numba's signatures are positional
    turn_ptr, turn_to, cost, turn_extra, sources, source_labels, targets, target_extra
):
    count = turn_ptr.size - 1
    labels = np.full(count, np.inf)
    before = np.full(count, -1, np.int32)
    wanted = np.zeros(count, np.bool_)
    for i in range(targets.size):
        wanted[targets[i]] = True
    # Never more entries than labels set: once for a source, once for a turn. Untouched pages cost nothing.
    keys = np.empty(turn_to.size + sources.size + 1, np.float64)
    states = np.empty(turn_to.size + sources.size + 1, np.int32)
    size = 0
    for i in range(sources.size):
        state = sources[i]
        if source_labels[i] < labels[state]:
            labels[state] = source_labels[i]
            size = push(keys, states, size, source_labels[i], state)
    best = np.inf
    found = -1
    while size > 0:
        label = keys[0]
        state = states[0]
        if label >= best:
            break
        size = drop(keys, states, size)
        if label > labels[state]:
            continue
        if wanted[state]:
            for i in range(targets.size):
                if targets[i] == state and label + target_extra[i] < best:
                    best = label + target_extra[i]
                    found = i
        ahead = label + cost[state]
        if ahead == np.inf:
            continue
        for turn in range(turn_ptr[state], turn_ptr[state + 1]):
            reached = ahead + turn_extra[turn]
            to = turn_to[turn]
            if reached < labels[to]:
                labels[to] = reached
                before[to] = state
                size = push(keys, states, size, reached, to)
    return labels, before, found


@njit(
    result(types.int32[::1], types.int32[::1])(
        given(types.int64),
        given(types.int32),
        given(types.int32),
        given(types.int32),
        given(types.int32),
        given(types.int32),
    ),
    cache=True,
)
def _widest(  # type: ignore[no-untyped-def]  # noqa: PLR0917, numba's signatures are positional
    turn_ptr, turn_to, width, turn_width, sources, source_labels
):
    count = turn_ptr.size - 1
    labels = np.full(count, -1, np.int32)
    before = np.full(count, -1, np.int32)
    keys = np.empty(turn_to.size + sources.size + 1, np.int32)
    states = np.empty(turn_to.size + sources.size + 1, np.int32)
    size = 0
    for i in range(sources.size):
        state = sources[i]
        if source_labels[i] > labels[state]:
            labels[state] = source_labels[i]
            size = push(keys, states, size, -source_labels[i], state)
    # Few arcs limit anything, so that nearly all states have the label of the one before: those at the level
    # in hand wait on a stack, and only lower ones in the heap.
    level = 0
    stack = np.empty(count, np.int32)
    waiting = 0
    while size > 0 or waiting > 0:
        if waiting > 0:
            waiting -= 1
            state = stack[waiting]
        else:
            level = -keys[0]
            state = states[0]
            size = drop(keys, states, size)
            if level < labels[state]:
                continue
        ahead = min(level, width[state])
        for turn in range(turn_ptr[state], turn_ptr[state + 1]):
            reached = min(ahead, turn_width[turn])
            to = turn_to[turn]
            if reached > labels[to]:
                labels[to] = reached
                before[to] = state
                if reached == level:
                    stack[waiting] = to
                    waiting += 1
                else:
                    size = push(keys, states, size, -reached, to)
    return labels, before


@stage("search")
def shortest(
    turn_ptr: I64,
    turn_to: I32,
    *,
    cost: F64,
    turn_extra: F32,
    sources: I32,
    source_labels: F64,
    targets: I32,
    target_extra: F64,
) -> tuple[F64, I32, int]:
    """The cheapest way from any source to the best target (Dijkstra, stopped there).

    `turn_ptr` (s + 1,) and `turn_to` (t,) are the turns of `Network`; `cost` (s,) is what driving the
    whole arc of a state costs and `turn_extra` (t,) what a turn adds, in seconds, never negative,
    infinite where closed. The search starts from `sources` with the labels `source_labels`, and looks
    for the least label plus `target_extra` among `targets`; a state may be named more than once.

    Returns the labels (s,) at the start of each arc, infinite where not reached; the state before
    each (-1 at a source); and the index into `targets` of the best, -1 where none is reached. Labels
    above the best are not final, unless `targets` is empty: then all of them are.
    """
    labels, before, found = _shortest(
        turn_ptr, turn_to, cost, turn_extra, sources, source_labels, targets, target_extra
    )
    if is_recorded():
        best = np.inf if found < 0 else labels[targets[found]] + target_extra[found]
        searched(ENGINE, int(np.count_nonzero(labels[labels < np.inf] < best)))
    return labels, before, int(found)


@stage("search")
def widest(
    turn_ptr: I64, turn_to: I32, *, width: I32, turn_width: I32, sources: I32, source_labels: I32
) -> tuple[I32, I32]:
    """For every state the greatest height that can be brought to the start of its arc.

    `width` (s,) and `turn_width` (t,) are the lowest clearance on an arc and on a turn, in tenths of a
    millimetre; `NO_LIMIT` where nothing limits, -1 where closed. `source_labels` are the heights at the
    first states, 0 or more.

    Returns the labels (s,), `UNREACHED` where no way leads, and the state before each (-1 at a source).
    Widest paths by best-first search: width(v) is the maximum over u of min(width(u), clearance(u, v)).
    """
    labels, before = _widest(turn_ptr, turn_to, width, turn_width, sources, source_labels)
    if is_recorded():
        searched(WIDEST_ENGINE, int(np.count_nonzero(labels > UNREACHED)))
    return labels, before

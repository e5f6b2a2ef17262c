"""A search gone on with: what opening a few more roads makes better, compiled.

Labels are those of `routing.kernels`. Where arcs or turns open, labels only get better; a search begun at
what opened, with the labels of before, finds every one of them and looks at no other. What it changes
it writes down, so that the labels of before can be had back.
"""

from __future__ import annotations

import numpy as np
from numba import njit, types

from clearance.routing.heap import drop, given, push

__all__ = ["chain", "cheaper", "wider", "wider_for_each"]


@njit(types.int32[::1](given(types.int32), types.int32), cache=True)
def chain(before, state):  # type: ignore[no-untyped-def]
    """A state, the state before it, and so on to one that has none before."""
    count = 1
    at = state
    while before[at] >= 0:
        at = before[at]
        count += 1
    found = np.empty(count, np.int32)
    for i in range(count):
        found[i] = state
        state = before[state]
    return found


# `heap` is (keys, states); `journal` is (touched, state, label, before): what was changed, and what it was.
@njit
def _widen(  # type: ignore[no-untyped-def]  # noqa: PLR0917
    ptr, to, width, turn_width, labels, before, size, changed, heap, journal
):
    """Go on from the heap of `size` entries until nothing gets wider; the number of states changed."""
    keys, states = heap
    while size > 0:
        level = -keys[0]
        state = states[0]
        size = drop(keys, states, size)
        if level < labels[state]:
            continue
        ahead = min(level, width[state])
        for turn in range(ptr[state], ptr[state + 1]):
            reached = min(ahead, turn_width[turn])
            there = to[turn]
            if reached > labels[there]:
                changed = _written(there, reached, state, labels, before, changed, journal)
                size = push(keys, states, size, -reached, there)
    return changed


@njit
def _written(state, label, came, labels, before, changed, journal):  # type: ignore[no-untyped-def]  # noqa: PLR0917
    """Give a state a better label, and write down what it had; the number of states changed."""
    touched, old_state, old_label, old_before = journal
    if not touched[state]:
        touched[state] = True
        old_state[changed] = state
        old_label[changed] = labels[state]
        old_before[changed] = before[state]
        changed += 1
    labels[state] = label
    before[state] = came
    return changed


@njit
def _sown(state, label, came, labels, before, size, changed, heap, journal):  # type: ignore[no-untyped-def]  # noqa: PLR0917
    """Put a state on the heap with the width it may have now; the sizes of heap and of what changed."""
    if label < 0 or label < labels[state]:
        return size, changed
    if label > labels[state]:
        changed = _written(state, label, came, labels, before, changed, journal)
    keys, states = heap
    return push(keys, states, size, -label, state), changed


@njit(
    types.int64(
        given(types.int64),
        given(types.int32),
        given(types.float64),
        given(types.float32),
        types.float64[::1],
        types.int32[::1],
        given(types.int32),
        given(types.float64),
        given(types.int32),
        given(types.int32),
        types.float64[::1],
        types.int32[::1],
        types.boolean[::1],
        types.int32[::1],
        types.float64[::1],
        types.int32[::1],
    ),
    cache=True,
)
def cheaper(  # type: ignore[no-untyped-def]  # noqa: PLR0917, numba's signatures are positional
    ptr,
    to,
    cost,
    extra,
    labels,
    before,
    seeds,
    seed_labels,
    seed_before,
    wanted,
    keys,
    states,
    touched,
    old_state,
    old_label,
    old_before,
):
    """Make `labels` and `before` those of the opened network; the number of states changed.

    `seeds` are states with a label that they may have now and the state before. The search ends once no
    label of `wanted` can change any more, or, where none is wanted, once no label at all can. `old_*` take
    what stood there before, each state once, and `touched` marks them. `keys` and `states` are room for the
    heap: an entry for each turn and each seed.
    """
    journal = (touched, old_state, old_label, old_before)
    changed = 0
    size = 0
    for i in range(seeds.size):
        state = seeds[i]
        if seed_labels[i] == np.inf or seed_labels[i] > labels[state]:
            continue
        if seed_labels[i] < labels[state]:
            changed = _written(state, seed_labels[i], seed_before[i], labels, before, changed, journal)
        size = push(keys, states, size, seed_labels[i], state)
    while size > 0:
        label = keys[0]
        farthest = 0.0 if wanted.size else np.inf
        for i in range(wanted.size):
            farthest = max(farthest, labels[wanted[i]])
        if label >= farthest:
            break
        state = states[0]
        size = drop(keys, states, size)
        if label > labels[state]:
            continue
        ahead = label + cost[state]
        if ahead == np.inf:
            continue
        for turn in range(ptr[state], ptr[state + 1]):
            reached = ahead + extra[turn]
            there = to[turn]
            if reached < labels[there]:
                changed = _written(there, reached, state, labels, before, changed, journal)
                size = push(keys, states, size, reached, there)
    return changed


@njit(
    types.int64(
        given(types.int64),
        given(types.int32),
        given(types.int32),
        given(types.int32),
        types.int32[::1],
        types.int32[::1],
        given(types.int32),
        given(types.int32),
        given(types.int32),
        types.int32[::1],
        types.int32[::1],
        types.boolean[::1],
        types.int32[::1],
        types.int32[::1],
        types.int32[::1],
    ),
    cache=True,
)
def wider(  # type: ignore[no-untyped-def]  # noqa: PLR0917
    ptr,
    to,
    width,
    turn_width,
    labels,
    before,
    seeds,
    seed_labels,
    seed_before,
    keys,
    states,
    touched,
    old_state,
    old_label,
    old_before,
):
    """The same as `cheaper` for the widest way; labels are widths, -1 where there is no way."""
    heap = (keys, states)
    journal = (touched, old_state, old_label, old_before)
    changed = 0
    size = 0
    for i in range(seeds.size):
        size, changed = _sown(
            seeds[i], seed_labels[i], seed_before[i], labels, before, size, changed, heap, journal
        )
    return _widen(ptr, to, width, turn_width, labels, before, size, changed, heap, journal)


@njit(
    types.int32[::1](
        given(types.int64),
        given(types.int32),
        types.int32[::1],
        types.int32[::1],
        types.int32[::1],
        given(types.int64),
        given(types.int32),
        given(types.int32),
        given(types.int64),
        given(types.int64),
        given(types.int32),
        given(types.int32),
        given(types.int64),
        given(types.int32),
        given(types.int64),
        given(types.int32),
    ),
    cache=True,
)
def wider_for_each(  # type: ignore[no-untyped-def]  # noqa: PLR0917
    ptr,
    to,
    width,
    turn_width,
    labels,
    open_ptr,
    open_state,
    open_width,
    gate_ptr,
    gate_turn,
    gate_from,
    gate_width,
    home_turn,
    home_width,
    read_ptr,
    read_state,
):
    """Open one zone after another, each by itself, and read the widths within it.

    Zone i opens the states open_ptr[i] : open_ptr[i + 1] of `open_state`, each to its `open_width`, and the
    turns gate_ptr[i] : gate_ptr[i + 1] of `gate_turn` out of the states `gate_from` to `gate_width`, and
    reads the labels of its part of `read_state`. `home_turn` are turns that come straight from home, with the
    width at which they are come to. All that is opened was closed, and is closed again; `labels` end as they
    began. Returns the labels read, in the order of `read_state`.
    """
    count = ptr.size - 1
    room = to.size + open_state.size + gate_turn.size + home_turn.size + 1
    heap = (np.empty(room, np.int32), np.empty(room, np.int32))
    before = np.full(count, -1, np.int32)
    touched = np.zeros(count, np.bool_)
    old_state = np.empty(count, np.int32)
    old_label = np.empty(count, np.int32)
    journal = (touched, old_state, old_label, np.empty(count, np.int32))
    told = np.empty(read_state.size, np.int32)
    for zone in range(open_ptr.size - 1):
        size = 0
        changed = 0
        for i in range(open_ptr[zone], open_ptr[zone + 1]):
            width[open_state[i]] = open_width[i]
        for i in range(gate_ptr[zone], gate_ptr[zone + 1]):
            turn_width[gate_turn[i]] = gate_width[i]
        for i in range(open_ptr[zone], open_ptr[zone + 1]):
            state = open_state[i]
            size, changed = _sown(state, labels[state], -1, labels, before, size, changed, heap, journal)
        for i in range(gate_ptr[zone], gate_ptr[zone + 1]):
            turn = gate_turn[i]
            best = min(labels[gate_from[i]], width[gate_from[i]])
            for j in range(home_turn.size):
                if home_turn[j] == turn:
                    best = max(best, home_width[j])
            size, changed = _sown(
                to[turn], min(best, gate_width[i]), -1, labels, before, size, changed, heap, journal
            )
        changed = _widen(ptr, to, width, turn_width, labels, before, size, changed, heap, journal)
        for i in range(read_ptr[zone], read_ptr[zone + 1]):
            told[i] = labels[read_state[i]]
        for i in range(changed):
            labels[old_state[i]] = old_label[i]
            touched[old_state[i]] = False
        for i in range(open_ptr[zone], open_ptr[zone + 1]):
            width[open_state[i]] = -1
        for i in range(gate_ptr[zone], gate_ptr[zone + 1]):
            turn_width[gate_turn[i]] = -1
    return told

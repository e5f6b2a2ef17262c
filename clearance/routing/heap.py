"""The heap of the compiled searches, and how they tell numba of their arrays.

Heap entries are a key and a state in two arrays, smallest key first and of equal keys the smallest state, so
that every search has the same answer on every run. Neither function has a file of its own in numba's cache:
they become part of the searches that call them. Whoever changes them must change those modules too, or
empty the cache, for numba looks at the module of the search alone.
"""

from __future__ import annotations

from typing import Any

from numba import njit, types

__all__ = ["drop", "given", "push", "result"]


def given(kind: Any) -> Any:
    """An input array, read-only, so that arrays mapped from a road file fit as well as others."""
    return types.Array(kind, 1, "C", readonly=True)


def result(*kinds: Any) -> Any:
    """What a search returns: a tuple of arrays or numbers."""
    return types.Tuple(kinds)  # type: ignore[no-untyped-call]


@njit
def push(keys, states, size, key, state):  # type: ignore[no-untyped-def]
    """Put (key, state) on the heap of `size` entries; the new size. Smallest first."""
    hole = size
    while hole > 0:
        parent = (hole - 1) >> 2
        if keys[parent] < key or (keys[parent] == key and states[parent] <= state):
            break
        keys[hole] = keys[parent]
        states[hole] = states[parent]
        hole = parent
    keys[hole] = key
    states[hole] = state
    return size + 1


@njit
def drop(keys, states, size):  # type: ignore[no-untyped-def]
    """Take the first entry off the heap of `size` entries; the new size."""
    size -= 1
    key = keys[size]
    state = states[size]
    hole = 0
    while True:
        child = 4 * hole + 1
        if child >= size:
            break
        least = child
        for other in range(child + 1, min(child + 4, size)):
            if keys[other] < keys[least] or (keys[other] == keys[least] and states[other] < states[least]):
                least = other
        if key < keys[least] or (key == keys[least] and state <= states[least]):
            break
        keys[hole] = keys[least]
        states[hole] = states[least]
        hole = least
    keys[hole] = key
    states[hole] = state
    return size

"""Pairs of segments that meet, found on grids of cells; compiled once and kept on disk by numba.

A segment lies in the cells that it runs through. Segments up to eight cells long share a grid, and the
cells of the next grid are eight times as long. So a segment lies in twenty cells or so at most, in one or
two as a rule, and memory stays in step with the number of segments whatever their lengths. A short one is
compared with the long ones through the cells of their grid.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numba import njit, types

if TYPE_CHECKING:
    import numpy.typing as npt

    Bool = npt.NDArray[np.bool_]
    I32 = npt.NDArray[np.int32]
    I64 = npt.NDArray[np.int64]

__all__ = ["meeting_pairs"]

#: The cells of each grid are 2 ** _STEP times as long as those of the grid before.
_STEP = 3
#: The cells of the first grid are about 2 ** _WIDER times as long as the median segment: measured best for
#: roads as they are mapped, and never far from the best for random segments, dense or sparse.
_WIDER = 2
#: The Earth in whole 1e-7 degrees: what the arithmetic below is exact for.
_MOST_X, _MOST_Y = 1_800_000_000, 900_000_000


# The helpers have no signature and no file of their own in the cache: they become part of the search.
@njit
def _bucket(x, y, mask):  # type: ignore[no-untyped-def]
    """Where the cell (x, y) is kept: neighbours together, as memory is quicker near where it was read.

    Cells that are far apart may share a place.
    """
    mixed = np.uint64(x >> 3) * np.uint64(0x9E3779B97F4A7C15)
    mixed += np.uint64(y >> 3) * np.uint64(0xC2B2AE3D27D4EB4F)
    mixed ^= mixed >> np.uint64(29)
    mixed *= np.uint64(0xBF58476D1CE4E5B9)
    return (np.int64(mixed >> np.uint64(32)) << 6 | (x & 7) << 3 | y & 7) & mask


@njit
def _rows(ends, i, column, shift):  # type: ignore[no-untyped-def]
    """The first and last row of cells that segment i, its left end first, runs through in a column.

    The height of the line at the sides of the column is off by far less than the one unit that is
    added, so that no cell is missed; one too many does no harm.
    """
    ax, ay, bx, by = np.int64(ends[i, 0]), np.int64(ends[i, 1]), np.int64(ends[i, 2]), np.int64(ends[i, 3])
    low, high = min(ay, by), max(ay, by)
    if ax >> shift != bx >> shift:
        slope = (by - ay) / (bx - ax)
        at = ay + (max(column << shift, ax) - ax) * slope
        to = ay + (min((column + 1) << shift, bx) - ax) * slope
        low = max(low, np.int64(np.floor(min(at, to))) - 1)
        high = min(high, np.int64(np.ceil(max(at, to))) + 1)
    return low >> shift, high >> shift


@njit
def _side(ends, i, x, y):  # type: ignore[no-untyped-def]
    """Twice the area of the triangle of segment i and a point, with the sign of its sense: exact.

    On the Earth it fits 64 bits: twice a triangle is no more than the box around it, at most 3.6e9 by
    1.8e9, and neither product is.
    """
    ax, ay, bx, by = np.int64(ends[i, 0]), np.int64(ends[i, 1]), np.int64(ends[i, 2]), np.int64(ends[i, 3])
    return (bx - ax) * (y - ay) - (by - ay) * (x - ax)


@njit
def _meet(ends, i, j):  # type: ignore[no-untyped-def]
    """Whether two segments, each with its left end first, have a point in common and lie on two lines."""
    if ends[i, 2] < ends[j, 0] or ends[j, 2] < ends[i, 0]:
        return False
    if max(ends[i, 1], ends[i, 3]) < min(ends[j, 1], ends[j, 3]):
        return False
    if max(ends[j, 1], ends[j, 3]) < min(ends[i, 1], ends[i, 3]):
        return False
    a = _side(ends, i, np.int64(ends[j, 0]), np.int64(ends[j, 1]))
    b = _side(ends, i, np.int64(ends[j, 2]), np.int64(ends[j, 3]))
    if (a > 0 and b > 0) or (a < 0 and b < 0) or (a == 0 and b == 0):
        return False
    a = _side(ends, j, np.int64(ends[i, 0]), np.int64(ends[i, 1]))
    b = _side(ends, j, np.int64(ends[i, 2]), np.int64(ends[i, 3]))
    return (a <= 0 and b >= 0) or (a >= 0 and b <= 0)


@njit
def _filled(ends, level, shift):  # type: ignore[no-untyped-def]
    """The buckets of all grids, one grid after the other: grid, then content.

    `first`, `mask` (grids,) say where the buckets of a grid begin, and how many there are less 1, -1 where
    no segment is in that grid. The content of bucket b is `content`[begin[b] : begin[b + 1]].
    """
    count = ends.shape[0]
    grids = 0
    for i in range(count):
        grids = max(grids, level[i] + 1)
    places = np.zeros(grids, np.int64)
    for i in range(count):
        wide = shift + _STEP * level[i]
        for column in range(np.int64(ends[i, 0]) >> wide, (np.int64(ends[i, 2]) >> wide) + 1):
            low, high = _rows(ends, i, column, wide)
            places[level[i]] += high - low + 1
    first = np.zeros(grids, np.int64)
    mask = np.full(grids, -1, np.int64)
    buckets = 0
    for k in range(grids):
        if places[k] > 0:
            size = 1
            while size < places[k]:
                size *= 2
            first[k], mask[k] = buckets, size - 1
            buckets += size
    # Count what comes into each bucket, add up, fill each from its end.
    begin = np.zeros(buckets + 1, np.int64)
    for i in range(count):
        k = level[i]
        wide = shift + _STEP * k
        for column in range(np.int64(ends[i, 0]) >> wide, (np.int64(ends[i, 2]) >> wide) + 1):
            low, high = _rows(ends, i, column, wide)
            for row in range(low, high + 1):
                begin[first[k] + _bucket(column, row, mask[k])] += 1
    total = 0
    for k in range(buckets + 1):
        total += begin[k]
        begin[k] = total
    content = np.empty(total, np.int32)
    for i in range(count):
        k = level[i]
        wide = shift + _STEP * k
        for column in range(np.int64(ends[i, 0]) >> wide, (np.int64(ends[i, 2]) >> wide) + 1):
            low, high = _rows(ends, i, column, wide)
            for row in range(low, high + 1):
                bucket = first[k] + _bucket(column, row, mask[k])
                begin[bucket] -= 1
                content[begin[bucket]] = i
    return first, mask, begin, content


def _given(kind: Any, dimensions: int = 1) -> Any:
    return types.Array(kind, dimensions, "C", readonly=True)


@njit(
    types.int64[:, ::1](
        types.int32[:, ::1], _given(types.int64, 2), _given(types.bool_), _given(types.int8), types.int64
    ),
    cache=True,
)
def _pairs(ends, nodes, chosen, level, shift):  # type: ignore[no-untyped-def]
    """The pairs found, as rows of an array (m, 2), some of them more than once.

    `ends` (n, 4) are x, y of both ends, here turned to have the left one first; `level` (n,) is the grid of
    each segment; the cells of grid 0 are 2 ** `shift` long.
    """
    count = ends.shape[0]
    for i in range(count):
        if ends[i, 0] > ends[i, 2]:
            ends[i, 0], ends[i, 2] = ends[i, 2], ends[i, 0]
            ends[i, 1], ends[i, 3] = ends[i, 3], ends[i, 1]
    first, mask, begin, content = _filled(ends, level, shift)
    found = np.empty((1024, 2), np.int64)
    size = 0
    for i in range(count):
        for k in range(level[i], mask.size):
            if mask[k] < 0:
                continue
            wide = shift + _STEP * k
            for column in range(np.int64(ends[i, 0]) >> wide, (np.int64(ends[i, 2]) >> wide) + 1):
                low, high = _rows(ends, i, column, wide)
                for row in range(low, high + 1):
                    bucket = first[k] + _bucket(column, row, mask[k])
                    for at in range(begin[bucket], begin[bucket + 1]):
                        j = content[at]
                        if k == level[i] and j <= i:
                            continue
                        if not (chosen[i] or chosen[j]) or not _meet(ends, i, j):
                            continue
                        if (
                            nodes[i, 0] == nodes[j, 0]
                            or nodes[i, 0] == nodes[j, 1]
                            or nodes[i, 1] == nodes[j, 0]
                            or nodes[i, 1] == nodes[j, 1]
                        ):
                            continue
                        if size == found.shape[0]:
                            larger = np.empty((2 * size, 2), np.int64)
                            larger[:size] = found
                            found = larger
                        found[size, 0] = i
                        found[size, 1] = j
                        size += 1
    return found[:size].copy()


def meeting_pairs(ends: Sequence[I32 | I64], nodes: Sequence[I64], chosen: Bool) -> tuple[I64, I64]:
    """Indices (m,), (m,) of the pairs of segments that meet, the lower first, sorted.

    `ends` are four arrays (n,), x, y of one end and of the other in whole 1e-7 degrees, `nodes` two (n,),
    what the ends are called, `chosen` (n,) the segments of which one must be in each pair. A common point
    counts, an end too; two segments on one line do not meet, nor two with an end of the same name, nor
    anything and a segment without length. Exact for any segments on the Earth, none of them taken across
    180 degrees.

    Raises ValueError where coordinates are not on the Earth.
    """
    none = np.empty(0, np.int64)
    ax, ay, bx, by = ends
    reach = np.abs(np.subtract(bx, ax, dtype=np.int64))
    np.maximum(reach, np.abs(np.subtract(by, ay, dtype=np.int64)), out=reach)
    real = np.flatnonzero(reach > 0)
    if not len(real) or not chosen.any():
        return none, none
    for most, values in ((_MOST_X, (ax, bx)), (_MOST_Y, (ay, by))):
        if any(int(v.max()) > most or int(v.min()) < -most for v in values):
            raise ValueError("segments must lie within 180 degrees of longitude and 90 of latitude")
    shift = int(np.median(reach[real])).bit_length() + _WIDER
    # In rows of blocks of cells, whatever their order in the map: what is compared then lies together.
    block = shift + 3
    cell = ay[real].astype(np.int64) >> block << 32
    cell += ax[real] >> block
    order = real[np.argsort(cell)]
    del cell, real
    reach = reach[order]
    level = np.zeros(len(order), np.int8)
    for k in range(shift + _STEP, 33, _STEP):
        level += reach >= 1 << k
    del reach
    # By columns, so that what is in order is the only copy: the segments of a large file take gigabytes.
    sorted_ends = np.empty((len(order), 4), np.int32)
    sorted_nodes = np.empty((len(order), 2), np.int64)
    for rows, columns in ((sorted_ends, ends), (sorted_nodes, nodes)):
        for k, column in enumerate(columns):
            rows[:, k] = column[order]
    pairs = order[_pairs(sorted_ends, sorted_nodes, chosen[order], level, shift)]
    low, high = pairs.min(axis=1), pairs.max(axis=1)
    key = np.unique(low * len(ax) + high)
    return key // len(ax), key % len(ax)
